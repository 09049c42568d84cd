"""One controller, kept: walk, then rounds at their due times, for as long as the fleet runs.

A keeper never gives up and never lets anything that a controller does, or a bug that it brings to light, past itself:
every failure becomes a round with its outcome, told like any other. What it waits for next is decided in
:mod:`collector.poll.schedule`.
"""

from __future__ import annotations

import asyncio
import logging
import math
from collections.abc import Coroutine, Mapping
from typing import Any

import httpx
from msgspec import structs

from collector.model import Inventory, Outcome, Update
from collector.poll.clock import Clock
from collector.poll.contact import ContactNote
from collector.poll.events import Events, Listening
from collector.poll.hearing import Told
from collector.poll.interpret import Interpret, interpret
from collector.poll.remembering import Remembering
from collector.poll.report import Report, Spent, report
from collector.poll.rounds import Done, Rounds
from collector.poll.schedule import Chance, Grid, back_off, login_back_off, obeyed, out_of_turn, patience
from collector.poll.side import first_of
from collector.poll.streamed import Streamed
from collector.poll.telling import Remember, Tell, Watches
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError, HttpStatus, LoginRefused, TimedOut
from collector.redfish.left_over import SessionNotes
from collector.redfish.messages import seconds_to_wait
from collector.redfish.resources import SERVICE_ROOT
from collector.redfish.walk import Walk
from collector.redfish.wire import Limits
from collector.settings import CollectorSettings, ControllerSettings

__all__ = ["Keeper", "Report", "Tell", "Watches"]

log = logging.getLogger(__name__)

_LEAST_GAP = 0.05
"""Of the poll interval: a gap between two rounds that is shorter is left alone."""
_GAP_USED = 0.8
"""Of a gap, by what is not a round."""
_ROUNDS_BETWEEN_WALKS = 2
"""At least, when the tree seems to have changed; twice as many each time that happens again before a planned walk."""


class Keeper:
    """Keeps one controller. ``walks`` bounds the walks of the whole fleet; ``transport`` replaces the network.

    ``listening``: how to follow the controller's own events; None for not at all. ``notes``: where its session is
    noted. ``remember``: gives what is to outlast a restart, now and then and at the end.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        collector: CollectorSettings,
        watch: Watches,
        tell: Tell,
        *,
        walks: asyncio.Semaphore,
        clock: Clock,
        chance: Chance,
        transport: httpx.AsyncBaseTransport | None = None,
        limits: Limits | None = None,
        interpret: Interpret = interpret,
        listening: Listening | None = None,
        notes: SessionNotes | None = None,
        remember: Remember | None = None,
    ) -> None:
        self.settings = settings
        self._collector = collector
        self._watch = watch
        self._tell = tell
        self._walks = walks
        self._clock = clock
        self._chance = chance
        self._interpret = interpret
        self._client = Client(settings, in_flight=collector.in_flight, transport=transport, limits=limits, notes=notes)
        self._events = None if listening is None else Events(self._client, listening, self, clock=clock, chance=chance)
        self._streamed = Streamed()
        self._contact = ContactNote(self._client, self._events)
        self._clock_offset: float | None = None
        """As read last, to be told; None where nothing newer was read."""
        self._call = asyncio.Event()
        """Set when something was heard that a round before the next due time would show."""
        self._early = False
        """Whether the next round is such a one."""
        self._last_round = (-math.inf, 0.0)
        """When the newest round began, and how long it took."""
        self._lost: Exception | None = None
        """What telling an update raised: nothing can be kept any more."""
        # Due times stand on epoch-like seconds that never jump, so that the grid survives a restart.
        self._offset = clock.now() - clock.monotonic()
        self._grid = Grid.spread(settings.name, collector.poll_interval, "round")
        self._walk_grid = Grid.spread(settings.name, collector.walk_interval, "walk")
        self._remembering = Remembering(settings.name, remember, self._steady())
        self._rounds: Rounds | None = None
        self._inventory: Inventory | None = None
        self._due = -math.inf
        self._walk_due = -math.inf
        self._last_walk = -math.inf
        self._unplanned_walks = 0
        self._walk_wanted = False
        self._incomplete = False
        self._failures = 0
        self._refusals = 0
        self._once = False
        """Whether nothing follows the walk and round under way."""
        self._walk_failures = 0

    async def run(self) -> None:
        """Keep the controller until cancelled; its session is deleted then."""
        async with self._client:
            try:
                if self._events is None:
                    await self._poll()
                    return
                try:
                    await first_of(self._poll(), self._live(self._events))
                finally:
                    await self._events.aclose()
            finally:
                await self._remember_at_last()

    @property
    def client(self) -> Client:
        """Through which it is asked, for the length of :meth:`run`."""
        return self._client

    def look(self) -> None:
        """Something was done to it: make a round sooner, if one can be made."""
        self._call.set()

    @property
    def answering(self) -> bool:
        """Whether the controller answered last time."""
        return self._rounds is not None and self._failures == 0

    async def heard(self, told: Told) -> None:
        """Take what the controller told of itself: tell it on, and look sooner where that shows something."""
        if told.update is not None:
            try:
                await self._tell(told.update)
            except ValueError:
                log.exception("%s: events that don't fit are dropped", self.settings.name)
            except Exception as error:
                self._lost = error
                raise
        if told.moved:
            self._want_walk()
        if told.urgent:
            self._call.set()

    def reported(self, told: Mapping[str, Any], body: bytes) -> None:
        """Take a metric report that came by itself: the next round reads it."""
        self._streamed.put(told, body, self._clock.now())

    async def _poll(self) -> None:
        while True:
            late = max(0.0, self._steady() - self._due) if math.isfinite(self._due) and not self._early else 0.0
            walk_due = self._steady() >= self._walk_due and not self._walks.locked() and not self._early
            if self._rounds is None or walk_due:
                await self._guarded(self._walk())
            else:
                began = self._steady()
                await self._guarded(self._round(self._rounds, late))
                self._last_round = (began, self._steady() - began)
            self._early = False
            await self._talk()
            await self._sleep()

    async def once(self) -> Report:
        """One walk and one full round, then close."""
        started, self._once = self._clock.monotonic(), True
        async with self._client:
            last = await self._guarded(self._walk())
            if self._rounds is not None:
                last = await self._guarded(self._round(self._rounds, 0.0))
        done = last.round if last is not None else None
        return report(self.settings.name, self._inventory, done, self._client, self._clock.monotonic() - started)

    # Walk

    async def _walk(self) -> Update | None:
        """Walk, and begin new rounds. None where the old ones go on: the walk missed what may well be there still."""
        async with self._walks:
            spent = Spent(self._clock, self._client)
            self._last_walk = self._steady()
            walk = Walk(self._client, clock=self._clock.now, sleep=self._clock.sleep)
            try:
                async with asyncio.timeout(self._collector.walk_deadline):
                    await self._client.connect(anew=True)
                    walked = await walk.run()
            except TimeoutError:
                detail = f"the walk was not done within {self._collector.walk_deadline:g} s"
                advice = "a longer collector.walk_deadline gives it more time"
                return self._walk_failed(TimedOut(self.settings.name, SERVICE_ROOT, detail, advice), spent)
            except ControllerError as error:
                return self._walk_failed(error, spent)
        self._walk_failures = 0
        self._answered()
        if walk.passing and self._rounds is not None and not self._incomplete:
            log.warning(
                "%s: the walk missed %d resources for now; the last one counts", self.settings.name, walk.passing
            )
            self._incomplete = True
            self._plan_next(walk_in=_ROUNDS_BETWEEN_WALKS * self._collector.poll_interval)
            return None
        interpreted = self._interpret(walked, self.settings.location)
        assessment = self._watch.inventory(interpreted.inventory, self._clock.now())
        self._inventory = interpreted.inventory
        self._clock_offset = interpreted.inventory.clock_offset
        if self._events is not None:
            self._events.walked(walked, interpreted.inventory)
        self._rounds = Rounds(self._client, interpreted, self._clock, self._streamed)
        self._incomplete = walk.passing > 0
        self._unplanned_walks = self._unplanned_walks + 1 if self._walk_wanted else 0
        self._walk_wanted = False
        self._plan_next(walk_in=_ROUNDS_BETWEEN_WALKS * self._collector.poll_interval if self._incomplete else None)
        return Update(controller=self.settings.name, inventory=interpreted.inventory, assessment=assessment)

    def _walk_failed(self, failure: ControllerError, spent: Spent) -> Update:
        """Told as a round. With an older walk at hand the rounds go on, and find out for themselves what is wrong."""
        self._walk_failures += 1
        wait = back_off(self._walk_failures, self._collector.walk_interval / 4, self._chance)
        least, most = _ROUNDS_BETWEEN_WALKS * self._collector.poll_interval, self._collector.walk_interval
        self._walk_due = self._steady() + max(least, min(wait, most))
        waits = seconds_to_wait(failure.retry_after, self._clock.now()) if isinstance(failure, HttpStatus) else None
        self._failed(failure, waits)
        return self._told_as_round(failure.outcome, failure.line + self._patience(), spent)

    def _plan_next(self, walk_in: float | None) -> None:
        """The next round by the grid; the next walk by its own, half an interval from now or more."""
        now = self._steady()
        self._due = self._next_due(now)
        planned = self._walk_grid.at_or_after(now + self._collector.walk_interval / 2)
        self._walk_due = planned if walk_in is None else now + walk_in

    # Round

    async def _round(self, rounds: Rounds, late: float) -> Update:
        done = await rounds.run(self._collector.round_deadline, late, whole=self._early)
        if done.failure is not None:
            self._failed(done.failure, done.retry_after)
        else:
            self._read(done)
        found = done.round
        self._clock_offset = found.clock_offset
        if found.error and (patience := self._patience()):
            found = structs.replace(found, error=found.error + patience)
        if self._events is not None and (defects := self._events.new_defects()):
            found = structs.replace(found, defects=(*found.defects, *defects))
        assessment = self._watch.round(found, self._clock.now())
        learnt = self._remembering.due(self._steady(), self._clock.now())
        return Update(controller=self.settings.name, round=found, assessment=assessment, learnt=learnt)

    async def _remember_at_last(self) -> None:
        """Tell on what was learnt since it was kept last. What goes wrong with that is told, and keeps nothing up."""
        try:
            learnt = self._remembering.at_last(self._steady(), self._clock.now()) if self._lost is None else None
            if learnt is not None:
                await self._tell(Update(controller=self.settings.name, learnt=learnt))
        except Exception:
            log.exception("%s: what was learnt of it since it was kept last is lost", self.settings.name)

    def _read(self, done: Done) -> None:
        """Something came: on with the grid, later where the service asked for it, and to a walk where things moved."""
        now = self._steady()
        was_away = self._failures >= _ROUNDS_BETWEEN_WALKS
        self._answered()
        self._due = self._next_due(now)
        if wait := obeyed(done.retry_after):
            self._due = max(self._due, self._grid.at_or_after(now + wait))
        if done.walk_wanted or was_away:
            self._want_walk()

    def _want_walk(self) -> None:
        """The tree seems to have changed."""
        self._walk_wanted = True
        gap = _ROUNDS_BETWEEN_WALKS * self._collector.poll_interval * 2 ** min(self._unplanned_walks, 30)
        self._walk_due = min(self._walk_due, self._last_walk + min(gap, self._collector.walk_interval))

    # Failures

    def _failed(self, failure: ControllerError, retry_after: float | None) -> None:
        """Nothing came: wait longer each time, longest after a refused password."""
        self._failures += 1
        if isinstance(failure, LoginRefused):
            self._refusals += 1
            wait = login_back_off(self._refusals, self._chance)
        else:
            self._refusals = 0
            wait = back_off(self._failures, self._collector.poll_interval, self._chance)
        now = self._steady()
        then = self._grid.at_or_after(now + max(wait, obeyed(retry_after)))
        self._due = max(then, self._next_due(now)) if math.isfinite(self._due) else then
        if self._refusals:
            log.warning("%s%s", failure, self._patience())
        elif self._failures == 1:
            log.warning("%s", failure)

    def _answered(self) -> None:
        if self._failures:
            log.info("%s: answers again after %d failures", self.settings.name, self._failures)
        self._failures = self._refusals = 0

    async def _guarded(self, work: Coroutine[Any, Any, Update | None]) -> Update | None:
        """Do one piece of work and tell what came of it; a bug becomes this controller's failed round."""
        spent = Spent(self._clock, self._client)
        try:
            update = await work
        except Exception as error:  # it must not stop the other controllers
            log.exception("%s: unexpected error", self.settings.name)
            update = self._stumbled(error, spent)
        if update is None:
            return None
        update = self._with_contact(update)
        try:
            await self._tell(update)
        except ValueError as error:  # it does not fit what was told before
            log.exception("%s: unexpected error", self.settings.name)
            update = self._stumbled(error, spent)
            await self._tell(update)
        return update

    def _with_contact(self, update: Update) -> Update:
        now, refused = self._clock.now(), self._refusals > 0
        news = self._contact.news(
            now,
            clock_offset=self._clock_offset,
            refusals=self._refusals,
            next_login=round(now + self._due - self._steady()) if refused else None,
        )
        self._clock_offset = None
        return update if news is None else structs.replace(update, contact=news)

    def _patience(self) -> str:
        """What is said to those who wait for a refused login; nothing where none was, and where none is tried again."""
        if not self._refusals or self._once:
            return ""
        return patience(self._refusals, self._due - self._steady())

    def _stumbled(self, error: Exception, spent: Spent) -> Update:
        """A bug, as a failed round that is waited out like any other. One in walking leaves time to rounds."""
        self._failures += 1
        now = self._steady()
        self._due = self._grid.at_or_after(now + back_off(self._failures, self._collector.poll_interval, self._chance))
        self._walk_due = max(self._walk_due, now + _ROUNDS_BETWEEN_WALKS * self._collector.poll_interval)
        text = f"{SERVICE_ROOT}: internal error, {type(error).__name__}; see the log, and report it"
        return self._told_as_round(Outcome.MALFORMED, text, spent, assess=False)

    def _told_as_round(self, outcome: Outcome, error: str, spent: Spent, *, assess: bool = True) -> Update:
        now = self._clock.now()
        done = spent.as_round(self.settings.name, self._client, now, outcome, error)
        assessment = self._watch.round(done, now) if assess else None
        return Update(controller=self.settings.name, round=done, assessment=assessment)

    # Time

    def _steady(self) -> float:
        return self._clock.monotonic() + self._offset

    def _next_due(self, now: float) -> float:
        """By the grid, which an early round leaves as it is."""
        if not math.isfinite(self._due):
            return self._grid.at_or_after(now)
        return self._due if self._early else self._grid.following(self._due, now)

    async def _talk(self) -> None:
        """Leave the time until the next round to the events, less some, so that they never make it late."""
        left = self._due - self._steady()
        if self._events is None or not self.answering or left < _LEAST_GAP * self._collector.poll_interval:
            return
        try:
            await self._events.between(_GAP_USED * left)
        except Exception as error:  # noqa: BLE001 - recorded or raised there; a bug must not stop the rounds
            self._look_at(error)

    async def _live(self, events: Events) -> None:
        """What comes between the rounds; a bug in that costs the controller's events until the next walk."""
        while True:
            try:
                await events.run()
            except Exception as error:  # noqa: BLE001 - recorded or raised there
                self._look_at(error)

    def _look_at(self, error: Exception) -> None:
        if error is self._lost or self._events is None:
            raise error
        log.error("%s: unexpected error; its events wait for the next walk", self.settings.name, exc_info=error)
        self._events.stumbled()

    async def _sleep(self) -> None:
        """Until the next round is due, or one may be made out of turn because something was heard."""
        while self._events is not None and (left := self._due - self._steady()) > 0:
            await self._clock.wait(left, self._call)
            if not self._call.is_set():
                return
            self._call.clear()
            began, lasted = self._last_round
            at = out_of_turn(began, lasted, self._steady(), self._due, self._collector.poll_interval)
            if at is not None and self.answering:
                await self._clock.sleep(max(0.0, at - self._steady()))
                self._early = True
                return
        await self._clock.sleep(max(0.0, self._due - self._steady()))
