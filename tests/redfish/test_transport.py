"""The wire against servers that misbehave, on real loopback sockets; framing rules: RFC 9112, RFC 9110."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import tracemalloc
import zlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import pairwise

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.model import Outcome
from collector.redfish.errors import (
    BrokenHttp,
    ControllerError,
    ForeignOrigin,
    Malformed,
    TimedOut,
    TooBig,
    Truncated,
    Unreachable,
)
from collector.redfish.transport import ControllerTransport
from collector.redfish.wire import Limits, Reply, Wire
from tests.redfish.servers import Script, Served, hang, ok, says, serve

PATIENT = Limits(response_timeout=30.0)
HASTY = Limits(response_timeout=0.2)


@asynccontextmanager
async def towards(served: Served, limits: Limits = PATIENT, in_flight: int = 1) -> AsyncIterator[ControllerTransport]:
    transport = ControllerTransport(served.settings(), limits=limits, in_flight=in_flight)
    try:
        yield transport
    finally:
        await transport.aclose()


async def outcome_of(*scripts: Script, limits: Limits = PATIENT) -> ControllerError:
    """The error of one GET."""
    async with serve(*scripts) as served, towards(served, limits) as transport:
        with pytest.raises(ControllerError) as caught:
            await transport.get("/redfish/v1/Chassis")
    error = caught.value
    assert error.controller == "bmc"
    assert str(error).startswith("bmc: ")
    assert "; " in str(error), "says what to do next"
    return error


async def test_one_connection_serves_many_requests() -> None:
    async with serve(says(ok(), ok(b"{}", "ETag: x"), ok(b"[]"))) as served, towards(served) as transport:
        assert (await transport.get("/a")).body == b'{"a": 1}'
        reply = await transport.get("/b", [(b"Accept", b"application/json")])
        assert (reply.status, reply.body, reply.header(b"etag"), reply.header(b"x")) == (200, b"{}", "x", None)
        assert (await transport.get("/c")).body == b"[]"
    assert [head.split(" ")[1] for head in served.heads] == ["/a", "/b", "/c"]
    assert "Accept: application/json\r\n" in served.heads[1]


async def test_a_request_says_where_it_goes() -> None:
    async with serve(says(ok())) as served, towards(served) as transport:
        await transport.request("POST", "/x?$a=b", body=b"{}")
    head = served.heads[0]
    assert head.startswith("POST /x?$a=b HTTP/1.1\r\n")
    assert f"Host: {served.url.removeprefix('http://')}\r\n" in head
    assert "Content-Length: 2\r\n" in head


@pytest.mark.parametrize("path", ["x", "/a b", "/a\r\nX: y", "/é", ""])
async def test_a_path_can_not_smuggle(path: str) -> None:
    async with serve(hang) as served, towards(served) as transport:
        with pytest.raises(ValueError, match="request line"):
            await transport.get(path)
        with pytest.raises(ValueError, match="line break"):
            await transport.get("/", [(b"X", b"a\r\nY: b")])
    assert not served.heads


CHUNKED = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n"
DEFLATED = zlib.compress(b'{"a": 1}')
GZIPPED = gzip.compress(b'{"a": 1}')


@pytest.mark.parametrize(
    "answer",
    [
        CHUNKED + b'3\r\n{"a\r\n5;ext=1\r\n": 1}\r\n0\r\nTrailer: x\r\n\r\n',
        b"HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 103 Early Hints\r\nLink: x\r\n\r\n" + ok(),
        b'HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n{"a": 1}',
        b'HTTP/1.0 200 OK\r\n\r\n{"a": 1}',
        ok(GZIPPED, "Content-Encoding: gzip"),
        ok(DEFLATED, "Content-Encoding: deflate"),
        ok(b'{"a": 1}', "Content-Encoding: identity"),
        b"\r\n" + ok(),
    ],
    ids=["chunked", "interim", "until close", "HTTP/1.0", "gzip", "deflate", "identity", "leading line"],
)
async def test_every_framing_arrives_whole_even_byte_by_byte(answer: bytes) -> None:
    async def at_once(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(answer)
        await writer.drain()

    async def slowly(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        for byte in answer:
            writer.write(bytes([byte]))
            await writer.drain()
            await asyncio.sleep(0)

    for script in (at_once, slowly):
        async with serve(script) as served, towards(served) as transport:
            reply = await transport.get("/x")
            assert (reply.status, reply.body) == (200, b'{"a": 1}')


async def test_statuses_without_a_body() -> None:
    answers = (b"HTTP/1.1 204 No Content\r\n\r\n", b"HTTP/1.1 304 Not Modified\r\nETag: x\r\n\r\n", ok())
    async with serve(says(*answers)) as served, towards(served) as transport:
        assert [(await transport.get("/x")).status for _ in answers] == [204, 304, 200]
    assert len(served.heads) == 3


@pytest.mark.parametrize(
    ("answer", "kind", "words"),
    [
        (ok()[:-3], Truncated, "5 bytes"),
        (CHUNKED + b'8\r\n{"a": 1}\r\n', Truncated, "8 bytes"),
        (b"HTTP/1.1 200 OK\r\nContent-Le", Truncated, "0 bytes"),
        (b"", Unreachable, "before an answer"),
        (b"SSH-2.0-OpenSSH_9.2\r\n", BrokenHttp, ""),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 3\r\nContent-Length: 4\r\n\r\nabc", BrokenHttp, ""),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n", BrokenHttp, ""),
        (CHUNKED + b"zz\r\n", BrokenHttp, ""),
        (b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: x\r\nConnection: upgrade\r\n\r\nxyz", BrokenHttp, ""),
        (ok(GZIPPED[:-9], "Content-Encoding: gzip"), Truncated, "compressed"),
        (ok(b"\x1f\x8b" + b"x" * 40, "Content-Encoding: gzip"), Malformed, "damaged"),
        (ok(GZIPPED + GZIPPED, "Content-Encoding: gzip"), Malformed, "damaged"),
        (ok(b"x", "Content-Encoding: br"), Malformed, "br"),
    ],
)
async def test_what_is_no_answer_has_a_name(answer: bytes, kind: type[ControllerError], words: str) -> None:
    error = await outcome_of(says(answer))
    assert type(error) is kind
    assert words in str(error)
    assert error.outcome is (Outcome.UNREACHABLE if kind is Unreachable else Outcome.MALFORMED)


async def test_a_reset_in_mid_body_is_cut_short() -> None:
    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(ok(b"x" * 1000)[:500])
        await writer.drain()
        await asyncio.sleep(0.05)
        writer.transport.abort()

    assert type(await outcome_of(script)) is Truncated


async def test_nobody_listens() -> None:
    async with serve(hang) as served:
        pass
    async with towards(served) as transport:
        with pytest.raises(Unreachable, match="refused"):
            await transport.get("/x")


async def test_hanging_and_trickling_end_at_the_deadline() -> None:
    async def trickle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n")
        while True:
            writer.write(b"x")
            await writer.drain()
            await asyncio.sleep(0.01)

    for script in (hang, trickle):
        error = await outcome_of(script, limits=HASTY)
        assert type(error) is TimedOut
        assert error.outcome is Outcome.TIMED_OUT


async def test_one_that_does_not_even_accept() -> None:
    """A listening socket whose queue is full never completes a handshake (Linux drops the SYN)."""
    import socket

    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        fillers = [socket.socket() for _ in range(4)]
        try:
            for filler in fillers:
                filler.setblocking(False)
                filler.connect_ex(listener.getsockname())
            url = f"http://127.0.0.1:{listener.getsockname()[1]}"
            async with towards(Served(url, []), Limits(connect_timeout=0.2, response_timeout=0.3)) as transport:
                with pytest.raises(TimedOut):
                    await transport.get("/x")
        finally:
            for filler in fillers:
                filler.close()


SMALL = Limits(max_head=1000, max_body=10_000)


def endless(piece: bytes, head: bytes = b"") -> Script:
    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(head)
        while True:
            writer.write(piece * 50)
            await writer.drain()
            await asyncio.sleep(0)

    return script


@pytest.mark.parametrize(
    "script",
    [
        endless(b"X: y\r\n", b"HTTP/1.1 200 OK\r\n"),
        endless(b"y", b"HTTP/1.1 200 OK\r\nX: "),
        endless(b"x" * 500, CHUNKED + b"5;"),
        endless(b"X: y\r\n", CHUNKED + b"1\r\nx\r\n0\r\n"),
        endless(b"HTTP/1.1 100 Continue\r\n\r\n"),
        endless(b"5\r\nhello\r\n", CHUNKED),
        endless(b"1\r\nx\r\n", CHUNKED),
        endless(b"hello", b"HTTP/1.1 200 OK\r\n\r\n"),
        says(ok(b"x" * 10_001)),
        says(b"HTTP/1.1 200 OK\r\nContent-Length: 99999999999999\r\n\r\n", then=hang),
    ],
    ids=[
        "headers", "header", "chunk extension", "trailers", "interim", "chunks", "tiny chunks", "until close", "length",
        "announced",
    ],
)  # fmt: skip
async def test_nothing_endless_is_taken(script: Script) -> None:
    error = await outcome_of(script, limits=SMALL)
    assert type(error) in (TooBig, BrokenHttp)


async def test_a_bomb_is_refused_without_the_memory() -> None:
    """64 MiB of zeros in 64 kB of gzip, against a bound of 1 MiB: the peak stays near the bound."""
    bomb = gzip.compress(bytes(64 * 1024 * 1024), 9)
    tracemalloc.start()
    try:
        error = await outcome_of(says(ok(bomb, "Content-Encoding: gzip")), limits=Limits(max_body=1024 * 1024))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert type(error) is TooBig
    assert "decompressed" in str(error)
    assert peak < 8 * 1024 * 1024


async def test_an_idle_connection_that_was_closed_is_replaced_for_a_get() -> None:
    """Closed at once, closed on the next request, or closed with a farewell: the GET never notices."""

    async def close_on_next(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")

    async def farewell(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Length: 0\r\n\r\n")
        await writer.drain()

    for script in (says(ok()), says(ok(), then=close_on_next), says(ok(), then=farewell)):
        async with serve(script, says(ok(b"new"))) as served, towards(served) as transport:
            await transport.get("/x")
            await asyncio.sleep(0.02)
            assert (await transport.get("/x")).body == b"new"


async def test_it_is_replaced_only_once_and_never_for_a_post() -> None:
    async def close_on_next(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")

    async with serve(says(ok(), then=close_on_next), close_on_next, says(ok())) as served, towards(served) as transport:
        await transport.get("/x")
        with pytest.raises(Unreachable):
            await transport.get("/x")
        assert (await transport.get("/x")).status == 200
    async with serve(says(ok(), then=close_on_next), says(ok())) as served, towards(served) as transport:
        await transport.get("/x")
        with pytest.raises(Unreachable):
            await transport.request("POST", "/x", body=b"{}")
        assert len(served.heads) == 2


async def test_an_answer_longer_than_announced_costs_the_connection_only() -> None:
    async with serve(says(ok() + ok(b"smuggled")), says(ok(b"new"))) as served, towards(served) as transport:
        assert (await transport.get("/x")).body == b'{"a": 1}'
        assert (await transport.get("/x")).body == b"new"


async def test_one_at_a_time_or_as_many_as_told() -> None:
    for in_flight in (1, 3):
        now = most = 0

        async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            nonlocal now, most
            while True:
                await reader.readuntil(b"\r\n\r\n")
                now += 1
                most = max(most, now)
                await asyncio.sleep(0.01)
                now -= 1
                writer.write(ok())

        async with serve(script) as served, towards(served, in_flight=in_flight) as transport:
            await asyncio.gather(*(transport.get("/x") for _ in range(9)))
        assert most == in_flight


async def test_a_cancelled_get_leaves_a_clean_transport() -> None:
    async with serve(hang, says(ok())) as served, towards(served) as transport:
        task = asyncio.create_task(transport.get("/x"))
        await asyncio.sleep(0.02)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert (await transport.get("/x")).status == 200


async def test_closing_ends_what_is_under_way() -> None:
    async with serve(hang) as served, towards(served) as transport:
        task = asyncio.create_task(transport.get("/x"))
        await asyncio.sleep(0.02)
        await transport.aclose()
        with pytest.raises(Unreachable):
            await task
        with pytest.raises(RuntimeError, match="closed"):
            await transport.get("/x")


class Cable(asyncio.Transport):
    """What a wire writes to when a test plays the network: closing it is all that happens."""

    def __init__(self, wire: Wire) -> None:
        super().__init__()
        self._wire = wire
        self._open = True

    def write(self, data: object) -> None:
        pass

    def abort(self) -> None:
        if self._open:
            self._open = False
            asyncio.get_running_loop().call_soon(self._wire.connection_lost, None)

    close = abort


HEADS = st.sampled_from([ok(), CHUNKED, b"HTTP/1.1 200 OK\r\n", ok(GZIPPED, "Content-Encoding: gzip")])


@given(HEADS, st.binary(max_size=80), st.lists(st.integers(0, 200), max_size=4), st.integers(0, 200))
def test_any_bytes_are_an_answer_or_a_named_error(head: bytes, tail: bytes, cuts: list[int], at: int) -> None:
    """Sound answers with rubbish in them, cut anywhere: nothing hangs, nothing else is raised."""
    data = head[:at] + tail + head[at:]

    async def feed() -> None:
        wire = Wire("bmc", Limits(max_head=1000, max_body=1000))
        cable = Cable(wire)
        wire.connection_made(cable)
        answer = wire.send(b"GET / HTTP/1.1\r\n\r\n", "/", asyncio.get_running_loop().time() + 60)
        points = sorted({0, len(data), *(cut for cut in cuts if cut < len(data))})
        for start, end in pairwise(points):
            if cable._open and data[start:end]:
                wire.data_received(data[start:end])
        cable.abort()
        with contextlib.suppress(ControllerError):
            assert isinstance(await asyncio.wait_for(answer, 5), Reply)
        await asyncio.sleep(0)  # let the loss of the connection arrive
        assert not wire.ready

    asyncio.run(feed())


async def test_it_is_an_httpx_transport() -> None:
    packed = ok(gzip.compress(b'{"a": 1}'), "Content-Encoding: gzip", "X-A: 1", "X-A: 2")
    async with serve(says(packed, ok())) as served:
        transport = ControllerTransport(served.settings())
        async with httpx.AsyncClient(transport=transport, base_url=served.url) as client:
            response = await client.get("/redfish/v1/Chassis?$expand=.($levels=1)", headers={"X-Auth-Token": "t"})
            assert response.json() == {"a": 1}
            assert response.headers.get_list("x-a") == ["1", "2"]
            assert (await client.post("/x", json={"b": 2})).json() == {"a": 1}
            with pytest.raises(ForeignOrigin):
                await client.get("http://127.0.0.2/x")
    assert served.heads[0].startswith("GET /redfish/v1/Chassis?$expand=.($levels=1) HTTP/1.1\r\n")
    assert "X-Auth-Token: t\r\n" in served.heads[0]
    assert served.heads[0].lower().count("host:") == 1
