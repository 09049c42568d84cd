"""The way to a simulated controller without sockets and without waiting: every answer comes at once, or never."""

from __future__ import annotations

from collections.abc import Callable

from collector.redfish.channel import Direct, Headers
from collector.redfish.errors import TimedOut, Unreachable
from collector.redfish.event_stream import Pieces
from collector.redfish.wire import Reply
from simulators.service.http import Request
from simulators.service.service import Service
from simulators.telemetry import Mode


class Instant(Direct):
    """Hands requests to a service in this process. ``clock`` gives simulated epoch seconds.

    Raises :class:`~collector.redfish.errors.Unreachable` where nothing listens or no way leads there,
    and :class:`~collector.redfish.errors.TimedOut`, without the wait, where connections are taken and nothing answers.
    """

    def __init__(self, service: Service, clock: Callable[[], float]) -> None:
        self._service = service
        self._clock = clock

    async def request(
        self, method: str, path: str, headers: Headers = (), body: bytes = b"", *, timeout: float | None = None
    ) -> Reply:
        """Exchange one request."""
        name = self._service.name
        now = self._clock()
        mode = self._service.observe(now)
        if self._service.cut_off:
            raise Unreachable(name, path, "no way leads to the controller")
        if mode is Mode.REBOOTING or not self._service.listening:
            raise Unreachable(name, path, "connection refused")
        if mode is not Mode.SERVING:
            raise TimedOut(name, path, "connected, and nothing came")
        where, _, query = path.partition("?")
        told = {key.decode("ascii").lower(): value.decode("latin-1") for key, value in headers}
        reply = self._service.respond(Request(method, where, query, told, body, now, "127.0.0.1"))
        names = [(key.lower().encode("ascii"), value.encode("latin-1")) for key, value in reply.headers]
        return Reply(reply.status, names, reply.body)

    async def stream(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Pieces:
        """Nobody streams here: a drill polls."""
        raise Unreachable(self._service.name, path, "no streams in a drill")
