"""Whom a controller's connection trusts, with real handshakes on loopback."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from collector.model import Outcome
from collector.redfish.errors import TimedOut, Unreachable, Untrusted
from collector.redfish.tls import context_for
from collector.redfish.transport import ControllerTransport
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings
from tests.redfish.servers import Identity, hang, make_identity, ok, says, serve


async def status(settings: ControllerSettings, limits: Limits | None = None) -> int:
    transport = ControllerTransport(settings, limits=limits)
    try:
        return (await transport.get("/x")).status
    finally:
        await transport.aclose()


async def test_the_right_authority_fingerprint_or_explicit_trust(identity: Identity) -> None:
    async with serve(says(ok()), context=identity.context) as served:
        assert await status(served.settings(ca_file=identity.ca_file)) == 200
        assert await status(served.settings(fingerprint=identity.fingerprint)) == 200
        assert await status(served.settings(insecure=True)) == 200


async def test_the_wrong_one_sees_no_byte_of_a_request(identity: Identity, other_identity: Identity) -> None:
    async with serve(says(ok()), context=identity.context) as served:
        for trust in (
            {},
            {"ca_file": other_identity.ca_file},
            {"fingerprint": other_identity.fingerprint},
        ):
            with pytest.raises(Untrusted) as caught:
                await status(served.settings(**trust))
            assert caught.value.outcome is Outcome.UNTRUSTED
        assert identity.fingerprint in str(caught.value), "says what was presented"
    assert not served.heads


@pytest.mark.parametrize(
    ("name", "expired"), [("127.0.0.2", False), ("controller.example", False), ("127.0.0.1", True)]
)
async def test_another_address_and_an_old_certificate(tmp_path: Path, name: str, expired: bool) -> None:
    identity = make_identity(tmp_path, name=name, expired=expired)
    async with serve(says(ok()), context=identity.context) as served:
        with pytest.raises(Untrusted):
            await status(served.settings(ca_file=identity.ca_file))
        assert await status(served.settings(fingerprint=identity.fingerprint)) == 200, "a pin names one certificate"


async def test_a_host_name_is_matched_and_an_address_is_not_sent_as_one(tmp_path: Path) -> None:
    identity = make_identity(tmp_path, name="localhost")
    names: list[str | None] = []
    identity.context.sni_callback = lambda sock, name, context: names.append(name)
    async with serve(says(ok()), context=identity.context) as served:
        url = served.url.replace("127.0.0.1", "localhost")
        assert await status(ControllerSettings(name="bmc", url=url, ca_file=identity.ca_file)) == 200
        with pytest.raises(Untrusted):
            await status(served.settings(ca_file=identity.ca_file))
    assert names == ["localhost", None]


async def test_no_tls_there(identity: Identity) -> None:
    async def plain(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        await writer.drain()

    async with serve(plain) as served:
        url = served.url.replace("http:", "https:")
        with pytest.raises(Unreachable, match="TLS handshake"):
            await status(ControllerSettings(name="bmc", url=url, ca_file=identity.ca_file))
    async with serve(hang) as served:
        url = served.url.replace("http:", "https:")
        with pytest.raises(TimedOut):
            await status(ControllerSettings(name="bmc", url=url, insecure=True), Limits(connect_timeout=0.2))


def test_contexts_are_shared_and_a_bad_authority_is_named(identity: Identity, tmp_path: Path) -> None:
    def settings(**more: Any) -> ControllerSettings:
        return ControllerSettings(**{"name": "bmc", "url": "https://192.0.2.1", **more})

    one, other = settings(ca_file=identity.ca_file), settings(ca_file=identity.ca_file, name="bmc2")
    assert context_for(one) is context_for(other)
    assert context_for(settings()) is not context_for(one)
    assert context_for(settings(insecure=True)) is context_for(settings(fingerprint="sha256:" + "0" * 64))
    assert context_for(settings(url="http://192.0.2.1")) is None
    (tmp_path / "empty.pem").write_text("nothing")
    for path in (tmp_path / "empty.pem", tmp_path / "missing.pem"):
        with pytest.raises(Untrusted, match="ca_file"):
            context_for(settings(ca_file=path))
