"""All that the pages ask of the store.

One :class:`Source` serves every viewer of a state directory. What it read it keeps for a moment, the longer the more it
cost to read, so that many viewers of a large fleet cost little more than one of a small one.
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from collector.model import (
    CollectorState,
    Condition,
    ControllerState,
    Defect,
    Event,
    Figure,
    History,
    Lamps,
    Link,
    Margin,
    Reading,
    Rolled,
    Seconds,
    Sensor,
    Status,
    Stay,
    Trouble,
    WorkOrder,
)
from collector.store.reader import Reader
from dashboard.glance import Glance
from dashboard.kept import Kept
from dashboard.seek import Shelves
from dashboard.spare import Spare
from dashboard.views.answers import worst_first
from dashboard.views.places import Places, Whereabouts

_SLEDS = 64
"""Sleds kept at once."""
_STRETCHES = 120
_GLANCE = 1200.0
"""Seconds in which a value of what seldom changes is read at least once: GETs that take turns come every tenth round at
the latest."""
_EVENTS = 40
_CLOSED = 20
"""Closed orders that are shown."""
_MOST_POINTS = 600


@dataclass(frozen=True, slots=True)
class SledFacts:
    """One controller at one moment."""

    collector: CollectorState | None
    state: ControllerState
    places: Places
    links: tuple[Link, ...]
    rolled: dict[str, Rolled]
    statuses: dict[str, Status]
    lamps: dict[str, Lamps]
    readings: tuple[Reading, ...]
    conditions: tuple[Condition, ...]
    events: tuple[Event, ...]
    defects: tuple[Defect, ...]
    troubles: tuple[Trouble, ...] = ()
    """Open ones of the fleet, as far as this controller's parts show them or are suspected in them."""
    orders: tuple[WorkOrder, ...] = ()
    """Open ones of the fleet."""
    margins: tuple[Margin, ...] = ()
    figures: tuple[Figure, ...] = ()
    """Worked out of its readings."""


class Source:
    """What the pages know of one state directory. Raises :class:`~collector.store.errors.StoreError` on reading."""

    def __init__(self, state_dir: Path) -> None:
        self.state_dir = state_dir
        self._mutex = threading.Lock()
        self._reader: Reader | None = None
        self._changes = Kept(lambda: self._open().overview.changes(), 0.5)
        self._controllers = Kept(lambda: tuple(self._open().controllers()), 1.0)
        self._unread = Kept(lambda: tuple(self._open().defects_alike()), 3.0)
        self._troubles = Kept(lambda: tuple(self._open().answers.troubles()), 1.0, stamp=self._stamp("answers"))
        self._orders = Kept(lambda: worst_first(self._open().answers.orders()), 1.0, stamp=self._stamp("answers"))
        self._closed = Kept(
            lambda: tuple(self._open().answers.closed_orders(_CLOSED)), 3.0, stamp=self._stamp("answers")
        )
        self._lamps = Kept(lambda: self._open().lamps(), 3.0)
        self.glance = Glance(self._open, self._orders, self._troubles, self._changes, time.time)
        """The whole fleet, for Rounds."""
        self.shelves = Shelves(self._open, time.time)
        """The parts ledger."""
        self.spare = Spare(self._open, time.time)
        """Margins."""
        self._worn: OrderedDict[tuple[str, str, str, float], Kept[tuple[tuple[Seconds, float], ...]]] = OrderedDict()
        self._sleds: OrderedDict[str, Kept[SledFacts | None]] = OrderedDict()

    def sled(self, controller: str) -> SledFacts | None:
        """One controller; None where the fleet has none of that name."""
        with self._mutex:
            kept = self._sleds.get(controller)
            if kept is None:
                kept = self._sleds[controller] = Kept(lambda: self._read_sled(controller), 1.0)
                if len(self._sleds) > _SLEDS:
                    self._sleds.popitem(last=False)
            self._sleds.move_to_end(controller)
        return kept.get()

    def history(self, sensor: Sensor, since: Seconds, until: Seconds) -> History:
        """One sensor's samples, thinned to what a chart can show."""
        return self._open().history(
            sensor.controller, sensor.part, sensor.sensor, since, until, max_points=_MOST_POINTS
        )

    def worn(self, sensor: Sensor, span: float) -> tuple[tuple[Seconds, float], ...]:
        """A value of a sensor for each of many stretches of the last while, oldest first; kept for a stretch, or ten
        minutes, for what moves once in days needs no more."""

        def read() -> tuple[tuple[Seconds, float], ...]:
            reader, found, until = self._open(), [], time.time()
            for step in range(_STRETCHES, -1, -1):
                end = until - step * span / _STRETCHES
                told = reader.history(sensor.controller, sensor.part, sensor.sensor, end - _GLANCE, end, max_points=8)
                values = [(t, v) for t, v in zip(told.times, told.values, strict=True) if math.isfinite(v)]
                found += values[-1:]
            return tuple(found)

        key = (*sensor.key, span)
        with self._mutex:
            kept = self._worn.get(key)
            if kept is None:
                kept = self._worn[key] = Kept(read, min(600.0, span / _STRETCHES))
                if len(self._worn) > _SLEDS:
                    self._worn.popitem(last=False)
        return kept.get()

    def collector(self) -> CollectorState | None:
        """The collector's mark."""
        return self._open().collector()

    def controllers(self) -> tuple[ControllerState, ...]:
        """How every controller is heard."""
        return self._controllers.get()

    def defects_of(self, controllers: Iterable[str]) -> dict[str, tuple[Defect, ...]]:
        """What can't be read of some controllers."""
        reader = self._open()
        return {each: tuple(reader.defects(each)) for each in controllers}

    def unread(self) -> tuple[tuple[Defect, int, int], ...]:
        """What can't be read in the fleet, alike ones together: one, how many, at how many controllers."""
        return self._unread.get()

    def lamps(self) -> dict[str, Lamps]:
        """What every front of the fleet should show, by part id."""
        return self._lamps.get()

    def orders(self) -> tuple[WorkOrder, ...]:
        """Open work orders, the most urgent first."""
        return self._orders.get()

    def closed_orders(self) -> tuple[WorkOrder, ...]:
        """Work orders that closed, the newest first."""
        return self._closed.get()

    def places(self) -> Whereabouts:
        """Where every controller's sled is."""
        return self.glance.where()

    def stays_at(self, part: str) -> tuple[Stay, ...]:
        """What stood where a part stands, in the order in which it came."""
        return tuple(self._open().stays.at(part))

    def stays_of(self, serial: str) -> tuple[Stay, ...]:
        """Where a serial number has been, in the order in which it came there."""
        return tuple(self._open().stays.of_serial(serial))

    def close(self) -> None:
        """Close what is open."""
        with self._mutex:
            reader, self._reader = self._reader, None
        if reader is not None:
            reader.close()

    def _open(self) -> Reader:
        with self._mutex:
            if self._reader is None:
                self._reader = Reader(self.state_dir)
            return self._reader

    def _stamp(self, *subjects: str) -> Callable[[], object]:
        return lambda: tuple(self._changes.get().get(subject, 0) for subject in subjects)

    def _read_sled(self, controller: str) -> SledFacts | None:
        reader = self._open()
        states = reader.controllers(controller)
        if not states:
            return None
        (state,) = states
        return SledFacts(
            collector=reader.collector(),
            state=state,
            places=Places(reader.parts(controller), [state]),
            links=tuple(reader.links(controller)),
            rolled=reader.rolled(controller),
            statuses=reader.statuses(controller),
            lamps=reader.lamps(controller),
            readings=tuple(reader.readings(controller)),
            conditions=tuple(reader.conditions(controller=controller)),
            events=tuple(reader.events(controller, limit=_EVENTS)),
            defects=tuple(reader.defects(controller)),
            troubles=tuple(
                each
                for each in self._troubles.get()
                if controller in each.controllers or any(one.controller == controller for one in each.suspects)
            ),
            orders=self._orders.get(),
            margins=tuple(reader.answers.margins(controller)),
            figures=tuple(reader.answers.figures(controller)),
        )
