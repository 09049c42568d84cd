"""What the collector does because people asked for it: requests taken from the store, carried out, and settled there.

A request is carried out once: what came of it is remembered until the store has it, so that a store that can't be
written for a while makes nobody do anything twice. What changes something on a controller is marked as taken up before
it is begun; a collector that ends in the middle of it says so when it starts again, and does not try it anew.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path

from msgspec import structs

from collector.assess.care import Cares, News
from collector.assess.watch import Watch
from collector.cli.deeds import Deeds, NotNow
from collector.cli.holding import HeldNews, Holding
from collector.model import (
    CARE_VERBS,
    DEED_VERBS,
    Assessment,
    Condition,
    Event,
    Health,
    Request,
    RequestState,
    Seconds,
    Update,
)
from collector.redfish.deeds import Came
from collector.store.errors import StoreError
from collector.store.reader import Reader
from collector.store.writer import Writer

log = logging.getLogger(__name__)

PAUSE = 1.0
"""Seconds between two looks for requests."""
INTERRUPTED = "the collector ended while it was at it, and it is not tried again: look at the front, then ask anew"

Handler = Callable[[Request, Seconds], Awaitable[tuple[RequestState, str]]]
"""Carries out a request at once; how it went, and one sentence of it. What it raises counts as refused."""
Tell = Callable[[Update], Awaitable[None]]


class Errands:
    """Carries out what people ask for.

    ``handlers``: by verb, those besides what :class:`Cares` does itself. ``deeds``: what is done to controllers; None
    where these are not being polled, so that such requests are left alone. ``holding``: what the handlers and the deeds
    know as holding, kept with the requests that it comes from. ``tend``: called now and then, for what ends by time.
    ``followed``: told of what came of each deed.
    """

    def __init__(
        self,
        state_dir: Path,
        writer: Writer,
        cares: Cares,
        watches: Mapping[str, Watch],
        tell: Tell,
        now: Callable[[], Seconds],
        handlers: Mapping[str, Handler] | None = None,
        deeds: Deeds | None = None,
        holding: Holding | None = None,
        tend: Callable[[Seconds], Awaitable[None]] | None = None,
        followed: Callable[[Request, Came], None] | None = None,
    ) -> None:
        self._reader = Reader(state_dir)
        self._writer = writer
        self._cares = cares
        self._watches = watches
        self._tell = tell
        self._now = now
        self._handlers: dict[str, Handler] = {verb.value: self._care for verb in CARE_VERBS} | dict(handlers or {})
        self._deeds = deeds
        self._holding = Holding() if holding is None else holding
        self._tend = tend
        self._followed = followed
        self._settled: dict[int, Request] = {}
        """Carried out, and not yet known to be kept."""
        self._under_way: dict[int, asyncio.Task[None]] = {}
        self._version = -1
        self._interrupted_told = False

    async def run(self) -> None:
        """Until cancelled; what is under way then is left, and told of at the next start."""
        try:
            while True:
                await self.once()
                await asyncio.sleep(PAUSE)
        finally:
            for task in self._under_way.values():
                task.cancel()

    async def once(self) -> None:
        """Carry out what was asked for up to now, and begin what takes its time."""
        try:
            await self._settle_interrupted()
            asked = await asyncio.to_thread(self._reader.asked.requests, True)
        except StoreError as error:
            log.warning("requests can't be read for now: %s", error)
            return
        for request in asked:
            if request.id in self._settled or request.id in self._under_way:
                continue
            if request.verb not in DEED_VERBS:
                self._settled[request.id] = await self._settle(request)
            elif self._deeds is not None:
                await self._begin(request, self._deeds)
        self._cares.lapse(self._now())
        if self._deeds is not None:
            await self._darken(self._deeds)
        if self._tend is not None:
            await self._tend(self._now())
        await self._keep()
        await self._attend()

    async def finish(self) -> None:
        """Wait for what is under way, and keep what came of it."""
        await asyncio.gather(*self._under_way.values(), return_exceptions=True)
        await self._keep()

    # What is done at once

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
        return self._done(request, Came(state, result))

    def _done(self, request: Request, came: Came) -> Request:
        told = (request.id, request.who, request.verb, request.target, came.state.value, came.text)
        log.info("request %d of %r to %s %r: %s, %s", *told)
        return structs.replace(request, state=came.state, result=came.text, done_at=self._now())

    async def _care(self, request: Request, now: Seconds) -> tuple[RequestState, str]:
        return self._cares.carry_out(request, self._find, now)

    def _find(self, condition: str) -> Condition | None:
        for watch in self._watches.values():  # ids begin with their controller's name, which may hold a dot
            if condition.startswith(watch.controller) and (found := watch.find(condition)) is not None:
                return found
        return None

    # What takes its time

    async def _settle_interrupted(self) -> None:
        """What an earlier run was at when it ended is told as it is: begun, and nobody knows how far."""
        if self._interrupted_told:
            return
        for request in await asyncio.to_thread(self._reader.asked.taken_up):
            self._settled[request.id] = self._done(request, Came(RequestState.HALF_DONE, INTERRUPTED))
        self._interrupted_told = True

    async def _begin(self, request: Request, deeds: Deeds) -> None:
        now = self._now()
        try:
            if now >= request.expires:
                raise NotNow("not carried out in time")
            deeds.begin(request, now)
        except NotNow as why:
            state = RequestState.EXPIRED if now >= request.expires else RequestState.REFUSED
            self._settled[request.id] = self._done(request, Came(state, str(why)))
            return
        news = self._holding.news()
        taken_up = structs.replace(request, state=RequestState.TAKEN_UP)
        try:
            await self._writer.settle([taken_up], held=news.held, dropped=news.dropped)
        except StoreError as error:
            log.warning("request %d waits: %s", request.id, error)
            self._holding.again(news)
            return
        task = asyncio.create_task(self._do(request, deeds), name=f"request {request.id}")
        self._under_way[request.id] = task

    async def _do(self, request: Request, deeds: Deeds) -> None:
        try:
            came = await deeds.do(request)
        except Exception as error:
            log.exception("request %d (%s) failed", request.id, request.verb)
            came = Came(RequestState.HALF_DONE, f"it failed half-way by an internal error, {type(error).__name__}")
        self._settled[request.id] = self._done(request, came)
        del self._under_way[request.id]
        if self._followed is not None:
            self._followed(request, came)
        await self._keep()
        if came.state is not RequestState.REFUSED:
            await self._tell_of(request, came)

    async def _tell_of(self, request: Request, came: Came) -> None:
        """What was done to a part belongs to what happened to it."""
        controller = request.target.partition(":")[0]
        if controller not in self._watches:
            return
        text = f"{came.text} (asked by {request.who}: {request.why})"
        severity = Health.OK if came.state is RequestState.DONE else Health.WARNING
        event = Event(
            time=self._now(),
            controller=controller,
            part=request.target,
            subject=request.verb,
            severity=severity,
            text=text,
        )
        assessment = Assessment(controller=controller, time=event.time, events=(event,))
        await self._tell(Update(controller=controller, assessment=assessment))

    async def _darken(self, deeds: Deeds) -> None:
        """Ask for the lamps to be switched off whose time is over."""
        now = self._now()
        for lit in deeds.overdue(now):
            try:
                await asyncio.to_thread(deeds.off, lit, now)
            except StoreError as error:
                log.warning("the lamp of %s stays lit for now: %s", lit.part, error)

    # What is kept and told

    async def _keep(self) -> None:
        news, held, settled = self._cares.news(), self._holding.news(), dict(self._settled)
        if not settled and news == News() and held == HeldNews():
            return
        try:
            await self._writer.settle(settled.values(), news.begun, news.ended, held.held, held.dropped)
        except StoreError as error:
            log.warning("what came of requests can't be kept for now: %s", error)
            self._cares.again(news)
            self._holding.again(held)
            return
        for number in settled:
            self._settled.pop(number, None)

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
