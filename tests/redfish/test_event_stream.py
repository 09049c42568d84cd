"""Event streams over both kinds of channel: framing by RFC 9112, events by WHATWG HTML 9.2.6."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Coroutine
from pathlib import Path

import httpx
import pytest

from collector.redfish.client import Client
from collector.redfish.errors import (
    BrokenHttp,
    ControllerError,
    HttpStatus,
    Malformed,
    TimedOut,
    TooBig,
    Truncated,
    Unreachable,
)
from collector.redfish.event_stream import HELD, EventStream
from collector.redfish.sse import ServerEvent, Stream
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings
from tests.mockups import Mockup
from tests.poll.doubles import CREDENTIAL
from tests.redfish.servers import Served, hang, make_identity, ok, says, serve

SSE = "/redfish/v1/EventService/SSE"
HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\n"
CHUNKED = HEAD + b"Transfer-Encoding: chunked\r\n\r\n"
PATIENT = Limits(response_timeout=30.0)


def chunk(data: bytes) -> bytes:
    return b"%x\r\n%s\r\n" % (len(data), data)


async def stay(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await asyncio.Event().wait()


def client_of(served: Served, limits: Limits = PATIENT) -> Client:
    return Client(served.settings(), limits=limits)


async def listen(client: Client, heard: list[ServerEvent], idle: float) -> None:
    async with await client.stream(SSE, Stream(), idle=idle) as stream:
        async for event in stream:
            heard.append(event)


async def error_of(
    *answers: bytes, limits: Limits = PATIENT, idle: float = 30.0, stays: bool = False
) -> tuple[list[ServerEvent], ControllerError]:
    """What was heard before a stream failed, and how."""
    heard: list[ServerEvent] = []
    async with serve(says(*answers, then=stay if stays else None)) as served, client_of(served, limits) as client:
        with pytest.raises(ControllerError) as caught:
            await listen(client, heard, idle)
    assert caught.value.resource == SSE
    return heard, caught.value


async def test_events_come_one_by_one_while_other_requests_go_on() -> None:
    pushed: asyncio.Queue[bytes] = asyncio.Queue()

    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(CHUNKED)
        while piece := await pushed.get():
            writer.write(chunk(piece))
        writer.write(b"0\r\n\r\n")
        await writer.drain()

    async with serve(script, says(ok(b'{"b": 2}'))) as served, client_of(served) as client:
        async with await client.stream(SSE, Stream("41"), idle=30) as stream:
            events = aiter(stream)
            pushed.put_nowait(b": here\n\nid: 42\ndata: one\n\n")
            assert await anext(events) == ServerEvent("one", id="42")
            assert (await client.get("/redfish/v1/Chassis")).body == b'{"b": 2}', "one in flight, and yet it goes"
            pushed.put_nowait(b"data: tw")
            pushed.put_nowait(b"o\n\ndata: three\n\n")
            assert [(await anext(events)).data, (await anext(events)).data] == ["two", "three"]
            pushed.put_nowait(b"")
            with pytest.raises(StopAsyncIteration):
                await anext(events)
            assert stream.parser.last_id == "42"
        assert client.requests == 2
        assert client.bytes_received > 40
    assert "Last-Event-ID: 41\r\n" in served.heads[0]
    assert "Accept: text/event-stream, application/json;q=0.5\r\n" in served.heads[0]
    assert "Accept: application/json" not in served.heads[0]


async def test_an_answer_without_length_ends_with_its_connection() -> None:
    ending = says(HEAD + b"\r\ndata: a\n\n")
    async with serve(ending) as served, client_of(served) as client, await client.stream(SSE, Stream()) as stream:
        assert [event.data async for event in stream] == ["a"]


async def test_over_tls(tmp_path: Path) -> None:
    identity = make_identity(tmp_path)
    async with serve(says(CHUNKED + chunk(b"data: a\n\n"), then=stay), context=identity.context) as served:
        trusting = Client(served.settings(ca_file=identity.ca_file))
        async with trusting as client, await client.stream(SSE, Stream()) as stream:
            assert (await anext(aiter(stream))).data == "a"


async def test_what_breaks_a_stream() -> None:
    heard, error = await error_of(CHUNKED + chunk(b"data: a\n\n"))
    assert [event.data for event in heard] == ["a"]
    assert isinstance(error, Truncated)
    heard, error = await error_of(CHUNKED + chunk(b"data: a\n\n"), idle=0.1, stays=True)
    assert [event.data for event in heard] == ["a"]
    assert isinstance(error, TimedOut)
    assert "nothing came for 0.1 s" in str(error)
    assert isinstance((await error_of(b"220 mail ready\r\n"))[1], BrokenHttp)
    assert isinstance((await error_of(b""))[1], Unreachable)
    assert isinstance((await error_of(CHUNKED + b"zz\r\n"))[1], BrokenHttp)
    gzipped = HEAD + b"Content-Encoding: gzip\r\nTransfer-Encoding: chunked\r\n\r\n"
    assert "was not asked for" in str((await error_of(gzipped, stays=True))[1])


async def test_only_the_head_has_a_deadline() -> None:
    async with serve(hang) as served, client_of(served) as client:
        with pytest.raises(TimedOut, match="head"):
            await client.stream(SSE, Stream(), timeout=0.1)
    with pytest.raises(TimedOut, match="head"):
        async with serve(hang) as served, client_of(served, Limits(response_timeout=0.1)) as client:
            await client.stream(SSE, Stream())


async def test_a_head_without_end() -> None:
    async def endless(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(b"HTTP/1.1 200 OK\r\n")
        while True:
            writer.write(b"X-More: " + b"y" * 1000 + b"\r\n")
            await writer.drain()

    async with serve(endless) as served, client_of(served) as client:
        with pytest.raises((TooBig, BrokenHttp)):
            await client.stream(SSE, Stream())


@pytest.mark.parametrize(
    ("answer", "kind", "says_so"),
    [
        (b"HTTP/1.1 404 Not Found\r\nContent-Length: 2\r\n\r\n{}", HttpStatus, "404"),
        (b"HTTP/1.1 204 No Content\r\n\r\n", HttpStatus, "204"),
        (b"HTTP/1.1 503 Busy\r\nContent-Length: 9\r\n\r\n{}", HttpStatus, "503"),
        (b"HTTP/1.1 302 Found\r\nLocation: https://192.0.2.99/\r\nContent-Length: 0\r\n\r\n", HttpStatus, "302"),
        (ok(b"{}", "Content-Type: application/json"), Malformed, "application/json is not text/event-stream"),
        (ok(b"{}"), Malformed, "content type missing"),
    ],
)
async def test_what_is_no_stream(answer: bytes, kind: type[ControllerError], says_so: str) -> None:
    _, error = await error_of(answer)
    assert isinstance(error, kind)
    assert says_so in str(error)


async def test_one_that_talks_faster_than_we_listen_waits() -> None:
    """Nothing is read: the service can't get rid of more than the buffers of two sockets and ours."""
    written = 0
    piece = chunk(b"data: " + b"x" * 16_000 + b"\n\n")
    many = 4000

    async def flood(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal written
        await reader.readuntil(b"\r\n\r\n")
        writer.write(CHUNKED)
        for _ in range(many):
            writer.write(piece)
            await writer.drain()
            written += len(piece)
        writer.write(b"0\r\n\r\n")
        await reader.read()  # closing at once would throw away what is on its way

    async with serve(flood) as served, client_of(served) as client, await client.stream(SSE, Stream()) as stream:
        before = -1
        while before != written:  # until it stands still
            before = written
            await asyncio.sleep(0.1)
        assert HELD <= written < many * len(piece) / 2
        count = 0
        async for event in stream:
            assert len(event.data) == 16_000
            count += 1
        assert count == many, "and then all of it comes"


async def test_closing_the_client_cuts_its_streams() -> None:
    closed = asyncio.Event()

    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(CHUNKED)
        await reader.read()
        closed.set()

    async with serve(script) as served:
        client = client_of(served)
        stream = await client.stream(SSE, Stream())
        await client.aclose()
        await asyncio.wait_for(closed.wait(), 10)
        with pytest.raises(Truncated):
            await anext(aiter(stream))
        await stream.aclose()


# Through a foreign httpx transport


class Pushing(httpx.AsyncByteStream):
    def __init__(self, pieces: Callable[[], AsyncIterator[bytes]]) -> None:
        self._pieces = pieces
        self.closed = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        async for piece in self._pieces():
            yield piece

    async def aclose(self) -> None:
        self.closed = True


def foreign(answer: Callable[[httpx.Request], Coroutine[None, None, httpx.Response]]) -> Client:
    settings = ControllerSettings(name="bmc", url="https://192.0.2.17")
    return Client(settings, transport=httpx.MockTransport(answer), limits=PATIENT)


async def test_through_a_foreign_transport() -> None:
    seen: list[httpx.Request] = []

    async def pieces() -> AsyncIterator[bytes]:
        yield b"id: 7\ndata: a\n\nda"
        yield b"ta: b\n\n"
        raise httpx.ReadError("reset by peer")

    body = Pushing(pieces)

    async def answer(request: httpx.Request) -> httpx.Response:
        seen.append(request)
        return httpx.Response(200, headers={"Content-Type": "text/event-stream; charset=utf-8"}, stream=body)

    async with foreign(answer) as client:
        stream: EventStream = await client.stream(SSE, Stream("6"))
        events = aiter(stream)
        assert [(await anext(events)).data, (await anext(events)).data] == ["a", "b"]
        with pytest.raises(Unreachable, match="reset by peer"):
            await anext(events)
        await stream.aclose()
    assert body.closed
    assert seen[0].headers["Last-Event-ID"] == "6"


async def test_a_foreign_transport_that_is_silent_or_refuses() -> None:
    async def silence() -> AsyncIterator[bytes]:
        yield b": here\n\n"
        await asyncio.Event().wait()

    async def quiet(request: httpx.Request) -> httpx.Response:
        return httpx.Response(200, headers={"Content-Type": "text/event-stream"}, stream=Pushing(silence))

    async def refuses(request: httpx.Request) -> httpx.Response:
        return httpx.Response(405, json={"error": {"message": "not here"}})

    async def never(request: httpx.Request) -> httpx.Response:
        await asyncio.Event().wait()
        raise AssertionError

    async with foreign(quiet) as client, await client.stream(SSE, Stream(), idle=0.05) as stream:
        with pytest.raises(TimedOut):
            await anext(aiter(stream))
    async with foreign(refuses) as client:
        with pytest.raises(HttpStatus, match="405 not here"):
            await client.stream(SSE, Stream())
    async with foreign(never) as client:
        with pytest.raises(TimedOut, match="head"):
            await client.stream(SSE, Stream(), timeout=0.05)


async def test_a_stream_logs_in_like_everything_else(mockups: Path) -> None:
    """With the one session of the client, made anew where it was lost."""
    mockup = Mockup(mockups / "public-bladed", credentials=("ops", "secret"))

    async def pieces() -> AsyncIterator[bytes]:
        yield b"data: a\n\n"

    async def answer(request: httpx.Request) -> httpx.Response:
        headers = {name.lower(): value for name, value in request.headers.items()}
        path = request.url.raw_path.decode()
        if path == SSE and mockup._allowed(headers):
            return httpx.Response(200, headers={"Content-Type": "text/event-stream"}, stream=Pushing(pieces))
        status, told, body = mockup.answer(request.method, path, headers, await request.aread())
        return httpx.Response(status, headers=told, content=body)

    settings = ControllerSettings(name="bmc", url="https://192.0.2.17", credential=CREDENTIAL)
    async with Client(settings, transport=httpx.MockTransport(answer)) as client:
        for _ in range(2):
            async with await client.stream(SSE, Stream()) as stream:
                assert [event.data async for event in stream] == ["a"]
            assert len(mockup.sessions) == 1
            mockup.sessions.clear()
    assert sum(method == "POST" for method, _ in mockup.requests) == 2
