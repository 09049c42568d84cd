"""One controller under watch: fed its walks and rounds with the time, says what they mean.

A round with nothing wrong costs one pass over its columns; all else is done only for the parts that something changed
on. While a controller can't be read, what it told last is no longer known: its parts' own health is unknown (or that of
their open conditions), and nothing but the condition on the controller itself opens or closes.
"""

from __future__ import annotations

from array import array
from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType

from collector.assess.air_class import ClassOfAir
from collector.assess.attending import Attending
from collector.assess.book import AIR, CONTACT, GAPS, VANISHED, Book, Finding, missing_finding, missing_part
from collector.assess.care import Cares
from collector.assess.chatter import Chatter
from collector.assess.columns import Columns
from collector.assess.delays import Habit
from collector.assess.fronts import Fronts
from collector.assess.gaps import Gaps
from collector.assess.identity import positions
from collector.assess.judge import judge
from collector.assess.outages import Outages
from collector.assess.rollup import Rollup
from collector.assess.standing import Standing
from collector.assess.tree import NOT_RUNNING, Tree
from collector.assess.whereabouts import LISTED_WHEN_OFF, NOT_READ, Whereabouts
from collector.assess.words import CONTACT_WORDS, about, condition_id
from collector.model import (
    NO_VALUE,
    Assessment,
    Condition,
    Defect,
    DefectKind,
    Event,
    Evidence,
    Frame,
    Health,
    Inventory,
    Lamps,
    Link,
    Location,
    Outcome,
    Part,
    PowerState,
    Quantity,
    Round,
    Seconds,
    State,
    Status,
    Stay,
    Subject,
)

ROUNDS_UNTIL_LOST = 2
"""Failed rounds in a row after which a controller is in trouble; the first is only an event."""
INTERVALS_UNTIL_STALE = 3
"""Poll intervals without a value after which a reading is stale."""
INTERVALS_UNTIL_RETOLD = 10
"""Poll intervals after which an open condition is told again for nothing but newer evidence."""
MOST_EVENTS = 200
"""Events that one walk or round may tell."""

NO_HABITS: Mapping[Quantity, Habit] = MappingProxyType({})
NOWHERE = Location()
_CONTACT_CRITICAL = {Outcome.UNREACHABLE, Outcome.UNTRUSTED}
"""Nobody can see whether what hangs on it lives, or who it is that answers."""
_NO_READING = {DefectKind.NOT_A_NUMBER, DefectKind.OUT_OF_RANGE, DefectKind.WRONG_TYPE, DefectKind.WRONG_UNIT}
"""Defects that leave a sensor that is told without a reading."""
_POWER_TOLD = {PowerState.ON, PowerState.OFF, PowerState.PAUSED}


class Watch:
    """The incremental state of one controller. Not thread-safe; never reads a clock.

    ``open_conditions`` are those of this controller that were open when an earlier watch ended: they go on without
    being opened again. ``poll_interval`` in seconds. ``whereabouts``, ``cares`` and ``outages`` are the fleet's;
    without them this controller is followed by itself. ``habits``: delays and deadbands for limits of which the
    service tells none, see :mod:`collector.assess.delays`. ``location``: where the fleet file says that it is.
    ``air``: what judges its inlet air by the class of its place.
    """

    def __init__(
        self,
        controller: str,
        poll_interval: float,
        open_conditions: Sequence[Condition] = (),
        whereabouts: Whereabouts | None = None,
        *,
        cares: Cares | None = None,
        outages: Outages | None = None,
        habits: Mapping[Quantity, Habit] = NO_HABITS,
        location: Location = NOWHERE,
        air: ClassOfAir | None = None,
    ) -> None:
        self.controller = controller
        self._whereabouts = Whereabouts() if whereabouts is None else whereabouts
        chatter = Chatter(poll_interval)
        self._book = Book(controller, INTERVALS_UNTIL_RETOLD * poll_interval, open_conditions, chatter)
        self._attending = Attending(controller, poll_interval, cares or Cares(), outages or Outages(), location)
        self._air = air
        if air is not None:
            air.restore(open_conditions)
        self._wrong: dict[str, str] = {}
        """By source: what was told there since the newest walk and can't be a reading."""
        self._gaps = Gaps(controller, INTERVALS_UNTIL_STALE * poll_interval)
        self._columns = Columns(self._gaps, habits)
        self._contact_id = condition_id(controller, Subject.CONTROLLER, None)
        self._events: list[Event] = []
        self._stays: tuple[Stay, ...] = ()
        self._walked = False
        self._links: tuple[Link, ...] = ()
        self._tree = Tree(())
        self._positions: frozenset[str] = frozenset()
        self._rollup, self._fronts, self._standing = Rollup(self._tree), Fronts(self._tree), Standing()
        self._statuses: dict[str, Status] = {}
        self._idle = bytearray()
        self._idle_told: tuple[bytes, frozenset[str]] = (b"", frozenset())
        self._turned_absent = {
            condition.part
            for condition in open_conditions
            if condition.subject is Subject.MISSING and missing_part(condition) == condition.part
        }
        lost = bool(self._book.open_in(CONTACT))
        self._failures = ROUNDS_UNTIL_LOST if lost else 0
        self._failing_since: Seconds = 0.0
        self._unreadable = lost

    @property
    def statuses(self) -> Mapping[str, Status]:
        """What the controller told last of its parts, by id."""
        return self._statuses

    @property
    def tree(self) -> Tree:
        """The parts that the newest walk found."""
        return self._tree

    @property
    def lamps(self) -> Mapping[str, Lamps]:
        """What the fronts should show, by part id."""
        return self._fronts.told

    @property
    def idle(self) -> frozenset[str]:
        """Ids of the parts that are off, absent or in such a part; the same object until that changes."""
        if self._idle_told[0] != self._idle:
            ids = frozenset(part.id for part, off in zip(self._tree.parts, self._idle, strict=True) if off)
            self._idle_told = (bytes(self._idle), ids)
        return self._idle_told[1]

    def inventory(self, inventory: Inventory, now: Seconds) -> Assessment:
        """Take a finished walk. Raises ValueError when its frame doesn't fit its layout."""
        self._answered(now)
        tree_before, statuses_before = self._tree, self._statuses
        walked = self._whereabouts.walked(inventory, now)
        self._events += walked.events
        self._stays = walked.stays
        self._take_parts(inventory)
        self._miss_parts(walked.missing, tree_before, now)
        self._wrong = {}
        self._note_wrong(inventory.defects)
        self._statuses = dict(inventory.statuses)
        self._note_states(statuses_before, self._statuses, now)
        self._idle = self._tree.idle(self._statuses)
        self._columns.lay_out(inventory.layout.sensors, self._tree.at, inventory.frame, self._book)
        self._columns.set_bands(self._idle)
        self._columns.take(inventory.frame, self._idle)
        if self._air is not None:
            self._air.inventory(inventory, now)
        self._walked = True
        self._judge(range(len(self._tree.parts)), now)
        self._close_of_gone_parts(inventory, now)
        return self._finish(now, range(len(self._tree.parts)), attend=True)

    def attend(self, now: Seconds) -> Assessment:
        """Take it that people asked for something: tell at once what changes by it, without waiting for a round."""
        if not (self._book.groups() and self._attending.due(now)):
            return Assessment(controller=self.controller, time=now)
        return self._finish(now)

    def maintained(self, now: Seconds) -> frozenset[str]:
        """Ids of the parts that hands are at work on now."""
        return self._attending.maintained(self._tree, now)

    def find(self, condition: str) -> Condition | None:
        """The open condition of an id."""
        return self._book.find(condition)

    def round(self, round: Round, now: Seconds) -> Assessment:
        """Take a finished round. Raises ValueError when its frame doesn't fit the layout of the newest walk."""
        if round.outcome in CONTACT_WORDS:
            return self._failed(round, now)
        heard_again = self._answered(now)
        if not self._walked:
            return self._finish(now)
        touched = self._take_statuses(round.statuses, now) if round.statuses else set()
        touched |= self._columns.take(self._frame(round), self._idle)
        if round.defects:
            self._note_wrong(round.defects)
        breathes = self._breathe(round, now)
        waiting = self._gaps.since or (self._book.any and (self._book.held or self._attending.due(now)))
        if not (touched or self._events or waiting or breathes or self._book.open_in(GAPS)):
            return Assessment(controller=self.controller, time=now)
        self._judge(touched, now)
        return self._finish(now, range(len(self._tree.parts)) if heard_again else touched)

    # Contact with the controller

    def _failed(self, round: Round, now: Seconds) -> Assessment:
        words = CONTACT_WORDS[round.outcome]
        self._failures += 1
        if self._failures == 1:
            self._failing_since = round.started
            self._event(now, None, f"controller {round.outcome.value}", Health.WARNING, round.error or words)
        severity = Health.CRITICAL if round.outcome in _CONTACT_CRITICAL else Health.WARNING
        chatters = self._book.came(self._contact_id, severity, now)
        if self._failures < ROUNDS_UNTIL_LOST and not chatters:
            return self._finish(now)
        finding = Finding(
            id=self._contact_id,
            part=None,
            subject=Subject.CONTROLLER,
            severity=severity,
            text=words,
            since=self._failing_since,
            reports=(Evidence(time=now, text=f"{round.outcome.value}: {round.error or words}"),),
        )
        self._book.settle(CONTACT, [finding], now)
        just_lost = not self._unreadable and self._failures >= ROUNDS_UNTIL_LOST
        self._unreadable |= just_lost
        return self._finish(now, range(len(self._tree.parts)) if just_lost else ())

    def _answered(self, now: Seconds) -> bool:
        """Note that the controller could be read; say whether it counted as lost before."""
        if self._failures == 0:
            return False
        self._failures = 0
        self._event(now, None, "controller answers", Health.OK, "controller can be read again")
        self._book.settle(CONTACT, [], now, gone="controller can be read again")
        self._book.went(self._contact_id, now)
        self._gaps.pause(now - self._failing_since)
        self._columns.forget_last_frame()
        was_lost, self._unreadable = self._unreadable, False
        return was_lost

    # What walks bring

    def _take_parts(self, inventory: Inventory) -> None:
        """Build the tree anew unless the walk found the same parts and links."""
        parts = (*inventory.parts, *_strays(inventory))
        if self._walked and parts == self._tree.parts and inventory.links == self._links:
            self._tree.parts, self._links = parts, inventory.links  # the same again: let go of the older ones
            return
        self._links = inventory.links
        self._tree = Tree(parts, inventory.links)
        self._idle_told = (b"", frozenset())
        self._positions = frozenset(positions(parts))
        self._rollup = Rollup(self._tree, self._rollup)
        self._fronts = Fronts(self._tree, self._fronts)

    def _miss_parts(self, missing: Sequence[Stay], before: Tree, now: Seconds) -> None:
        """What should be there and isn't any more becomes a condition."""
        gone = {stay.part for stay in missing}
        for stay in missing:
            if stay.position in self._positions:  # listed as absent: judged like any other part
                if not self._walked:
                    self._turned_absent.add(stay.part)
                continue
            at = before.at.get(stay.part)
            was_idle = at is not None and bool(self._idle[at])
            if stay.kind not in LISTED_WHEN_OFF or stay.parent in gone or was_idle:
                continue
            uri = stay.position.removeprefix(self.controller + ":")
            part = Part(id=stay.position, controller=self.controller, uri=uri, kind=stay.kind, name=stay.name)
            text = f"{about(part)}: was there and is no longer listed"
            home = stay.parent if stay.parent in self._tree.at else None
            self._book.open(VANISHED, missing_finding(self.controller, part, home, text, now), now)

    def _close_of_gone_parts(self, inventory: Inventory, now: Seconds) -> None:
        """Close what was open on parts that are no longer listed, and what was missing and is listed again."""
        for group in self._book.groups():
            for condition in list(self._book.open_in(group).values()):
                if group == VANISHED:
                    if missing_part(condition) in self._positions:
                        self._book.close(group, condition.id, now, "listed again")
                elif self._is_gone(group, inventory):
                    self._book.close(group, condition.id, now, "the part is no longer listed")

    def _is_gone(self, group: str, inventory: Inventory) -> bool:
        return group not in self._tree.at and group not in (CONTACT, GAPS, AIR) and not _may_be_unread(group, inventory)

    # What every round brings

    def _frame(self, round: Round) -> Frame:
        if round.frame is not None:
            return round.frame
        size = len(self._columns.sensors)
        return Frame(time=round.finished, values=array("d", [NO_VALUE]) * size, healths=bytes(size))

    def _breathe(self, round: Round, now: Seconds) -> bool:
        """Hold inlet air against its class; whether anything is or was wrong with it."""
        air = self._air
        if air is None or round.frame is None:
            return False
        air.round(round.frame.values, self.idle, now)
        if not (air.findings or self._book.open_in(AIR)):
            return False
        self._book.settle(AIR, air.findings, now, gone="inlet air is within its class again")
        return True

    def _take_statuses(self, statuses: Mapping[str, Status], now: Seconds) -> set[int]:
        self._note_states(self._statuses, statuses, now)
        self._statuses.update(statuses)
        touched = {self._tree.at[part] for part in statuses if part in self._tree.at}
        idle = self._tree.idle(self._statuses)
        if idle != self._idle:
            for at, (was, now_is) in enumerate(zip(self._idle, idle, strict=True)):
                if was != now_is:
                    touched.update(self._tree.within(at))
            self._idle = idle
            self._columns.set_bands(idle)
        return touched

    def _note_states(self, before: Mapping[str, Status], after: Mapping[str, Status], now: Seconds) -> None:
        """Tell of changed states and power; remember what turned absent."""
        for part_id, status in after.items():
            old, position = before.get(part_id), self._tree.at.get(part_id)
            if status.state is not State.ABSENT:
                self._turned_absent.discard(part_id)
            if old is None or position is None:
                continue
            name = about(self._tree.parts[position])
            if old.state is not status.state and State.UNKNOWN not in (old.state, status.state):
                text = f"{name}: {old.state.value} -> {status.state.value}"
                self._event(now, part_id, "state changed", Health.OK, text)
                if status.state is State.ABSENT:
                    self._turned_absent.add(part_id)
            if old.power is not status.power and {old.power, status.power} <= _POWER_TOLD:
                text = f"{name}: power {old.power.value} -> {status.power.value}"
                self._event(now, part_id, "power changed", Health.OK, text)

    # What it means

    def _judge(self, positions: Iterable[int], now: Seconds) -> None:
        watched = self._columns.watched()
        for position in positions:
            part = self._tree.parts[position]
            status, here = self._statuses.get(part.id), watched.get(position, ())
            open_here = self._book.open_in(part.id)
            if status is None and not here and not open_here:
                continue
            findings = judge(
                part,
                status,
                here,
                now,
                open_ids=open_here,
                excused=self._excused(position, status),
                turned_absent=part.id in self._turned_absent,
            )
            self._book.settle(part.id, findings, now)
        self._columns.release(self._book)

    def _excused(self, position: int, status: Status | None) -> bool:
        """Whether a part can't be in service because it, or what it belongs to, is switched off."""
        parent = self._tree.parent[position]
        return (status is not None and status.power in NOT_RUNNING) or (parent >= 0 and bool(self._idle[parent]))

    def _note_wrong(self, defects: Iterable[Defect]) -> None:
        for defect in defects:
            if defect.kind in _NO_READING:
                self._wrong[f"{defect.resource}#{defect.property}"] = defect.detail
                if defect.property == "/Reading":
                    self._wrong[defect.resource] = defect.detail

    def _finish(self, now: Seconds, changed: Collection[int] = (), *, attend: bool = False) -> Assessment:
        """Settle what spans parts, roll up, and hand out all that is new."""
        if self._walked and self._failures == 0:
            missed = self._gaps.findings(
                self._columns.sensors,
                lambda column: self._tree.parts[self._columns.part_at[column]],
                lambda column: bool(self._idle[self._columns.part_at[column]]),
                now,
                self._wrong,
            )
            self._book.settle(GAPS, missed, now, gone="no longer missed")
        if self._book.held and self._failures == 0:
            self._book.release(now)
        if attend or self._book.dirty or (self._book.any and self._attending.due(now)):
            self._attending.attend(self._book, self._tree, self._statuses, self._columns.quantities, now)
        readable = not self._unreadable
        own = self._standing.changes(changed, self._tree, self._book, self._statuses, readable)
        announced = self._book.announced
        opened, retold, closed = self._book.collect()
        for condition in opened:
            self._event(now, condition.part, _told("opened", condition), condition.severity, condition.text)
        for condition in retold:
            if condition.id in announced:
                self._event(now, condition.part, "condition announced", condition.severity, condition.text)
        for condition in closed:
            self._event(now, condition.part, _told("closed", condition), Health.OK, condition.text)
            self._attending.closed(condition)
        rolled = self._rollup.update(own)
        fronts = {*changed, *(self._tree.at[part] for part in rolled)}
        return Assessment(
            controller=self.controller,
            time=now,
            opened=opened,
            changed=retold,
            closed=closed,
            rolled=rolled,
            lamps=self._fronts.update(fronts, self._statuses if readable else {}, self._rollup),
            events=self._collect_events(now),
            stays=self._collect_stays(),
        )

    def _collect_stays(self) -> tuple[Stay, ...]:
        stays, self._stays = self._stays, ()
        return stays

    def _event(self, now: Seconds, part: str | None, subject: str, severity: Health, text: str) -> None:
        event = Event(time=now, controller=self.controller, part=part, subject=subject, severity=severity, text=text)
        self._events.append(event)

    def _collect_events(self, now: Seconds) -> tuple[Event, ...]:
        if (more := len(self._events) - MOST_EVENTS) > 0:
            del self._events[MOST_EVENTS:]
            self._event(now, None, "events left out", Health.WARNING, f"{more} more events at the same time")
        events, self._events = tuple(self._events), []
        return events


def _told(what: str, condition: Condition) -> str:
    """The subject of an event: only what is to draw attention is called by the plain word."""
    if condition.cause is not None:
        return f"consequence {what}"
    return f"condition {what}" if condition.announced else f"condition {what} unannounced"


def _strays(inventory: Inventory) -> list[Part]:
    """Parts for sensors whose part is not among the parts, so that their readings are watched like any other."""
    known = {part.id for part in inventory.parts}
    strays = {sensor.part: sensor.kind for sensor in inventory.layout.sensors if sensor.part not in known}
    prefix = inventory.controller + ":"
    return [
        Part(id=part, controller=inventory.controller, uri=part.removeprefix(prefix), kind=kind, name=part)
        for part, kind in strays.items()
    ]


def _may_be_unread(part: str, inventory: Inventory) -> bool:
    """Whether a part may be unlisted only because its resource, or one above it, could not be fetched this time."""
    uri = part.removeprefix(inventory.controller + ":")
    return any(defect.kind in NOT_READ and uri.startswith(defect.resource.rstrip("/")) for defect in inventory.defects)
