"""Keeps updates in the tables: what the writer's thread does inside a transaction.

The book remembers per controller what the tables say of it, so that a round costs no look-up. A rolled-back
transaction makes it read them again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from operator import eq
from typing import Protocol

from msgspec import Struct, structs

from collector.model import (
    Assessment,
    Condition,
    Defect,
    Event,
    Frame,
    Inventory,
    Location,
    Outcome,
    Seconds,
    Setting,
    Status,
    Update,
)
from collector.store import answers, codec, fronts, sql, stays
from collector.store.tally import Tally


class Registered(Protocol):
    """What the store keeps of a controller's settings."""

    @property
    def name(self) -> str:
        """Unique in the fleet."""

    @property
    def url(self) -> str:
        """Origin of the service."""

    @property
    def location(self) -> Location:
        """Where the fleet file says it is."""

    @property
    def insecure(self) -> bool:
        """Whether certificate checks are turned off for it."""


MOST_LEARNT = 1_000_000
"""Bytes of what was learnt of one controller; more is not kept."""


class _Entry(Struct):
    id: int
    name: str
    location: str
    """Where the fleet file says it is, as kept."""
    layout: int | None
    size: int
    """Sensors in the layout."""
    digest: bytes | None
    """Of the parts and links kept."""
    frame: int | None
    """The newest frame's id."""
    tally: Tally
    valued: int = 0
    """Sensors with a value in the newest frame."""


class Book:
    """The tables, as one writer writes them. Not thread-safe; raises what SQLite raises."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._entries: dict[str, _Entry] = {}
        self._next_frame = 1
        self.reload()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing of what is done inside, in the tables and in what is remembered of them."""
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._connection.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            self.reload()
            raise

    def reload(self) -> None:
        """Read from the tables again what is remembered of them."""
        self._entries = {
            row[0]: _Entry(
                id=row[1],
                name=row[0],
                location=row[7],
                valued=row[8] or 0,
                layout=row[2],
                size=row[3] or 0,
                digest=row[4],
                frame=row[5],
                tally=_tally(row[9:]),
            )
            for row in self._connection.execute(sql.KNOWN)
        }
        last = (self._connection.execute(query).fetchone()[0] for query in (sql.LAST_FRAME, sql.LAST_SEALED_FRAME))
        self._next_frame = 1 + max(frame or 0 for frame in last)

    def summarise(self) -> None:
        """Make the summary rows that a store from before they were kept lacks."""
        with self.transaction():
            fronts.fill(self._connection)

    def sizes(self) -> dict[str, int | None]:
        """Sensors in the layout of every controller; None for one that was never walked."""
        return {name: None if entry.layout is None else entry.size for name, entry in self._entries.items()}

    def newest_frames(self, first: str, last: str) -> list[tuple[int, int | None]]:
        """Id and newest frame of every controller whose name is in a range."""
        return [(entry.id, entry.frame) for name, entry in self._entries.items() if first <= name <= last]

    def register(self, controllers: Iterable[Registered], now: Seconds) -> None:
        """These are the controllers now; others known so far are retired."""
        before = {name: entry.location for name, entry in self._entries.items()}
        names = set()
        for controller in controllers:
            names.add(controller.name)
            self._connection.execute(
                sql.REGISTER,
                (controller.name, controller.url, codec.to_json(controller.location), int(controller.insecure)),
            )
        self._connection.executemany(sql.RETIRE, [(now, name) for name in self._entries.keys() - names])
        self.reload()
        for name, entry in self._entries.items():
            if before.get(name) != entry.location:
                fronts.rebuild(self._connection, entry.id, name, codec.from_json(entry.location, Location))
        fronts.bump(self._connection, ("fronts",))

    def keep(self, updates: Sequence[Update]) -> None:
        """Write the updates, in order."""
        frames: list[tuple[object, ...]] = []
        touched: dict[int, _Entry] = {}
        restless: set[int] = set()
        """Controllers whose health, or what is told of their blades, may have changed."""
        changed: set[str] = set()
        for update in updates:
            entry = self._entries[update.controller]
            entry.tally.count(update)
            if update.inventory is not None:
                if self._keep_inventory(entry, update.inventory):
                    changed.add("fronts")
                restless.add(entry.id)
                self._add_frame(frames, entry, update.inventory.frame)
                touched[entry.id] = entry
            if update.round is not None:
                if update.round.statuses:
                    self._keep_statuses(entry, update.round.statuses)
                    restless.add(entry.id)
                self._keep_defects(entry, update.round.defects)
                if update.round.frame is not None:
                    self._add_frame(frames, entry, update.round.frame)
                touched[entry.id] = entry
            if update.assessment is not None:
                self._keep_defects(entry, update.assessment.defects)
                self._keep_assessment(entry, update.assessment)
                changed |= _subjects(update.assessment)
                if update.assessment.rolled:
                    restless.add(entry.id)
            if update.contact is not None:
                self._connection.execute(sql.SET_CONTACT, (entry.id, codec.to_json(update.contact)))
            if update.heard is not None:
                self._connection.execute(sql.SET_HEARD, (entry.id, update.heard))
            if update.learnt is not None and len(update.learnt) <= MOST_LEARNT:
                self._connection.execute(sql.SET_LEARNT, (entry.id, update.learnt))
        self._connection.executemany(sql.ADD_FRAME, frames)
        self._connection.executemany(sql.ROUND, [_round_row(entry) for entry in touched.values()])
        if sum(fronts.refresh(self._connection, controller) for controller in sorted(restless)):
            changed.add("fronts")
        fronts.bump(self._connection, changed)

    def _add_frame(self, frames: list[tuple[object, ...]], entry: _Entry, frame: Frame) -> None:
        entry.valued = sum(map(eq, frame.values, frame.values))  # no value is NaN, which is not equal to itself
        if not frame.values:
            entry.frame = None  # a controller without sensors has no readings
            return
        entry.frame = self._next_frame
        self._next_frame += 1
        earliest, latest, times = codec.sample_times(frame)
        values = frame.values.tobytes()
        frames.append((entry.frame, entry.id, entry.layout, frame.time, earliest, latest, values, frame.healths, times))

    def _keep_inventory(self, entry: _Entry, inventory: Inventory) -> bool:
        """Keep it; whether it holds other parts than the one before."""
        self._keep_layout(entry, inventory)
        parts = [(codec.clean(part.id), codec.to_json(part)) for part in inventory.parts]
        links = [(codec.clean(link.part), codec.clean(link.on), link.why.value) for link in inventory.links]
        digest = codec.digest(repr((parts, links)).encode())
        other = digest != entry.digest
        if other:
            self._replace_parts(entry, parts, links)
            entry.digest = digest
            at = codec.from_json(entry.location, Location)
            fronts.keep(self._connection, entry.id, entry.name, at, inventory.parts)
        self._connection.execute(
            sql.WALKED,
            (_cleaned(inventory.product), _cleaned(inventory.redfish_version), entry.layout, entry.digest, entry.id),
        )
        self._replace_statuses(entry, inventory.statuses)
        self._replace_settings(entry, inventory.settings)
        self._connection.execute(sql.FORGET_DEFECTS, (entry.id,))
        self._keep_defects(entry, inventory.defects)
        return other

    def _keep_layout(self, entry: _Entry, inventory: Inventory) -> None:
        """Find or add the layout. A layout once written never changes: frames rest on it."""
        plain = codec.sensors_to_bytes(inventory.layout.sensors)
        digest = codec.digest(plain)
        row = self._connection.execute(sql.FIND_LAYOUT, (entry.id, digest)).fetchone()
        entry.size = len(inventory.layout.sensors)
        if row is None:
            values = (entry.id, digest, entry.size, codec.pack(plain))
            row = self._connection.execute(sql.ADD_LAYOUT, values).fetchone()
        entry.layout = row[0]

    def _replace_parts(self, entry: _Entry, parts: list[tuple[str, str]], links: list[tuple[str, str, str]]) -> None:
        before = {row[0] for row in self._connection.execute(sql.PART_IDS, (entry.id,))}
        self._connection.execute(sql.FORGET_PARTS, (entry.id,))
        self._connection.executemany(sql.ADD_PART, [(entry.id, position, *part) for position, part in enumerate(parts)])
        self._connection.execute(sql.FORGET_LINKS, (entry.id,))
        self._connection.executemany(sql.ADD_LINK, [(entry.id, position, *link) for position, link in enumerate(links)])
        # Only what belonged to a part that has gone: a rollup may speak of things that are no part of this controller.
        gone = [(entry.id, part) for part in before - {part for part, _ in parts}]
        self._connection.executemany(sql.FORGET_LAMPS, gone)
        self._connection.executemany(sql.FORGET_ROLLED, gone)

    def _replace_statuses(self, entry: _Entry, statuses: dict[str, Status]) -> None:
        """Write only what differs: most walks find the statuses as the rounds left them."""
        before = dict(self._connection.execute(sql.STATUSES_OF, (entry.id,)).fetchall())
        now = {codec.clean(part): codec.to_json(status) for part, status in statuses.items()}
        self._connection.executemany(
            sql.SET_STATUS, [(entry.id, part, record) for part, record in now.items() if before.get(part) != record]
        )
        self._connection.executemany(sql.FORGET_STATUS, [(entry.id, part) for part in before.keys() - now.keys()])

    def _replace_settings(self, entry: _Entry, settings: tuple[Setting, ...]) -> None:
        before = [row[0] for row in self._connection.execute(sql.SETTINGS_OF, (entry.id,))]
        now = [codec.to_json(setting) for setting in settings]
        if now != before:
            self._connection.execute(sql.FORGET_SETTINGS, (entry.id,))
            self._connection.executemany(
                sql.ADD_SETTING, [(entry.id, position, record) for position, record in enumerate(now)]
            )

    def _keep_statuses(self, entry: _Entry, statuses: dict[str, Status]) -> None:
        if statuses:
            self._connection.executemany(
                sql.SET_STATUS,
                [(entry.id, codec.clean(part), codec.to_json(status)) for part, status in statuses.items()],
            )

    def _keep_defects(self, entry: _Entry, defects: tuple[Defect, ...]) -> None:
        if defects:
            self._connection.executemany(
                sql.ADD_DEFECT,
                [
                    (entry.id, codec.clean(d.resource), codec.clean(d.property), d.kind.value, codec.clean(d.detail))
                    for d in defects
                ],
            )

    def _keep_assessment(self, entry: _Entry, assessment: Assessment) -> None:
        for condition in (*assessment.opened, *assessment.changed, *assessment.closed):
            self._keep_condition(entry, condition)
        if assessment.rolled:
            self._connection.executemany(
                sql.SET_ROLLED,
                [
                    (entry.id, codec.clean(part), int(rolled.own), int(rolled.worst), codec.to_json(rolled))
                    for part, rolled in assessment.rolled.items()
                ],
            )
        if assessment.lamps:
            self._connection.executemany(
                sql.SET_LAMPS,
                [
                    (entry.id, codec.clean(part), lamps.blue.value, lamps.amber.value)
                    for part, lamps in assessment.lamps.items()
                ],
            )
        if assessment.events:
            self._connection.executemany(sql.ADD_EVENT, [_event_row(entry, event) for event in assessment.events])
        if assessment.stays:
            stays.keep(self._connection, self._number, assessment.stays)
        answers.keep(self._connection, self._number, assessment)

    def _number(self, controller: str) -> int | None:
        entry = self._entries.get(controller)
        return None if entry is None else entry.id

    def _keep_condition(self, entry: _Entry, condition: Condition) -> None:
        key = codec.clean(condition.id)
        # The same trouble is open once. An earlier opening that nobody closed (a collector killed between the two)
        # ended at the latest when this one began.
        others = self._connection.execute(sql.OTHER_OPENINGS, (key, condition.opened)).fetchall()
        for opened, record in others:
            other = codec.from_json(record, Condition)
            ended = structs.replace(other, closed=condition.opened)
            self._connection.execute(sql.CLOSE_CONDITION, (ended.closed, codec.to_json(ended), key, opened))
        self._connection.execute(
            sql.SET_CONDITION,
            (
                key,
                condition.opened,
                entry.id,
                _cleaned(condition.part),
                int(condition.severity),
                condition.closed,
                codec.to_json(condition),
            ),
        )


def _subjects(assessment: Assessment) -> set[str]:
    """What of an assessment is news."""
    told = {
        "conditions": assessment.opened or assessment.changed or assessment.closed,
        "answers": assessment.troubles or assessment.orders,
        "margins": assessment.margins or assessment.figures,
        "events": assessment.events,
    }
    return {subject for subject, news in told.items() if news}


def _cleaned(text: str | None) -> str | None:
    return None if text is None else codec.clean(text)


def _event_row(entry: _Entry, event: Event) -> tuple[object, ...]:
    subject, text = codec.clean(event.subject), codec.clean(event.text)
    return (event.time, entry.id, _cleaned(event.part), subject, int(event.severity), text)


def _tally(row: Sequence[object]) -> Tally:
    """From the last ten columns of a controller's row, all None before its first round."""
    if row[1] is None:
        return Tally()
    outcome, *rest = row
    return Tally(None if outcome is None else Outcome(str(outcome)), *rest)  # type: ignore[arg-type]


def _round_row(entry: _Entry) -> tuple[object, ...]:
    tally = entry.tally
    return (
        entry.id,
        tally.outcome,
        codec.clean(tally.error),
        tally.last_round,
        tally.last_good,
        tally.seconds,
        tally.rounds,
        tally.failed,
        tally.late,
        tally.requests,
        tally.bytes,
        entry.frame,
        entry.valued,
        entry.size,
    )
