"""Loopback servers that do exactly what a test says, byte by byte, and certificates for them."""

from __future__ import annotations

import asyncio
import datetime
import hashlib
import ipaddress
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from collector.settings import ControllerSettings

Script = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


class Identity(NamedTuple):
    """A server's certificate, who signed it, and how to present it."""

    ca_file: Path
    fingerprint: str
    context: ssl.SSLContext


def make_identity(folder: Path, *, name: str = "127.0.0.1", expired: bool = False) -> Identity:
    """A throwaway authority and a certificate of it for one host name or address, as files in ``folder``."""
    now = datetime.datetime.now(datetime.UTC)
    born, dies = now - datetime.timedelta(days=9), now + datetime.timedelta(days=-1 if expired else 9)

    def builder(subject: str, issuer: str, key: ec.EllipticCurvePrivateKey) -> x509.CertificateBuilder:
        names = [x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)]) for text in (subject, issuer)]
        blank = x509.CertificateBuilder().subject_name(names[0]).issuer_name(names[1]).public_key(key.public_key())
        return blank.serial_number(x509.random_serial_number()).not_valid_before(born).not_valid_after(dies)

    ca_key, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    ca = builder("Test CA", "Test CA", ca_key).add_extension(x509.BasicConstraints(True, None), critical=True)
    ca_file = folder / "ca.pem"
    ca_file.write_bytes(ca.sign(ca_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
    try:
        alternative: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        alternative = x509.DNSName(name)
    leaf = builder("controller", "Test CA", key)
    leaf = leaf.add_extension(x509.SubjectAlternativeName([alternative]), critical=False)
    signed = leaf.sign(ca_key, hashes.SHA256())
    chain = folder / "server.pem"
    chain.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
        + signed.public_bytes(serialization.Encoding.PEM)
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chain)
    der = signed.public_bytes(serialization.Encoding.DER)
    return Identity(ca_file, "sha256:" + hashlib.sha256(der).hexdigest(), context)


class Served(NamedTuple):
    """A server that runs: where, and the heads of the requests that it read."""

    url: str
    heads: list[str]

    def settings(self, **more: Any) -> ControllerSettings:
        return ControllerSettings(**{"name": "bmc", "url": self.url, **more})


@asynccontextmanager
async def serve(*scripts: Script, context: ssl.SSLContext | None = None) -> AsyncIterator[Served]:
    """Serve on a free loopback port: the n-th connection gets the n-th script, later ones the last."""
    served = Served("", [])
    running: set[asyncio.Task[None]] = set()
    count = 0

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal count
        script = scripts[min(count, len(scripts) - 1)]
        count += 1
        task = asyncio.current_task()
        assert task is not None
        running.add(task)
        try:
            await script(_Listening(reader, served.heads), writer)  # type: ignore[arg-type]
        except (ConnectionError, asyncio.IncompleteReadError):
            pass  # the client has had enough
        except asyncio.CancelledError:
            pass  # the test has
        finally:
            running.discard(task)
            writer.transport.abort()

    server = await asyncio.start_server(handle, "127.0.0.1", 0, ssl=context)
    scheme = "http" if context is None else "https"
    try:
        yield Served(f"{scheme}://127.0.0.1:{server.sockets[0].getsockname()[1]}", served.heads)
    finally:
        server.close()
        for task in list(running):
            task.cancel()
        await asyncio.gather(*running, return_exceptions=True)
        await asyncio.sleep(0)


class _Listening:
    """A reader that keeps the heads of requests."""

    def __init__(self, reader: asyncio.StreamReader, heads: list[str]) -> None:
        self._reader = reader
        self._heads = heads

    async def readuntil(self, separator: bytes = b"\n") -> bytes:
        data = await self._reader.readuntil(separator)
        self._heads.append(data.decode("latin-1"))
        return data

    def __getattr__(self, name: str) -> object:
        return getattr(self._reader, name)


def says(*answers: bytes, then: Script | None = None) -> Script:
    """A script: one answer a request, in order; then close, or go on with another script."""

    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for answer in answers:
            await reader.readuntil(b"\r\n\r\n")
            writer.write(answer)
            await writer.drain()
        if then is not None:
            await then(reader, writer)

    return script


def ok(body: bytes = b'{"a": 1}', *headers: str) -> bytes:
    """A plain 200 with a length."""
    lines = "".join(f"{header}\r\n" for header in headers)
    return f"HTTP/1.1 200 OK\r\nContent-Length: {len(body)}\r\n{lines}\r\n".encode() + body


async def hang(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Take the request and never answer."""
    await asyncio.Event().wait()
