"""One controller's own events, by the best way that it offers: its stream, a push to our listener, or its logs.

Which way is decided after each walk (:mod:`collector.redfish.event_way`). What comes live (stream, push) is read by a
task of its own, beside the rounds. All other talk (looking for logs, keeping the one subscription, reading logs) waits
for the time that is left between two rounds, so that it never makes one late; where there is none, it waits for the
next gap. What was heard becomes events through :mod:`collector.poll.hearing`.

A stream or a push that fails gives way to the next best for a while (:data:`WALKS_WITHOUT`). Neither is ever repeated
by a service, so the logs are read after each walk and each new beginning as well.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct

from collector.model import Defect, DefectKind, Inventory
from collector.poll.clock import Clock
from collector.poll.hearing import Hearing, Told
from collector.poll.inbox import Inbox
from collector.poll.learning import Learning
from collector.poll.listening import Holder, Listening, Push
from collector.poll.schedule import Chance
from collector.poll.side import first_of
from collector.poll.streamed import is_report
from collector.redfish.bodies import decode
from collector.redfish.client import Client
from collector.redfish.delivery import not_delivered, submit_test
from collector.redfish.errors import ControllerError, Malformed
from collector.redfish.event_stream import no_stream
from collector.redfish.event_way import Way, WayKind, way
from collector.redfish.flow import Answer, Ask, Flow, Place, drive
from collector.redfish.log_cursor import Bounds
from collector.redfish.log_places import LogPlace, LogsFound, find_logs, log_owners
from collector.redfish.logs import read_log
from collector.redfish.notices import Source
from collector.redfish.resources import Walked
from collector.redfish.sse import Stream
from collector.redfish.subscription import Kept, Ours, context_token, end, keep

__all__ = ["Events", "Holder", "Listening", "Push"]

log = logging.getLogger(__name__)

WALKS_WITHOUT = 4
"""Walks for which a way that failed is left out."""
STEADY = 20.0
"""Seconds that a stream must have held for its end to count as a first failure."""
PATIENCE = 6
"""Failures of a stream in a row, while the controller answers, after which it is given up for a while."""
LONGEST_WAIT = 300.0
"""Seconds between two attempts at a stream at most, unless the service asks for longer."""
GOODBYE = 5.0
"""Seconds that deleting our subscription may take on the way out."""
MAX_DEFECTS = 64
"""Defects told between two walks."""
MAX_EVENT = 4 * 1024 * 1024
"""Bytes of one streamed event. Pushed ones may have 1 MiB, metric reports more (DSP0266)."""
DELIVERY = 30.0
"""Seconds that a test event may take to reach us."""
_ASK_SECONDS = 10.0
_LOG_BOUNDS = Bounds()


class _Service(Struct, frozen=True):
    """What of a walk matters here."""

    root: Mapping[str, Any]
    log_owners: tuple[Mapping[str, Any], ...]
    can_skip: bool


class Events:
    """The events of one controller. The keeper calls :meth:`walked`, :meth:`between`, :meth:`run`, :meth:`aclose`."""

    def __init__(self, client: Client, listening: Listening, holder: Holder, *, clock: Clock, chance: Chance) -> None:
        name = client.settings.name
        self.way = Way(kind=WayKind.NONE)
        self._client = client
        self._listening = listening
        self._holder = holder
        self._clock = clock
        self._chance = chance
        self._place = Place(name, client.settings.url)
        self._hearing = Hearing(self._place, listening.standard, listening.kept)
        push = listening.push
        self._ours = Ours(push.address(name) if push is not None else "", context_token(listening.secret, name))
        self._inbox = Inbox()
        if push is not None:
            push.attach(name, self._pushed)
        self._service: _Service | None = None
        self._undecided = False
        self._catch_up = False
        self._next_log = 0
        self._subscriptions = ""
        """Path of the collection in which ours may stand."""
        self._held = ""
        """Path of our subscription."""
        self._subscribing = False
        """Whether one may have been made of which we don't know."""
        self._tested = False
        """Whether the service has promised a test event to our subscription."""
        self._arrival = asyncio.Event()
        """Set when anything was pushed to us since then."""
        self._cleaned = False
        """Whether none of an earlier process is left."""
        self._without: dict[WayKind, int] = {}
        """Ways that failed, and for how many more walks they are left out."""
        self._changed = asyncio.Event()
        self._learning = Learning(self._place, self._hearing, self._exchange)
        self.open_since: float | None = None
        """Since when the stream is open, or the subscription stands; None where there is neither."""
        self._defects: dict[tuple[str, str, DefectKind], Defect] = {}
        self._new: list[Defect] = []

    # What the keeper calls

    @property
    def subscription(self) -> str | None:
        """Path of our one subscription; None where there is none that we know."""
        return self._held or None

    def walked(self, walked: Walked, inventory: Inventory) -> None:
        """A walk is done: decide on the way anew, when there is time."""
        self._hearing.walked(inventory)
        features = walked.root.get("ProtocolFeaturesSupported")
        self._service = _Service(
            root=walked.root,
            log_owners=tuple(log_owners(walked)),
            can_skip=isinstance(features, dict) and features.get("TopSkipQuery") is True,
        )
        registries = self._place.linked(walked.root.get("Registries"))
        self._learning.path = registries.path if registries is not None else None
        self._undecided = self._catch_up = True
        self._without = {kind: left - 1 for kind, left in self._without.items() if left > 1}
        self._defects.clear()
        self._new = []
        self._note(self._learning.defects)

    def new_defects(self) -> tuple[Defect, ...]:
        """Those found since the last call, each once a walk."""
        found, self._new = tuple(self._new), []
        return found

    async def between(self, seconds: float) -> None:
        """Do what is to be done, within the time until the next round; the rest waits for the next gap.

        Raises only what telling raises.
        """
        waiting: list[Told] = []
        try:
            async with asyncio.timeout(seconds):
                if self._undecided:
                    await self._decide()
                if self._catch_up or self.way.kind is WayKind.LOGS:
                    await self._read_logs(waiting)
        except TimeoutError:
            log.debug("%s: its events wait for the next gap", self._place.controller)
        except ControllerError as error:
            log.debug("%s; the rounds find out for themselves", error)
        for told in waiting:  # not within the time-out: what was read is told
            await self._tell(told)

    async def run(self) -> None:
        """Follow what comes live, for as long as the keeper runs. Raises only what telling raises."""
        while True:
            self._changed.clear()
            if self.way.kind is WayKind.STREAM:
                await first_of(self._follow_stream(self.way.path), self._changed.wait())
            elif self.way.kind is WayKind.PUSH:
                await first_of(self._follow_pushes(), self._changed.wait())
            else:
                await self._changed.wait()

    def stumbled(self) -> None:
        """After a bug: rest until the next walk."""
        self._undecided = self._catch_up = False
        self._take_way(Way(kind=WayKind.NONE))

    async def aclose(self) -> None:
        """Take our subscription back, within a few seconds; the client must still be open."""
        if not self._held and not self._subscribing:
            return
        try:
            async with asyncio.timeout(GOODBYE):
                gone: Kept = await self._drive(end(self._subscriptions, self._ours, self._place, held=self._held))
            trouble = gone.trouble
        except (TimeoutError, ControllerError) as error:
            trouble = str(error) or "no answer in time"
        if trouble:
            log.warning(
                "%s: its event subscription %s is left and taken up at the next start: %s",
                self._place.controller,
                self._held or "may have been made and",
                trouble,
            )

    # Which way

    async def _decide(self) -> None:
        service = self._service
        assert service is not None
        event_service = await self._linked(service.root, "EventService")
        found: LogsFound = await self._drive(find_logs(service.log_owners, self._place))
        self._note(found.defects)
        self._hearing.keep_logs(place.entries for place in found.places)
        chosen = self._best(service.root, event_service, found.places)
        if event_service is not None:
            target = self._place.linked(event_service.get("Subscriptions"))
            self._subscriptions = target.path if target is not None else ""
        if chosen.kind is WayKind.PUSH and event_service is not None:
            chosen = await self._subscribed(chosen, service.root, event_service)
        elif self._subscriptions and (self._held or self._subscribing or not self._cleaned):
            await self._unsubscribed()
        self._take_way(chosen)
        self._undecided = False

    def _best(
        self, root: Mapping[str, Any], event_service: Mapping[str, Any] | None, logs: tuple[LogPlace, ...]
    ) -> Way:
        address = self._ours.destination or None
        return way(root, event_service, logs, address, self._place, failed=self._without.keys())

    async def _subscribed(self, chosen: Way, root: Mapping[str, Any], event_service: Mapping[str, Any]) -> Way:
        """The push with one subscription standing; the next best way where there can be none."""
        self._subscribing = True
        kept: Kept = await self._drive(
            keep(chosen.path, event_service, self._ours, self._place, held=self._held, message_ids=())
        )
        self._note(kept.defects)
        gone = kept.full or kept.refused
        self._held = kept.path or ("" if gone else self._held)
        self._cleaned, self._subscribing = True, not kept.path and not gone
        if kept.path:
            self._catch_up = self._catch_up or kept.made or kept.resumed
            if self.way.kind is not WayKind.PUSH or self.open_since is None or kept.made:
                self.open_since = self._clock.now()
            if kept.made:
                self._arrival.clear()
                self._tested = await self._drive(submit_test(event_service, self._place))
            return chosen
        log.info("%s: no push of events for now: %s", self._place.controller, kept.trouble)
        if kept.refused:
            self._without[WayKind.PUSH] = WALKS_WITHOUT
        failed = {*self._without, WayKind.PUSH}
        return way(root, event_service, chosen.logs, None, self._place, failed=failed)

    async def _unsubscribed(self) -> None:
        """None of ours is wanted: neither the one we have nor one of an earlier process."""
        gone: Kept = await self._drive(end(self._subscriptions, self._ours, self._place, held=self._held))
        self._note(gone.defects)
        if not gone.trouble:
            self._held, self._cleaned, self._subscribing = "", True, False

    def _take_way(self, chosen: Way) -> None:
        if (chosen.kind, chosen.path) != (self.way.kind, self.way.path):
            log.debug("%s: its events come by %s", self._place.controller, chosen.kind.value)
            self._changed.set()
            if chosen.kind is not WayKind.PUSH:
                self.open_since = None
        self.way = chosen

    def _give_up(self, kind: WayKind, why: str) -> None:
        """The logs for now; whether there is a better way is decided in the next gap."""
        log.warning("%s: no events by %s for now: %s", self._place.controller, kind.value, why)
        self._without[kind] = WALKS_WITHOUT
        self._undecided = self._catch_up = True
        logs = self.way.logs
        self._take_way(Way(kind=WayKind.LOGS if logs else WayKind.NONE, logs=logs))

    # Live

    async def _follow_stream(self, path: str) -> None:
        """Keep the stream open; returns when it is given up."""
        last_id, failures = "", 0
        while True:
            parser = Stream(last_id, max_line=MAX_EVENT, max_event=MAX_EVENT)
            began = self._clock.monotonic()
            try:
                async with await self._client.stream(path, parser, idle=self._listening.idle) as stream:
                    self.open_since = self._clock.now()
                    self._catch_up = True  # what happened before it was open may stand in a log
                    async for event in stream:
                        await self._take(event.data.encode("utf-8", "replace"), Source.SSE, path)
                why = "the service ended it"
            except ControllerError as error:
                why = error.happened
                self.open_since = None
                if no_stream(error):
                    self._note([self._place.defect(path, "", DefectKind.HTTP_ERROR, error.happened)])
                    return self._give_up(WayKind.STREAM, why)
            self.open_since = None
            if parser.dropped:
                detail = f"{parser.dropped} streamed events were over {MAX_EVENT} bytes"
                self._note([self._place.defect(path, "", DefectKind.TOO_BIG, detail)])
            last_id = parser.last_id
            failures = 1 if self._clock.monotonic() - began >= STEADY else failures + 1
            if failures >= PATIENCE and self._holder.answering:
                return self._give_up(WayKind.STREAM, f"it broke {failures} times in a row, last: {why}")
            log.debug("%s: its event stream is over: %s", self._place.controller, why)
            spread = self._chance() * min(LONGEST_WAIT, 2.0**failures)
            await self._clock.sleep(max(parser.retry or 1.0, spread))

    def _pushed(self, body: bytes) -> bool:
        self._arrival.set()
        return self._inbox.put(body)

    async def _follow_pushes(self) -> None:
        """Take what is pushed; returns when it is given up, since a test event that was promised did not come."""
        tested, self._tested = self._tested, False
        if tested:
            await self._clock.wait(DELIVERY, self._arrival)
        if tested and not self._arrival.is_set():
            why = not_delivered(self._ours.destination, DELIVERY)
            self._note([self._place.defect(self._held, "/Destination", DefectKind.CONTRADICTION, why)])
            return self._give_up(WayKind.PUSH, why)
        while True:
            await self._take(await self._inbox.get(), Source.PUSH, self._held)

    async def _take(self, data: bytes, source: Source, resource: str) -> None:
        """One event body, as it came."""
        try:
            body = decode(data, self._place.controller, resource)
        except Malformed as error:
            self._note([self._place.defect(resource, "", error.defect or DefectKind.NOT_JSON, error.happened)])
            return
        if is_report(body):
            self._holder.reported(body, data)
        else:
            self._note(await self._learning.learn([body]))
        told = self._hearing.event(body, source, self._clock.now())
        await self._tell(told)

    # Logs

    async def _read_logs(self, waiting: list[Told]) -> None:
        """Each log once, beginning behind the one that was read last."""
        logs, service = self.way.logs, self._service
        assert service is not None
        for _ in range(len(logs)):
            entries = logs[self._next_log % len(logs)].entries
            cursor = self._hearing.cursor(entries)
            read = await self._drive(read_log(cursor, self._place, _LOG_BOUNDS, can_skip=service.can_skip))
            self._note(await self._learning.learn([item.body for item in read.items]))
            self._next_log = (self._next_log + 1) % len(logs)
            waiting.append(self._hearing.log(read, entries, self._clock.now()))
        self._catch_up = False

    # Inside

    async def _tell(self, told: Told) -> None:
        self._note(told.defects)
        if told.update is not None:
            await self._holder.heard(told)

    def _note(self, defects: Iterable[Defect]) -> None:
        for defect in defects:
            key = (defect.resource, defect.property, defect.kind)
            if key not in self._defects and len(self._defects) < MAX_DEFECTS:
                self._defects[key] = defect
                self._new.append(defect)

    async def _linked(self, root: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
        """The resource behind a link of the root; None where it can't be read."""
        target = self._place.linked(root.get(name))
        if target is None:
            return None
        ask = Ask("GET", target.path)
        answer = await self._exchange(ask)
        if not answer.good:
            self._note([self._place.failure(ask, answer)])
            return None
        return answer.body

    async def _drive(self, flow: Flow[Any]) -> Any:
        return await drive(flow, self._exchange)

    async def _exchange(self, ask: Ask) -> Answer:
        return await self._client.exchange(ask, timeout=_ASK_SECONDS)
