"""All that others read of the store: the command line's readers and the dashboard.

Opens the database read-only, beside a writing collector or without one. Safe to share among threads.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import msgspec

from collector.model import (
    Care,
    CollectorState,
    Condition,
    Contact,
    ControllerState,
    Defect,
    DefectKind,
    Event,
    Figure,
    Handling,
    History,
    Kind,
    Lamps,
    LampState,
    Link,
    Lit,
    Location,
    Margin,
    Misfit,
    Misfitting,
    Outcome,
    Part,
    PartHours,
    Permits,
    Reading,
    Request,
    Rolled,
    Seconds,
    Sensor,
    Setting,
    Sighting,
    Status,
    Stay,
    Trouble,
    Why,
    WorkOrder,
)
from collector.store import answers, codec, seeking, sql
from collector.store.errors import StoreDamaged, damaged
from collector.store.headroom import Headroom
from collector.store.history import FileGone, downsampled, read_history
from collector.store.overview import Overview
from collector.store.records import NO_LIMIT, Records
from collector.store.requests import KINDS, request_of
from collector.store.stays import searched, within
from collector.store.tally import Tally

T = TypeVar("T")
H = TypeVar("H", Lit, Sighting, Handling)


class Reader:
    """Reads a state directory.

    Raises ``StoreMissing`` where there is none and the other :class:`~collector.store.errors.StoreError` where it
    can't be read. Controllers that were taken out of the fleet file are retired: they show in ``events`` and
    ``history`` only. Every call sees one moment of the database.
    """

    def __init__(self, state_dir: Path) -> None:
        self._state_dir = state_dir
        self._records = records = Records(state_dir)
        self.overview = Overview(records.rows, records.record, records.word)
        """The whole fleet at a glance."""
        self.headroom = Headroom(records.rows, records.record)
        with records.connection():
            pass

    def close(self) -> None:
        """Close idle connections; the reader may still be used."""
        self._records.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # --- collector and controllers --------------------------------------------------------------------------------

    def collector(self) -> CollectorState | None:
        """The collector's mark; None before it made one."""
        rows = self._records.rows(sql.COLLECTOR)
        if not rows:
            return None
        told = _named(rows[0], CollectorState)
        return CollectorState(**{**told, "permits": self._records.record(told["permits"], Permits)})

    def controllers(self, controller: str | None = None) -> list[ControllerState]:
        """All controllers of the fleet file, by name; the one of that name where it is given."""
        collector = self.collector()
        stopped = collector is not None and collector.stopped is not None
        return [self._controller_state(row, stopped) for row in self._scoped(sql.CONTROLLERS, controller)]

    def defects(self, controller: str | None = None) -> list[Defect]:
        """What can't be read as the standard means it, by controller and resource."""
        return [
            Defect(
                controller=name,
                resource=resource,
                property=pointer,
                kind=self._records.word(kind, DefectKind),
                detail=detail,
            )
            for name, resource, pointer, kind, detail in self._scoped(sql.DEFECTS, controller)
        ]

    def defects_alike(self, limit: int = 40) -> list[tuple[Defect, int, int]]:
        """Defects of one kind at one property together: one of them, how many there are, at how many controllers."""
        return [
            (
                Defect(
                    controller=name,
                    resource=resource,
                    property=pointer,
                    kind=self._records.word(kind, DefectKind),
                    detail=detail,
                ),
                number,
                places,
            )
            for name, resource, pointer, kind, detail, number, places in self._records.rows(
                sql.DEFECTS_ALIKE, {"limit": limit}
            )
        ]

    def heard(self) -> dict[str, bytes]:
        """By controller: how far its own events have been read, as an earlier run left it."""
        return dict(self._records.rows(sql.HEARD))

    def learnt(self) -> dict[str, bytes]:
        """By controller: what assessing had learnt of it, as an earlier run left it; empty where that is no bytes."""
        return {name: kept if isinstance(kept, bytes) else b"" for name, kept in self._records.rows(sql.LEARNT)}

    # --- inventory ------------------------------------------------------------------------------------------------

    def parts(self, controller: str | None = None) -> list[Part]:
        """All parts, by controller and then as the walk found them."""
        return [self._records.record(row[0], Part) for row in self._scoped(sql.PARTS, controller)]

    def links(self, controller: str | None = None) -> list[Link]:
        """Dependencies between parts."""
        return [
            Link(part, needs, self._records.word(why, Why)) for part, needs, why in self._scoped(sql.LINKS, controller)
        ]

    def sensors(self, controller: str | None = None, part: str | None = None) -> list[Sensor]:
        """Sensors in the order of their layouts; those of one part only where it is given."""
        found: list[Sensor] = []
        for (packed,) in self._scoped(sql.LAYOUTS, controller):
            sensors = self._records.layout(packed, controller is not None)
            found += sensors if part is None else [sensor for sensor in sensors if sensor.part == part]
        return found

    def settings(self, controller: str | None = None) -> list[Setting]:
        """What parts are told to keep to and rated for, as the newest walk found it."""
        return [self._records.record(row[0], Setting) for row in self._scoped(sql.SETTINGS, controller)]

    # --- state ----------------------------------------------------------------------------------------------------

    def readings(self, controller: str | None = None) -> list[Reading]:
        """The newest reading of every sensor, in the order of the layouts."""
        found: list[Reading] = []
        for packed, time, values, healths, times in self._scoped(sql.LATEST, controller):
            sensors = self._records.layout(packed, controller is not None)
            columns = codec.floats(values), codec.floats(times) if times else None
            found += _readings(sensors, time, columns[0], healths, columns[1])
        return found

    def statuses(self, controller: str | None = None) -> dict[str, Status]:
        """What controllers say of their parts, by part id."""
        return {part: self._records.record(record, Status) for part, record in self._scoped(sql.STATUSES, controller)}

    def lamps(self, controller: str | None = None) -> dict[str, Lamps]:
        """What the fronts should show, by part id."""
        return {
            part: Lamps(self._records.word(blue, LampState), self._records.word(amber, LampState))
            for part, blue, amber in self._scoped(sql.LAMPS, controller)
        }

    def rolled(self, controller: str | None = None) -> dict[str, Rolled]:
        """Rolled-up health, by part id."""
        return {part: self._records.record(record, Rolled) for part, record in self._scoped(sql.ROLLED, controller)}

    # --- conditions and events ------------------------------------------------------------------------------------

    def conditions(
        self, open_only: bool = True, controller: str | None = None, limit: int | None = None
    ) -> list[Condition]:
        """Conditions, worst first, then the longest open."""
        statement = sql.OPEN_CONDITIONS if open_only else sql.CONDITIONS
        rows = self._scoped(statement, controller, sql.CONDITION_ORDER, limit=NO_LIMIT if limit is None else limit)
        return [self._records.record(row[0], Condition) for row in rows]

    def open_conditions_of(self, controller: str) -> list[Condition]:
        """What a collector that starts again takes up for one of its controllers."""
        return self.conditions(controller=controller)

    def events(self, controller: str | None = None, since: Seconds | None = None, limit: int = 200) -> list[Event]:
        """What happened, newest first."""
        statement = sql.EVENTS if controller is None else sql.EVENTS_OF
        given = {"controller": controller, "since": -1e18 if since is None else since, "limit": limit}
        return [
            Event(time=time, controller=name, part=part, subject=subject, severity=codec.health(severity), text=text)
            for time, name, part, subject, severity, text in self._records.rows(statement, given)
        ]

    # --- what people ask for --------------------------------------------------------------------------------------

    def requests(self, asked_only: bool = False, limit: int = 200) -> list[Request]:
        """What people asked for, newest first; ``asked_only``: what is still to be carried out, oldest first."""
        rows = self._records.rows(sql.REQUESTS_ASKED if asked_only else sql.REQUESTS, {"limit": limit})
        return [self._request(row) for row in rows]

    def taken_up(self) -> list[Request]:
        """What the collector is at, or was when it ended."""
        return [self._request(row) for row in self._records.rows(sql.REQUESTS_TAKEN_UP, {"limit": NO_LIMIT})]

    def request(self, number: int) -> Request | None:
        """One request by its id; None where there is none."""
        rows = self._records.rows(sql.REQUEST, {"id": number})
        return self._request(rows[0]) if rows else None

    def care(self) -> list[Care]:
        """What people did about conditions and places that still holds, or will, in the order of asking."""
        return [self._records.record(row[0], Care) for row in self._records.rows(sql.CARE)]

    def held(self, kind: type[H]) -> list[H]:
        """The lit lamps, sightings, or handled work orders that there are, by part."""
        return [self._records.record(row[0], kind) for row in self._records.rows(sql.HELD, {"kind": KINDS[kind]})]

    def held_of(self, kind: type[H], part: str) -> H | None:
        """The one of a part; None where there is none."""
        rows = self._records.rows(sql.HELD_OF, {"kind": KINDS[kind], "part": codec.clean(part)})
        return self._records.record(rows[0][0], kind) if rows else None

    def _request(self, row: Any) -> Request:
        try:
            return request_of(row)
        except (msgspec.MsgspecError, ValueError) as error:
            raise damaged(self._state_dir, f"a request in the database can't be read: {error}") from error

    # --- answers --------------------------------------------------------------------------------------------------

    def troubles(self, open_only: bool = True, limit: int | None = None) -> list[Trouble]:
        """Troubles with their suspects, worst first, then the longest open."""
        return self._answers(answers.OPEN_TROUBLES if open_only else answers.TROUBLES, Trouble, limit)

    def orders(self, open_only: bool = True, limit: int | None = None) -> list[WorkOrder]:
        """Work orders, by bundle."""
        return self._answers(answers.OPEN_ORDERS if open_only else answers.ORDERS, WorkOrder, limit)

    def closed_orders(self, limit: int = 20) -> list[WorkOrder]:
        """Work orders that closed, the newest first."""
        return self._answers(answers.CLOSED_ORDERS, WorkOrder, limit)

    def margins(self, controller: str | None = None, limit: int | None = None) -> list[Margin]:
        """What is left, by kind, least first; of one controller's parts only where it is given."""
        statement = answers.MARGINS if controller is None else answers.MARGINS_OF
        return self._answers(statement, Margin, limit, controller=controller)

    def figures(self, controller: str | None = None, limit: int | None = None) -> list[Figure]:
        """What was worked out of readings, by part and kind; of one controller's parts only where it is given."""
        statement = answers.FIGURES if controller is None else answers.FIGURES_OF
        return self._answers(statement, Figure, limit, controller=controller)

    def figures_of_places(self, limit: int | None = None) -> list[Figure]:
        """What was worked out for places that are no controller's: racks."""
        return self._answers(answers.FIGURES_OF_PLACES, Figure, limit)

    def misfits(self, how: Misfitting | None = None, limit: int | None = None) -> list[Misfit]:
        """How sleds differ from their designs as the last walks found; in one way only where it is given."""
        return self._answers(answers.MISFITS, Misfit, limit, how=None if how is None else how.value)

    def how_many_misfits(self) -> dict[Misfitting, int]:
        """How many there are of each sort; those of which there are none are left out."""
        return {
            self._records.word(how, Misfitting): number for how, number in self._records.rows(answers.HOW_MANY_MISFITS)
        }

    def _answers(self, statement: str, kind: type[T], limit: int | None, **given: str | None) -> list[T]:
        rows = self._records.rows(statement, {"limit": NO_LIMIT if limit is None else limit, **given})
        return [self._records.record(row[0], kind) for row in rows]

    # --- where parts were -----------------------------------------------------------------------------------------

    def stays(self) -> list[Stay]:
        """Every stay on record, of retired controllers too, in the order in which they began."""
        return self._stays(sql.STAYS)

    def stays_at(self, part: str) -> list[Stay]:
        """What stood where the part of this id stands, in the order in which it came."""
        return self._stays(sql.STAYS_OF_PART, part=codec.clean(part), controller=part.partition(":")[0])

    def stays_of(self, serial: str) -> list[Stay]:
        """Where the parts with this serial number were, whatever its case, in the order in which they came there."""
        return self._stays(sql.STAYS_OF_SERIAL, serial=searched(serial))

    def stays_within(self, place: str) -> list[Stay]:
        """What stood at the locations whose text has this in it, whatever the case of its plain letters."""
        return self._stays(sql.STAYS_AT, place=within(place))

    def _stays(self, statement: str, **given: str | int) -> list[Stay]:
        return [self._records.record(row[0], Stay) for row in self._records.rows(statement, given)]

    def stays_of_parts(self, parts: Iterable[str]) -> list[Stay]:
        """What stood at these ids, by id and then in the order in which it came."""
        return [stay for part in dict.fromkeys(parts) for stay in self.stays_at(part)]

    def seek(
        self, asked: str, kind: Kind | None = None, here: bool = True, limit: int = 100, count_to: int = 2000
    ) -> tuple[list[Stay], int]:
        """Parts in whose name, kind, identity, place or controller every word stands, and how many there are.

        ``here``: those that stand somewhere now, else those that are gone, the newest first. The first ``limit`` of
        them; counted up to ``count_to``.
        """
        stays: list[Stay] = []
        number = 0
        with self._records.connection() as connection:
            try:
                for stay in seeking.found(connection, seeking.words_of(asked), kind, here):
                    number += 1
                    if len(stays) < limit:
                        stays.append(stay)
                    if number >= max(limit, count_to):
                        break
            except msgspec.MsgspecError as error:
                raise damaged(self._state_dir, f"a Stay in the database can't be read: {error}") from error
        return stays, number

    def turned(self, limit: int = 40) -> list[Stay]:
        """Stays that have ended, the newest first."""
        return self._stays(seeking.TURNED, limit=limit)

    def in_place(self, parts: Iterable[str]) -> dict[str, Stay]:
        """What stands at these ids now, by id."""
        found = {part: self._stays(seeking.IN_PLACE, part=codec.clean(part)) for part in dict.fromkeys(parts)}
        return {part: stays[0] for part, stays in found.items() if stays}

    def part_hours(self, now: Seconds) -> list[PartHours]:
        """How long parts of each kind, part number, model and firmware stood in their places, up to ``now``."""
        try:
            return seeking.hours(self._records.rows(seeking.HOURS, {"now": now}))
        except ValueError as error:
            raise damaged(self._state_dir, f"a Stay in the database can't be read: {error}") from error

    # --- history --------------------------------------------------------------------------------------------------

    def history(
        self, controller: str, part: str, sensor: str, since: Seconds, until: Seconds, max_points: int | None = None
    ) -> History:
        """One sensor's samples from ``since`` to ``until``, both included, oldest first, each once.

        With ``max_points`` at most so many: the lowest and the highest value of each stretch of time.
        """
        found = self._history((controller, part, sensor), since, until)
        return found if max_points is None else downsampled(found, since, until, max_points)

    def _history(self, key: tuple[str, str, str], since: Seconds, until: Seconds) -> History:
        gone: str | None = None
        while True:
            try:
                with self._records.connection() as connection:
                    return read_history(self._state_dir, connection, key, since, until)
            except FileGone as error:
                # Retention takes a file off the record before it deletes it: the next look won't name it any more.
                if error.name == gone:
                    raise StoreDamaged(
                        self._state_dir,
                        f"the sealed file {error.name} is missing",
                        "put it back, or start the collector again: it then goes on without",
                    ) from error
                gone = error.name

    def _scoped(self, statement: str, controller: str | None, more: str = "", **given: Any) -> list[Any]:
        scope = sql.ALL if controller is None else sql.ONE
        return self._records.rows(statement.format(scope) + more, {"controller": controller, **given})

    def _controller_state(self, row: tuple[Any, ...], stopped: bool) -> ControllerState:
        name, url, location, insecure, product, redfish_version, defects, told, outcome, *counts = row
        tally = Tally()
        if counts[0] is not None:
            tally = Tally(None if outcome is None else self._records.word(outcome, Outcome), *counts)
        where = self._records.record(location, Location)
        contact = None if told is None else self._records.record(told, Contact)
        if contact is not None and stopped:
            contact = contact.left()
        return tally.state(name, url, where, bool(insecure), defects, product, redfish_version, contact)


def _named(row: tuple[Any, ...], kind: type[msgspec.Struct]) -> dict[str, Any]:
    return dict(zip(kind.__struct_fields__, row, strict=True))


def _readings(
    sensors: tuple[Sensor, ...], time: Seconds, values: Any, healths: bytes, times: Any | None
) -> Iterator[Reading]:
    for position, sensor in enumerate(sensors):
        value = values[position]
        yield Reading(
            sensor=sensor,
            value=None if value != value else value,
            health=codec.health(healths[position]),
            time=time if times is None else times[position],
        )
