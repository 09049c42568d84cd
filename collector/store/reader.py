"""All that others read of the store: the command line's readers and the dashboard.

Opens the database read-only, beside a writing collector or without one. Safe to share among threads.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import msgspec

from collector.model import (
    CollectorState,
    Condition,
    Contact,
    ControllerState,
    Defect,
    DefectKind,
    Event,
    History,
    Lamps,
    LampState,
    Link,
    Location,
    Outcome,
    Part,
    Permits,
    Reading,
    Rolled,
    Seconds,
    Sensor,
    Setting,
    Status,
    Why,
)
from collector.store import codec, sql
from collector.store.answered import Answers
from collector.store.asked import Asked
from collector.store.headroom import Headroom
from collector.store.history import downsampled, history_of
from collector.store.overview import Overview
from collector.store.records import NO_LIMIT, Records
from collector.store.stayed import Stays
from collector.store.tally import Tally


class Reader:
    """Reads a state directory.

    Raises ``StoreMissing`` where there is none and the other :class:`~collector.store.errors.StoreError` where it
    can't be read. Controllers that were taken out of the fleet file are retired: they show in ``events`` and
    ``history`` only. Every call sees one moment of the database.
    """

    def __init__(self, state_dir: Path) -> None:
        self._records = records = Records(state_dir)
        self.overview = Overview(records.rows, records.record, records.word)
        """The whole fleet at a glance."""
        self.headroom = Headroom(records.rows, records.record)
        """What is left, asked for narrowly."""
        self.answers = Answers(records)
        """Troubles, work orders, margins, figures, misfits."""
        self.asked = Asked(records)
        """What people asked for, and what holds of it."""
        self.stays = Stays(records)
        """Where parts are and were."""
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

    # --- history --------------------------------------------------------------------------------------------------

    def history(
        self, controller: str, part: str, sensor: str, since: Seconds, until: Seconds, max_points: int | None = None
    ) -> History:
        """One sensor's samples from ``since`` to ``until``, both included, oldest first, each once.

        With ``max_points`` at most so many: the lowest and the highest value of each stretch of time.
        """
        found = history_of(self._records, (controller, part, sensor), since, until)
        return found if max_points is None else downsampled(found, since, until, max_points)

    # --- how ------------------------------------------------------------------------------------------------------

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
