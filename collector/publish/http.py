"""The collector's own HTTP port: metrics, health, readiness. Loopback unless the fleet file says otherwise."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Mapping
from types import TracebackType
from typing import Self

import msgspec
from aiohttp import web
from prometheus_client import CollectorRegistry
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from collector.publish.errors import ListenError
from collector.publish.metrics import END, Exposition, SelfReport
from collector.store.live import Live

OPENMETRICS_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
TEXT_TYPE = "text/plain; version=0.0.4; charset=utf-8"

SLICE = 0.002
"""Seconds that rendering may hold the event loop before it lets others go on."""
SHUTDOWN = 2.0
"""Seconds that a scrape under way may go on when the collector stops."""
_NAMED = 20
"""Controllers that /readyz names."""
_INDEX = """sledkeeper collector

/metrics   readings, health and the collector's own figures (Prometheus text, OpenMetrics)
/healthz   200 while the collector works, 503 with the reason when it does not
/readyz    200 once every controller had its first try, 503 with what is missing until then
"""

Check = Callable[[], str | None]
"""Says what is wrong with a part of the collector, or None."""


class HttpServer:
    """Serves the live state. ``async with``, or :meth:`start` and :meth:`aclose`.

    ``report`` is asked at every scrape; ``checks`` by name at every /healthz. What is registered in ``registry`` (the
    process's own figures, say) is told after the fleet.
    """

    def __init__(
        self,
        live: Live,
        *,
        report: Callable[[], SelfReport],
        checks: Mapping[str, Check] | None = None,
        registry: CollectorRegistry | None = None,
    ) -> None:
        self._live = live
        self._report = report
        self._checks = checks or {}
        self._registry = registry or CollectorRegistry()
        self._runner: web.AppRunner | None = None
        self._rendering = asyncio.Lock()
        self._scrapes = 0
        self._scrape_seconds: float | None = None

    async def start(self, host: str, port: int) -> tuple[str, int]:
        """Listen; returns the address bound, which tells the port that 0 took.

        Raises :class:`~collector.publish.errors.ListenError`.
        """
        app = web.Application()
        app.on_response_prepare.append(_plain_headers)
        app.router.add_get("/", self._index)
        app.router.add_get("/metrics", self._metrics)
        app.router.add_get("/healthz", self._healthz)
        app.router.add_get("/readyz", self._readyz)
        runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=SHUTDOWN)
        await runner.setup()
        try:
            await web.TCPSite(runner, host, port).start()
        except OSError as error:
            await runner.cleanup()
            reason = error.strerror or str(error)
            raise ListenError(f"can't listen on {host}:{port}: {reason}; change collector.listen") from error
        except BaseException:
            await runner.cleanup()
            raise
        self._runner = runner
        bound = runner.addresses[0]
        return str(bound[0]), int(bound[1])

    async def aclose(self) -> None:
        """Stop listening. Closing twice is harmless."""
        runner, self._runner = self._runner, None
        if runner is not None:
            await runner.cleanup()

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.aclose()

    async def _index(self, request: web.Request) -> web.Response:
        return web.Response(text=_INDEX)

    async def _healthz(self, request: web.Request) -> web.Response:
        """That this answers at all shows the event loop alive."""
        problems = {name: problem for name, check in self._checks.items() if (problem := check()) is not None}
        return _json({"healthy": not problems, "problems": problems}, 503 if problems else 200)

    async def _readyz(self, request: web.Request) -> web.Response:
        """Ready when every controller was tried once, with whatever result."""
        known = self._live.controllers
        missing = len(known) - self._live.heard
        body: dict[str, object] = {"ready": missing <= 0, "controllers": len(known), "not_tried_yet": missing}
        if missing > 0:
            untried = (each.name for each in known.values() if each.tally.outcome is None)
            body["first_of_them"] = [name for _, name in zip(range(_NAMED), untried, strict=False)]
        return _json(body, 200 if missing <= 0 else 503)

    async def _metrics(self, request: web.Request) -> web.StreamResponse:
        encoder, openmetrics = _encoder(",".join(request.headers.getall("Accept", [])))
        async with self._rendering:  # one at a time: two scrapers need not hold the text twice over
            began = time.perf_counter()
            pieces = [piece async for piece in self._pieces(openmetrics)]
            pieces.append(encoder(self._registry).removesuffix(END) + (END if openmetrics else b""))
            self._scrapes += 1
            self._scrape_seconds = time.perf_counter() - began
        response = web.StreamResponse()
        response.headers["Content-Type"] = OPENMETRICS_TYPE if openmetrics else TEXT_TYPE
        response.content_length = sum(map(len, pieces))
        await response.prepare(request)
        for piece in pieces if request.method != "HEAD" else ():
            await response.write(piece)
        await response.write_eof()
        return response

    async def _pieces(self, openmetrics: bool) -> AsyncIterator[bytes]:
        """The fleet's text, a controller's worth of work at a time, letting the event loop go on in between.

        In slices on the loop and not on a thread: a thread at work makes the loop wait for the interpreter lock, five
        milliseconds by default, at each of its system calls.
        """
        exposition = Exposition()
        since = time.perf_counter()
        for known in tuple(self._live.controllers.values()):
            exposition.add_controller(known)
            if time.perf_counter() - since > SLICE:
                await asyncio.sleep(0)
                since = time.perf_counter()
        report = msgspec.structs.replace(self._report(), scrapes=self._scrapes, scrape_seconds=self._scrape_seconds)
        exposition.add_self(report)
        for piece in exposition.chunks(openmetrics):
            yield piece
            await asyncio.sleep(0)


def _encoder(accept: str) -> tuple[Callable[[Collector], bytes], bool]:
    """What renders the registry for a scraper, and whether that is OpenMetrics; text for an Accept of nonsense."""
    try:
        encoder, content_type = choose_encoder(accept)
    except (TypeError, ValueError):  # a version that is no version
        encoder, content_type = choose_encoder("")
    return encoder, content_type.startswith("application/openmetrics-text")


async def _plain_headers(request: web.Request, response: web.StreamResponse) -> None:
    response.headers["Server"] = "sledkeeper"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cache-Control"] = "no-store"


def _json(body: object, status: int) -> web.Response:
    return web.Response(body=msgspec.json.encode(body) + b"\n", content_type="application/json", status=status)
