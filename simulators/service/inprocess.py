"""A service without sockets: an httpx transport that plays the same scripts as the server.

What a real network would show of a controller that does not answer, it shows as well: nobody answers for one that is
cut off, one that reboots refuses, one that hangs takes the connection and stays silent. Waiting is done by a function
that is given: :class:`Hurry` lets hours pass in no time, and counts them. Whoever needs no HTTP at all takes
:class:`simulators.service.line.Line`.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Generator, Iterator
from email.utils import formatdate

import httptools
import httpx

from simulators.service.bell import Pause
from simulators.service.http import Request
from simulators.service.service import Service
from simulators.service.wire import End, Step

NO_ROUTE = 3.0
"""Seconds until a host gives up asking who has an address on its own network: three tries of a second each (common
practice, no source)."""


class Hurry:
    """A sleep that takes no time: what was waited is counted, and a clock can be moved on by it."""

    def __init__(self) -> None:
        self.waited = 0.0
        """Seconds."""

    async def __call__(self, seconds: float) -> None:
        """Count them, and let others have their turn."""
        self.waited += seconds
        await asyncio.sleep(0)


class InProcess(httpx.AsyncBaseTransport):
    """Lets an ``httpx.AsyncClient`` talk to a service in this process, wire faults included."""

    def __init__(
        self,
        service: Service,
        clock: Callable[[], float] = time.time,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        """``sleep``: how seconds are waited; a :class:`Hurry` where they are not to be."""
        self._service = service
        self._clock = clock
        self._sleep = sleep

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Exchange one request; raises what httpx raises for a connection that is refused, reset or silent."""
        now = self._clock()
        self._service.observe(now)
        timeouts = request.extensions.get("timeout", {})
        if self._service.cut_off:
            most = timeouts.get("connect")
            if most is not None and most < NO_ROUTE:
                await self._sleep(most)
                raise httpx.ConnectTimeout("nobody answers", request=request)
            await self._sleep(NO_ROUTE)
            raise httpx.ConnectError("no route to host", request=request)
        if not self._service.listening:
            raise httpx.ConnectError("connection refused", request=request)
        asked = Request(
            method=request.method,
            path=request.url.raw_path.decode("ascii").partition("?")[0],
            query=request.url.query.decode("ascii"),
            headers={name.lower(): value for name, value in request.headers.items()},
            body=await request.aread(),
            time=now,
            client="127.0.0.1",
        )
        script = self._service.exchange(asked, date=formatdate(now, usegmt=True), keep_alive=True)
        played = _Played(script, request, timeouts.get("read"), self._sleep)
        await played.read_head()
        return httpx.Response(
            played.status, headers=played.headers, stream=_Stream(played, asked.method == "HEAD"), request=request
        )


class _Played:
    """A script, played into a parser of responses."""

    def __init__(
        self,
        script: Iterator[Step],
        request: httpx.Request,
        timeout: float | None,
        sleep: Callable[[float], Awaitable[None]],
    ) -> None:
        self._sleep = sleep
        self.status = 0
        self.headers: list[tuple[bytes, bytes]] = []
        self._script = script
        self._request = request
        self._timeout = timeout
        self._parser = httptools.HttpResponseParser(self)
        self._body: list[bytes] = []
        self._head_done = False
        self._done = False

    def on_header(self, name: bytes, value: bytes) -> None:
        self.headers.append((name, value))

    def on_headers_complete(self) -> None:
        self._head_done = True
        self.status = self._parser.get_status_code()

    def on_body(self, body: bytes) -> None:
        self._body.append(body)

    def on_message_complete(self) -> None:
        self._done = True

    async def read_head(self) -> None:
        while not self._head_done:
            await self._step()

    async def body(self) -> AsyncIterator[bytes]:
        while True:
            for piece in self._body:
                yield piece
            self._body.clear()
            if self._done:
                return
            await self._step()

    def close(self) -> None:
        """Leave the rest of the script, as a client does that hangs up."""
        if isinstance(self._script, Generator):
            self._script.close()

    async def _step(self) -> None:
        step = next(self._script, End.CLOSE)
        if isinstance(step, bytes):
            self._parser.feed_data(step)
            await asyncio.sleep(0)  # an endless script must not keep the loop
        elif isinstance(step, Pause):
            await self._hear(step)
        elif step is End.HANG:
            await self._wait(None)
        elif isinstance(step, End):
            raise httpx.RemoteProtocolError(f"the connection ended ({step.value}) in mid-answer", request=self._request)
        else:
            await self._wait(step)

    async def _hear(self, pause: Pause) -> None:
        rung = asyncio.Event()
        if pause.bell.wait(rung.set):
            late = self._timeout is not None and pause.seconds > self._timeout
            try:
                await asyncio.wait_for(rung.wait(), self._timeout if late else pause.seconds)
            except TimeoutError:
                if late:
                    raise httpx.ReadTimeout("nothing came", request=self._request) from None
            finally:
                pause.bell.leave()

    async def _wait(self, seconds: float | None) -> None:
        late = self._timeout is not None and (seconds is None or seconds > self._timeout)
        if seconds is None and not late:
            await asyncio.Event().wait()
        await self._sleep(self._timeout if late and self._timeout is not None else seconds or 0.0)
        if late:
            raise httpx.ReadTimeout("nothing came", request=self._request)


class _Stream(httpx.AsyncByteStream):
    def __init__(self, played: _Played, empty: bool) -> None:
        self._played = played
        self._empty = empty

    async def __aiter__(self) -> AsyncIterator[bytes]:
        if self._empty:
            return
        async for piece in self._played.body():
            yield piece

    async def aclose(self) -> None:
        self._played.close()
