"""The listener for pushed events against those who use it well and those who don't; HTTP by RFC 9110 and 9112."""

from __future__ import annotations

import asyncio
import json
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import httpx
import pytest

from collector.poll.listener import (
    BURST,
    MAX_BODY,
    MAX_HEAD,
    CannotListen,
    Listener,
)
from collector.settings import EventSettings
from tests.redfish.servers import make_identity

SECRET = b"s" * 32


@asynccontextmanager
async def opened(**more: Path) -> AsyncIterator[tuple[Listener, list[bytes], str]]:
    """A listener for one controller, what came for it, and its address."""
    scheme = "https" if more else "http"
    settings = EventSettings.model_validate({"listen": "127.0.0.1:0", "advertise": f"{scheme}://127.0.0.1:1", **more})
    came: list[bytes] = []

    def take(body: bytes) -> bool:
        came.append(body)
        return True

    async with Listener(settings, SECRET) as listener:
        listener.attach("bmc", take)
        yield listener, came, listener.address("bmc").replace("127.0.0.1:1", f"127.0.0.1:{listener.port}")


async def talk(listener: Listener, data: bytes) -> bytes:
    """Bytes in, all bytes out."""
    reader, writer = await asyncio.open_connection("127.0.0.1", listener.port)
    try:
        writer.write(data)
        return await asyncio.wait_for(reader.read(), 10)
    except ConnectionError:
        return b"reset"
    finally:
        writer.close()


async def no_connections(listener: Listener) -> None:
    async with asyncio.timeout(10):
        while listener.connections:
            await asyncio.sleep(0.01)


async def test_events_are_taken_as_they_come() -> None:
    async with opened() as (listener, came, address), httpx.AsyncClient() as client:
        for number in range(3):
            response = await client.post(address, json={"Events": [number]})
            assert (response.status_code, response.content) == (204, b"")
        assert [json.loads(body) for body in came] == [{"Events": [0]}, {"Events": [1]}, {"Events": [2]}]
        assert len(listener.connections) == 1, "kept open for the next"
        assert (await client.post(address + "/", content=b"x")).status_code == 204, "a last slash does not matter"

        async def pieces() -> AsyncIterator[bytes]:
            yield b"a" * 1000
            yield b"b" * 1000

        assert (await client.post(address, content=pieces())).status_code == 204
        assert came[-1] == b"a" * 1000 + b"b" * 1000
        assert (listener.taken, listener.refused, listener.strange) == (5, 0, 0)


async def test_over_tls_with_the_certificate_given(tmp_path: Path) -> None:
    identity = make_identity(tmp_path)
    chain = tmp_path / "server.pem"
    context = ssl.create_default_context(cafile=identity.ca_file)
    async with (
        opened(cert_file=chain, key_file=chain) as (_, came, address),
        httpx.AsyncClient(verify=context) as client,
    ):
        assert address.startswith("https://")
        assert (await client.post(address, content=b"{}")).status_code == 204
    assert came == [b"{}"]


async def test_addresses_are_secret_and_lasting() -> None:
    settings = EventSettings(listen="127.0.0.1:0", advertise="http://192.0.2.9:9461/events/")
    first, again, other = Listener(settings, SECRET), Listener(settings, SECRET), Listener(settings, b"t" * 32)
    assert first.address("bmc") == again.address("bmc") != other.address("bmc")
    assert first.address("bmc") != first.address("bmd")
    assert first.address("bmc").startswith("http://192.0.2.9:9461/events/")
    assert len(first.address("bmc").rpartition("/")[2]) >= 32
    assert "bmc" not in first.address("bmc")


@pytest.mark.parametrize("path", ["/", "/bmc", "/events", "/" + "0" * 40, "//", "/%00"])
async def test_any_other_address_is_unknown(path: str) -> None:
    async with opened() as (listener, came, address), httpx.AsyncClient() as client:
        origin = address.rpartition("/")[0]
        for method in ("POST", "GET"):
            assert (await client.request(method, origin + path)).status_code == 404
        assert (await client.get(address)).status_code == 405
        assert listener.strange == 2
    assert came == []


async def test_what_is_too_big() -> None:
    async with opened() as (listener, came, address):
        path = "/" + address.rpartition("/")[2]
        head = f"POST {path} HTTP/1.1\r\nHost: x\r\n".encode()
        limit = head + b"Content-Length: %d\r\nConnection: close\r\n\r\n" % MAX_BODY
        assert (await talk(listener, limit + b"x" * MAX_BODY)).startswith(b"HTTP/1.1 204")
        assert len(came[0]) == MAX_BODY
        told = head + b"Content-Length: %d\r\n\r\n" % (MAX_BODY + 1)
        assert (await talk(listener, told)).startswith(b"HTTP/1.1 413")
        chunks = head + b"Transfer-Encoding: chunked\r\n\r\n" + b"80000\r\n" + b"x" * 0x80000 + b"\r\n" + b"80001\r\n"
        assert (await talk(listener, chunks + b"x" * 0x80001)).startswith((b"HTTP/1.1 413", b"reset"))
        assert (await talk(listener, head + b"X: " + b"y" * (MAX_HEAD + 10))).startswith((b"HTTP/1.1 431", b"reset"))
        packed = head + b"Content-Encoding: gzip\r\nContent-Length: 2\r\n\r\nxx"
        assert (await talk(listener, packed)).startswith(b"HTTP/1.1 415")
    assert len(came) == 1


@pytest.mark.parametrize(
    "data", [b"\x16\x03\x01\x02\x00\x01", b"hello\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\r\n" * 9 + b"\0"]
)
async def test_what_is_no_http(data: bytes) -> None:
    async with opened() as (listener, came, _):
        assert (await talk(listener, data)).startswith(b"HTTP/1.1 400")
        await no_connections(listener)
    assert came == []


async def test_one_that_waits_to_be_asked_on() -> None:
    """RFC 9110 10.1.1: Expect: 100-continue."""
    async with opened() as (listener, came, address):
        reader, writer = await asyncio.open_connection("127.0.0.1", listener.port)
        path = "/" + address.rpartition("/")[2]
        head = f"POST {path} HTTP/1.1\r\nHost: x\r\nContent-Length: 2\r\nExpect: 100-continue\r\n\r\n"
        writer.write(head.encode())
        assert await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 10) == b"HTTP/1.1 100 Continue\r\n\r\n"
        writer.write(b"{}")
        assert (await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 10)).startswith(b"HTTP/1.1 204")
        writer.close()
    assert came == [b"{}"]


async def test_slow_ones_and_silent_ones_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.poll.listener.REQUEST_SECONDS", 0.1)
    async with opened() as (listener, came, _):
        for data in (b"", b"POST / HTTP/1.1\r\nContent-Length: 5\r\n\r\nab"):
            assert await talk(listener, data) in (b"", b"reset")
        assert not listener.connections
    assert came == []


async def test_too_many_connections_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.poll.listener.MAX_CONNECTIONS", 3)
    async with opened() as (listener, _, _):
        held = [await asyncio.open_connection("127.0.0.1", listener.port) for _ in range(3)]
        async with asyncio.timeout(10):
            while len(listener.connections) < 3:
                await asyncio.sleep(0.01)
        assert await talk(listener, b"GET / HTTP/1.1\r\n\r\n") in (b"", b"reset")
        for _, writer in held:
            writer.close()
        await no_connections(listener)
        assert (await talk(listener, b"GET / HTTP/1.1\r\n\r\n")).startswith(b"HTTP/1.1 404")


async def test_one_controller_s_flood_is_bounded_and_nobody_else_s_trouble() -> None:
    async with opened() as (listener, came, _):
        listener.attach("other", lambda body: True)
        listener.attach("full", lambda body: False)
        path, other, full = (listener.address(name).rpartition("/")[2] for name in ("bmc", "other", "full"))
        statuses = [listener.respond("POST", path, b"", 1000.0) for _ in range(BURST + 50)]
        assert statuses == [204] * BURST + [429] * 50
        assert listener.respond("POST", other, b"", 1000.0) == 204
        assert listener.respond("POST", path, b"", 1001.0) == 204, "and it gets better with time"
        assert listener.respond("POST", full, b"", 1001.0) == 503
        assert len(came) == BURST + 1
        assert listener.refused == 51


async def test_an_address_that_is_taken(tmp_path: Path) -> None:
    async with opened() as (listener, _, _):
        settings = EventSettings(listen=f"127.0.0.1:{listener.port}", advertise="http://127.0.0.1:1")
        with pytest.raises(CannotListen, match=r"events\.listen 127\.0\.0\.1:\d+: .*in use"):
            await Listener(settings, SECRET).start()
    (tmp_path / "x.pem").write_text("no certificate")
    bad = EventSettings(
        listen="127.0.0.1:0", advertise="https://a", cert_file=tmp_path / "x.pem", key_file=tmp_path / "x.pem"
    )
    with pytest.raises(CannotListen):
        await Listener(bad, SECRET).start()
