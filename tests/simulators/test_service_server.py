"""A service on a loopback port over TLS: connections, limits and faults as a client's socket sees them."""

from __future__ import annotations

import asyncio
import ssl
import time
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager
from typing import Any

import httpx
import pytest

from simulators.service.server import MAX_BODY, MAX_CONNECTIONS, MAX_HEAD, Listener
from simulators.service.trust import Authority
from simulators.service.wire import Wire
from tests.simulators.service_kit import BASIC, PASSWORD, USER, Asker, asker

AUTHORITY = Authority("test CA", time.time())
CONTEXT = AUTHORITY.issue("sled").server_context()
TRUST = ssl.create_default_context(cadata=AUTHORITY.pem.decode())
SENSORS = "/redfish/v1/Chassis/Sled/Sensors?$expand=."


class Line:
    """A bare TLS connection."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    async def send(self, data: bytes) -> None:
        self.writer.write(data)
        await self.writer.drain()

    async def reply(self) -> tuple[int, bytes]:
        head = await self.reader.readuntil(b"\r\n\r\n")
        lines = head.decode().split("\r\n")
        lengths = [line.partition(":")[2] for line in lines if line.lower().startswith("content-length")]
        body = await self.reader.readexactly(int(lengths[0]) if lengths else 0)
        return int(lines[0].split()[1]), body


@asynccontextmanager
async def listening(one: Asker) -> AsyncIterator[Listener]:
    listener = Listener(one.service, "127.0.0.1", CONTEXT)
    await listener.start()
    try:
        yield listener
    finally:
        await listener.stop()


@asynccontextmanager
async def line(listener: Listener) -> AsyncIterator[Line]:
    reader, writer = await asyncio.open_connection(
        "127.0.0.1", listener.port, ssl=TRUST, server_hostname="127.0.0.1", limit=1 << 20
    )
    try:
        yield Line(reader, writer)
    finally:
        writer.transport.abort()
        await asyncio.sleep(0)


def get(path: str, **headers: str) -> bytes:
    told = "".join(f"{name}: {value}\r\n" for name, value in (BASIC | headers).items())
    return f"GET {path} HTTP/1.1\r\nHost: sled\r\n{told}\r\n".encode()


async def until(fact: object) -> None:
    """Wait until a condition holds; the test's own patience ends with the test run's."""
    while not fact():  # type: ignore[operator]
        await asyncio.sleep(0.005)


async def test_an_ordinary_client_keeps_one_connection() -> None:
    one = asker()
    async with listening(one) as listener:
        async with httpx.AsyncClient(base_url=listener.url, verify=TRUST, auth=(USER, PASSWORD)) as http:
            for _ in range(3):
                reply = await http.get(SENSORS)
                assert reply.status_code == 200
            assert reply.json()["Members"][0]["Reading"] == one.get(SENSORS)["Members"][0]["Reading"]
            assert "date" in reply.headers
        assert listener.accepted == 1


async def test_pipelined_requests_are_answered_in_their_order() -> None:
    async with listening(asker()) as listener, line(listener) as wire:
        await wire.send(get("/redfish") + get("/nowhere") + get("/redfish"))
        assert [(await wire.reply())[0] for _ in range(3)] == [200, 404, 200]


async def test_a_request_that_comes_in_pieces_is_one_request() -> None:
    async with listening(asker()) as listener, line(listener) as wire:
        for byte in get("/redfish"):
            await wire.send(bytes([byte]))
        assert await wire.reply() == (200, b'{"v1":"/redfish/v1/"}')


async def test_connection_close_is_obeyed() -> None:
    async with listening(asker()) as listener, line(listener) as wire:
        await wire.send(get("/redfish", connection="close"))
        assert (await wire.reply())[0] == 200
        assert await wire.reader.read() == b""


async def test_head_has_a_length_and_no_body() -> None:
    async with listening(asker()) as listener, line(listener) as wire:
        await wire.send(get("/redfish").replace(b"GET", b"HEAD", 1) + get("/redfish"))
        head = await wire.reader.readuntil(b"\r\n\r\n")
        assert b"Content-Length: 21" in head
        assert await wire.reply() == (200, b'{"v1":"/redfish/v1/"}')


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"\x16\x03garbage\r\n\r\n", 400),
        (b"GET /redfish HTTP/1.1\r\nX: " + b"a" * MAX_HEAD + b"\r\n\r\n", 431),
        (b"GET /" + b"a" * MAX_HEAD + b" HTTP/1.1\r\n\r\n", 431),
        (b"POST /redfish HTTP/1.1\r\nContent-Length: %d\r\n\r\n" % (MAX_BODY + 1) + b"x" * (MAX_BODY + 1), 413),
    ],
)
async def test_what_can_not_be_read_is_refused_and_the_connection_closed(request_: bytes, status: int) -> None:
    async with listening(asker()) as listener, line(listener) as wire:
        await wire.send(request_)
        assert (await wire.reply())[0] == status
        assert await wire.reader.read() == b""


async def test_too_many_connections_are_reset_and_the_others_stay() -> None:
    async with listening(asker()) as listener:
        lines = [line(listener) for _ in range(MAX_CONNECTIONS)]
        opened = [await one.__aenter__() for one in lines]
        await until(lambda: len(listener.connections) == MAX_CONNECTIONS)
        async with line(listener) as late:
            with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
                await late.reply()
        await opened[0].send(get("/redfish"))
        assert (await opened[0].reply())[0] == 200
        for one in lines:
            await one.__aexit__(None, None, None)


async def test_a_refused_port_is_kept_and_opens_again_for_the_same_clients() -> None:
    one = asker()
    async with listening(one) as listener:
        port = listener.port
        async with line(listener) as wire:
            one.service.wire = Wire(kind="refuse")
            with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
                await wire.reply()
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection("127.0.0.1", port)
        # flip it about faster than sockets follow: the last word counts
        one.service.wire = Wire()
        one.service.wire = Wire(kind="refuse")
        one.service.wire = Wire()
        await until(lambda: listener.open)
        assert listener.port == port
        async with line(listener) as wire:
            await wire.send(get("/redfish"))
            assert (await wire.reply())[0] == 200


async def test_a_reset_reaches_the_client_as_one() -> None:
    one = asker()
    one.service.wire = Wire(kind="reset")
    async with listening(one) as listener, line(listener) as wire:
        await wire.send(get(SENSORS))
        with pytest.raises((ConnectionResetError, asyncio.IncompleteReadError)):
            await wire.reply()


async def test_an_endless_body_waits_for_its_reader_and_ends_with_it() -> None:
    one = asker()
    one.service.wire = Wire(kind="endless")
    async with listening(one) as listener:
        async with line(listener) as wire:
            await wire.send(get("/redfish"))
            await wire.reader.readexactly(3_000_000)
            one.service.wire = Wire()
            async with line(listener) as other:
                await other.send(get("/redfish"))
                assert (await other.reply())[0] == 200
        await until(lambda: not listener.connections)


async def test_a_hang_holds_the_connection_and_nobody_else() -> None:
    one = asker()
    one.service.wire = Wire(kind="hang", under="/redfish/v1")
    async with listening(one) as listener:
        async with line(listener) as wire, line(listener) as other:
            await wire.send(get("/redfish/v1/") + get("/redfish"))
            await other.send(get("/redfish"))
            assert (await other.reply())[0] == 200
            with pytest.raises(TimeoutError):
                await asyncio.wait_for(wire.reader.read(1), 0.05)
        await until(lambda: not listener.connections)


async def test_a_mistake_in_a_service_is_told_and_costs_only_that_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    one = asker()
    told: list[dict[str, Any]] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: told.append(context))
    async with listening(one) as listener:
        with monkeypatch.context() as patch:
            patch.setattr(one.service, "respond", lambda request: 1 / 0)
            async with line(listener) as wire:
                await wire.send(get("/redfish"))
                with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
                    await wire.reply()
        async with line(listener) as wire:
            await wire.send(get("/redfish"))
            assert (await wire.reply())[0] == 200
    error = told[0]["exception"]
    assert isinstance(error.__context__ or error, ZeroDivisionError)


async def test_stopping_frees_the_port_and_ends_connections() -> None:
    one = asker()
    async with listening(one) as listener, line(listener) as wire:
        await wire.send(get("/redfish"))
        await wire.reply()
        await listener.stop()
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await wire.reply()
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection("127.0.0.1", listener.port)


@pytest.mark.parametrize(
    "case",
    [
        test_an_ordinary_client_keeps_one_connection,
        test_pipelined_requests_are_answered_in_their_order,
        test_too_many_connections_are_reset_and_the_others_stay,
        test_a_refused_port_is_kept_and_opens_again_for_the_same_clients,
        test_a_reset_reaches_the_client_as_one,
        test_an_endless_body_waits_for_its_reader_and_ends_with_it,
        test_a_hang_holds_the_connection_and_nobody_else,
        test_stopping_frees_the_port_and_ends_connections,
    ],
)
def test_the_same_on_the_event_loop_that_the_command_runs_on(case: Callable[[], Coroutine[Any, Any, None]]) -> None:
    uvloop = pytest.importorskip("uvloop")
    with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
        runner.run(case())
