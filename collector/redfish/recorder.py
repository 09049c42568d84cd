"""The way to a controller with a book kept of it: what was asked, what it cost, how it was answered."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from msgspec import Struct

from collector.redfish.errors import ControllerError
from collector.redfish.transport import ControllerTransport, Headers
from collector.redfish.wire import Limits, Reply
from collector.settings import ControllerSettings

Timer = Callable[[], float]
"""Seconds that never jump, finer than the event loop's, which may stand still for a millisecond."""


class Exchange(Struct, frozen=True, kw_only=True):
    """One request and its answer: no header and no body, hence no secret."""

    method: str
    path: str
    """With query."""
    seconds: float
    """From asking to the last byte, a new connection included where one was needed."""
    status: int | None
    """None where no answer came."""
    received: int
    """Bytes of body, decompressed."""
    conditional: bool
    """Whether it was asked for only if changed (If-None-Match)."""
    failure: str
    """What happened where no answer came."""


class Recorder(ControllerTransport):
    """A :class:`ControllerTransport` that keeps ``exchanges``, in the order in which they ended."""

    def __init__(
        self, settings: ControllerSettings, *, timer: Timer, in_flight: int = 1, limits: Limits | None = None
    ) -> None:
        super().__init__(settings, in_flight=in_flight, limits=limits)
        self.timer = timer
        self.exchanges: list[Exchange] = []

    async def get(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Reply:
        """GET, written down."""
        return await self._noted("GET", path, headers, super().get(path, headers, timeout=timeout))

    async def request(
        self, method: str, path: str, headers: Headers = (), body: bytes = b"", *, timeout: float | None = None
    ) -> Reply:
        """Any request, written down."""
        return await self._noted(method, path, headers, super().request(method, path, headers, body, timeout=timeout))

    async def _noted(self, method: str, path: str, headers: Headers, answer: Awaitable[Reply]) -> Reply:
        started = self.timer()
        reply, failure = None, "given up"
        try:
            reply = await answer
        except ControllerError as error:
            failure = error.happened
            raise
        finally:  # also when the round's deadline cancels it
            self.exchanges.append(
                Exchange(
                    method=method,
                    path=path,
                    seconds=self.timer() - started,
                    status=reply.status if reply is not None else None,
                    received=len(reply.body) if reply is not None else 0,
                    conditional=any(name.lower() == b"if-none-match" for name, _ in headers),
                    failure="" if reply is not None else failure,
                )
            )
        return reply
