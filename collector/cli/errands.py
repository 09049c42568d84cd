"""What the collector does because people asked for it: requests taken from the store, carried out, and settled there.

A request is carried out once: what came of it is remembered until the store has it, so that a store that can't be
written for a while makes nobody do anything twice.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path

from msgspec import structs

from collector.assess.care import Cares, News
from collector.assess.watch import Watch
from collector.model import Assessment, Condition, Request, RequestState, Seconds, Update, Verb
from collector.store.errors import StoreError
from collector.store.reader import Reader
from collector.store.writer import Writer

log = logging.getLogger(__name__)

PAUSE = 1.0
"""Seconds between two looks for requests."""

Handler = Callable[[Request, Seconds], Awaitable[tuple[RequestState, str]]]
"""Carries out a request; how it went, and one sentence of it. What it raises counts as refused."""
Tell = Callable[[Update], Awaitable[None]]


class Errands:
    """Carries out what people ask for. ``handlers``: by verb, those besides what :class:`Cares` does itself."""

    def __init__(
        self,
        state_dir: Path,
        writer: Writer,
        cares: Cares,
        watches: Mapping[str, Watch],
        tell: Tell,
        now: Callable[[], Seconds],
        handlers: Mapping[str, Handler] | None = None,
    ) -> None:
        self._reader = Reader(state_dir)
        self._writer = writer
        self._cares = cares
        self._watches = watches
        self._tell = tell
        self._now = now
        self._handlers: dict[str, Handler] = {verb.value: self._care for verb in Verb} | dict(handlers or {})
        self._settled: dict[int, Request] = {}
        """Carried out, and not yet known to be kept."""
        self._version = -1

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            await self.once()
            await asyncio.sleep(PAUSE)

    async def once(self) -> None:
        """Carry out what was asked for up to now."""
        try:
            asked = await asyncio.to_thread(self._reader.requests, True)
        except StoreError as error:
            log.warning("requests can't be read for now: %s", error)
            return
        for request in asked:
            if request.id not in self._settled:
                self._settled[request.id] = await self._settle(request)
        self._cares.lapse(self._now())
        await self._keep()
        await self._attend()

    async def _settle(self, request: Request) -> Request:
        now = self._now()
        handler = self._handlers.get(request.verb)
        if now >= request.expires:
            state, result = RequestState.EXPIRED, "not carried out in time"
        elif handler is None:
            state, result = RequestState.REFUSED, "this collector does not know what that is"
        else:
            try:
                state, result = await handler(request, now)
            except Exception as error:
                log.exception("request %d (%s) failed", request.id, request.verb)
                state, result = RequestState.REFUSED, f"it failed: {error}"
        log.info("request %d of %s to %s: %s, %s", request.id, request.who, request.verb, state.value, result)
        return structs.replace(request, state=state, result=result, done_at=self._now())

    async def _care(self, request: Request, now: Seconds) -> tuple[RequestState, str]:
        return self._cares.carry_out(request, self._find, now)

    def _find(self, condition: str) -> Condition | None:
        for watch in self._watches.values():  # ids begin with their controller's name, which may hold a dot
            if condition.startswith(watch.controller) and (found := watch.find(condition)) is not None:
                return found
        return None

    async def _keep(self) -> None:
        news, settled = self._cares.news(), dict(self._settled)
        if not settled and news == News():
            return
        try:
            await self._writer.settle(settled.values(), news.begun, news.ended)
        except StoreError as error:
            log.warning("what came of requests can't be kept for now: %s", error)
            self._cares.again(news)
            return
        for number in settled:
            del self._settled[number]

    async def _attend(self) -> None:
        """Tell at once what changed by it."""
        if self._cares.version == self._version:
            return
        self._version = self._cares.version
        now = self._now()
        for watch in self._watches.values():
            assessment: Assessment = watch.attend(now)
            if not assessment.empty:
                await self._tell(Update(controller=watch.controller, assessment=assessment))
