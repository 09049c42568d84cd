"""The seam between the session and the network: what a :class:`~collector.redfish.client.Client` speaks through.

:class:`~collector.redfish.transport.ControllerTransport` is a channel itself. Any other httpx transport (a mock, an
application in process) becomes one through :class:`HttpxChannel`, which also translates httpx's errors into ours.
"""

from __future__ import annotations

import asyncio
import ssl
from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Protocol

import httpx

from collector.redfish.errors import (
    BrokenHttp,
    ControllerError,
    Malformed,
    TimedOut,
    TooBig,
    Unreachable,
    Untrusted,
)
from collector.redfish.event_stream import HttpxPieces, Pieces
from collector.redfish.transport import ControllerTransport
from collector.redfish.wire import Limits, Reply
from collector.settings import ControllerSettings

Headers = Sequence[tuple[bytes, bytes]]


class Channel(Protocol):
    """Requests to one origin: any status comes back as a reply, anything else is a ``ControllerError``."""

    @property
    def certificate(self) -> bytes | None:
        """What was presented when a connection was made last, in DER; None without TLS, and where nobody can tell."""

    async def get(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Reply:
        """GET a path with query."""

    async def request(
        self, method: str, path: str, headers: Headers = (), body: bytes = b"", *, timeout: float | None = None
    ) -> Reply:
        """Any request."""

    async def stream(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Pieces:
        """GET an answer without end; ``timeout`` is for its head."""

    async def aclose(self) -> None:
        """Close all connections."""


class Direct(httpx.AsyncBaseTransport, ABC):
    """A transport that is a channel itself, and is used as one: for services within the process."""

    @property
    def certificate(self) -> bytes | None:
        """None: nothing is presented within the process."""
        return None

    async def get(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Reply:
        """GET a path with query."""
        return await self.request("GET", path, headers, timeout=timeout)

    @abstractmethod
    async def request(
        self, method: str, path: str, headers: Headers = (), body: bytes = b"", *, timeout: float | None = None
    ) -> Reply:
        """Any request."""

    @abstractmethod
    async def stream(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Pieces:
        """GET an answer without end."""


def channel_through(
    transport: httpx.AsyncBaseTransport | None, settings: ControllerSettings, *, in_flight: int, limits: Limits
) -> Channel:
    """The cheapest way through a transport: ours directly (also when none is given), another by httpx."""
    if transport is None:
        return ControllerTransport(settings, in_flight=in_flight, limits=limits)
    return (
        transport if isinstance(transport, ControllerTransport | Direct) else HttpxChannel(transport, settings, limits)
    )


class HttpxChannel:
    """A channel over any httpx transport, with the same bounds and the same errors."""

    certificate: bytes | None = None

    def __init__(self, transport: httpx.AsyncBaseTransport, settings: ControllerSettings, limits: Limits) -> None:
        self._settings = settings
        self._limits = limits
        self._client = httpx.AsyncClient(
            transport=transport,
            base_url=settings.url,
            trust_env=False,  # no proxy or netrc gets to see a token
            follow_redirects=False,
            timeout=httpx.Timeout(limits.response_timeout, connect=limits.connect_timeout),
            headers={"Accept-Encoding": "identity", "User-Agent": "sledkeeper"},
        )

    async def get(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Reply:
        """GET a path with query."""
        return await self.request("GET", path, headers, timeout=timeout)

    async def request(
        self, method: str, path: str, headers: Headers = (), body: bytes = b"", *, timeout: float | None = None
    ) -> Reply:
        """Any request."""
        extra = {} if timeout is None else {"timeout": timeout}
        request = self._client.build_request(
            method,
            self._url(path),
            headers=list(headers),
            content=body or None,
            **extra,  # type: ignore[arg-type]
        )
        try:
            response = await self._client.send(request, stream=True)
            try:
                return await self._bounded(response, path)
            finally:
                await response.aclose()
        except httpx.HTTPError as error:
            raise translated(error, self._settings.name, path) from error

    async def stream(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Pieces:
        """GET an answer without end; ``timeout`` is for its head."""
        patient = httpx.Timeout(None, connect=self._limits.connect_timeout)
        request = self._client.build_request("GET", self._url(path), headers=list(headers), timeout=patient)
        try:
            async with asyncio.timeout(self._limits.response_timeout if timeout is None else timeout):
                response = await self._client.send(request, stream=True)
        except TimeoutError as error:
            raise TimedOut(self._settings.name, path, "waiting for the head of the answer") from error
        except httpx.HTTPError as error:
            raise translated(error, self._settings.name, path) from error
        return HttpxPieces(response, self._settings.name, path, translated)

    async def aclose(self) -> None:
        """Close the transport."""
        await self._client.aclose()

    def _url(self, path: str) -> httpx.URL:
        # Not by the client's URL merging: it would spell the query anew.
        return httpx.URL(self._settings.url).copy_with(raw_path=path.encode("ascii"))

    async def _bounded(self, response: httpx.Response, path: str) -> Reply:
        body = bytearray()
        async for piece in response.aiter_bytes():
            body += piece
            if len(body) > self._limits.max_body:
                raise TooBig(self._settings.name, path, f"its body is over {self._limits.max_body} bytes")
        headers = [(name.lower(), value) for name, value in response.headers.raw]
        return Reply(response.status_code, headers, bytes(body))


def translated(error: httpx.HTTPError, controller: str, resource: str) -> ControllerError:
    """What an error of httpx means here; the caller raises it from the original."""
    cause: BaseException | None = error
    while cause is not None:  # httpx wraps the ssl module's error more than once
        if isinstance(cause, ssl.SSLCertVerificationError):
            return Untrusted(controller, resource, getattr(cause, "verify_message", "") or str(cause))
        cause = cause.__cause__ or cause.__context__
    for kind, ours in _TRANSLATIONS:
        if isinstance(error, kind):
            return ours(controller, resource, str(error) or type(error).__name__)
    return Malformed(controller, resource, f"{type(error).__name__}: {error}")


_TRANSLATIONS: tuple[tuple[type[httpx.HTTPError], type[ControllerError]], ...] = (
    (httpx.TimeoutException, TimedOut),
    (httpx.ProtocolError, BrokenHttp),
    (httpx.UnsupportedProtocol, BrokenHttp),
    (httpx.DecodingError, Malformed),
    (httpx.TooManyRedirects, Malformed),
    (httpx.HTTPStatusError, Malformed),
    (httpx.TransportError, Unreachable),
)
