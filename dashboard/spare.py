"""What the Margins page asks of the store, kept for a moment like all that the pages ask."""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from collector.assess.margins.energy import Trapezium
from collector.assess.margins.loss import FanLoss, PowerLoss, fan_losses, supply_losses
from collector.assess.margins.wiring import own_power
from collector.model import Figure, FigureKind, History, Margin, MarginKind, Part, Seconds, Sensor
from collector.model.places import Front
from collector.store.headroom import Least, There
from collector.store.overview import Chosen
from collector.store.reader import Reader
from dashboard.kept import Kept
from dashboard.views.headroom import Drawn
from dashboard.views.places import shown

MOST_MARGINS = 2000
"""Margins of one rack that are drawn."""
MOST_ENDINGS = 40
"""Lives that a page tells the end of."""
_ANSWERS_KEPT = 64
HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Losses:
    """What the loss of one part would do at one controller."""

    controller: str
    parts: dict[str, Part]
    fans: tuple[FanLoss, ...]
    power: tuple[PowerLoss, ...]


class Spare:
    """Margins of one store. Raises :class:`~collector.store.errors.StoreError` on reading."""

    def __init__(self, open_reader: Callable[[], Reader], clock: Callable[[], Seconds]) -> None:
        self._open = open_reader
        self._clock = clock
        self._mutex = threading.Lock()
        self._kept: OrderedDict[Hashable, Kept[Any]] = OrderedDict()

    def numbers(self) -> dict[MarginKind, int]:
        """How many margins of each kind are known."""
        found: dict[MarginKind, int] = self._get("numbers", lambda: self._open().headroom.numbers(), 3.0)
        return found

    def least(self, kind: MarginKind) -> tuple[Least, ...]:
        """The least of every controller."""
        found: tuple[Least, ...] = self._get(("least", kind), lambda: tuple(self._open().headroom.least(kind)), 3.0)
        return found

    def places(self) -> tuple[Margin, ...]:
        """Margins of places: racks and rows."""
        found: tuple[Margin, ...] = self._get("places", lambda: tuple(self._open().headroom.places()), 3.0)
        return found

    def racks_drew(self) -> tuple[Figure, ...]:
        """What was worked out for racks as a whole."""
        found: tuple[Figure, ...] = self._get(
            "drew", lambda: tuple(self._open().answers.figures_of_places(MOST_MARGINS)), 3.0
        )
        return found

    def endings(self) -> tuple[Figure, ...]:
        """The lives of the fleet that are used up soonest."""
        found: tuple[Figure, ...] = self._get(
            "endings",
            lambda: tuple(self._open().answers.figures_of_kind(FigureKind.LIFE_ENDS, MOST_ENDINGS)),
            15.0,
        )
        return found

    def rack(self, kind: MarginKind, site: str, row: str, rack: str) -> tuple[There, ...]:
        """All margins of one kind in a rack."""
        found: tuple[There, ...] = self._get(
            ("rack", kind, site, row, rack),
            lambda: tuple(self._open().headroom.of_rack(kind, site, row, rack, MOST_MARGINS)),
            3.0,
        )
        return found

    def fronts(self, site: str, row: str, rack: str, most: int) -> dict[str, Front]:
        """What stands in a rack, by controller; ``rack`` empty: what is in no rack."""

        def read() -> dict[str, Front]:
            chosen = Chosen(site=site, row=row, rack=rack, state="" if rack else "in no rack")
            return {each.controller: each.front for each in self._open().overview.fronts(chosen, most)}

        found: dict[str, Front] = self._get(("fronts", site, row, rack), read, 5.0)
        return found

    def parts(self, ids: Sequence[str]) -> dict[str, Part]:
        """Some parts by id."""
        wanted = tuple(sorted(set(ids)))
        found: dict[str, Part] = self._get(("parts", wanted), lambda: self._open().overview.parts(wanted), 15.0)
        return found

    def losses(self, controllers: Sequence[str]) -> tuple[Losses, ...]:
        """What the loss of each fan, supply and feed of some controllers would do."""
        return tuple(self._get(("loss", name), partial(self._losses, name), 5.0) for name in controllers)

    def history(self, margin: Margin, span: float) -> tuple[Sensor, History] | None:
        """The samples behind a margin; None where it has no sensor, or that is gone."""
        if margin.controller is None or margin.sensor is None:
            return None
        key = (margin.controller, margin.part, margin.sensor)

        def read() -> tuple[Sensor, History] | None:
            reader, now = self._open(), self._clock()
            sensor = next((each for each in reader.sensors(key[0], key[1]) if each.sensor == key[2]), None)
            if sensor is None:
                return None
            return sensor, reader.history(*key, now - span, now, max_points=200)

        found: tuple[Sensor, History] | None = self._get(("history", key, span), read, 20.0)
        return found

    def energy(self, controllers: Sequence[str], span: float = HOUR) -> tuple[Drawn, ...]:
        """What some controllers' sleds and shelves drew over the last while; those that tell no power are left out."""
        told = (self._get(("energy", name, span), partial(self._energy, name, span), 20.0) for name in controllers)
        return tuple(each for each in told if each is not None)

    def _get(self, key: Hashable, load: Callable[[], Any], least: float) -> Any:
        with self._mutex:
            kept = self._kept.get(key)
            if kept is None:
                kept = self._kept[key] = Kept(lambda: (load(),), least)
                if len(self._kept) > _ANSWERS_KEPT * 8:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
        return kept.get()[0]

    def _losses(self, controller: str) -> Losses:
        reader = self._open()
        parts, links = reader.parts(controller), reader.links(controller)
        readings, margins = reader.readings(controller), reader.answers.margins(controller)
        return Losses(
            controller,
            {part.id: part for part in parts},
            tuple(fan_losses(parts, links, readings, margins)),
            tuple(supply_losses(parts, links, readings)),
        )

    def _energy(self, controller: str, span: float) -> Drawn | None:
        reader, now = self._open(), self._clock()
        fronts = reader.overview.fronts(Chosen(names=(controller,)), 1)
        front = fronts[0].front if fronts else Front()
        readings = [each for each in reader.readings(controller) if each.sensor.part == front.part]
        column = own_power(enumerate(each.sensor for each in readings))
        if column is None:
            return None
        power, sum_ = readings[column], Trapezium()
        samples = self._samples(reader, power.sensor, now - span, now)
        for time, value in samples:
            sum_.add(time, value)
        return Drawn(
            controller,
            shown(front.label) or controller,
            shown(front.location.enclosure or ""),
            front.holds,
            sum_.joules,
            sum_.seconds,
            max((value for _, value in samples), default=0.0),
            power.value,
        )

    def _samples(self, reader: Reader, sensor: Sensor, since: Seconds, until: Seconds) -> list[tuple[float, float]]:
        history = reader.history(sensor.controller, sensor.part, sensor.sensor, since, until)
        return [(t, v) for t, v in zip(history.times, history.values, strict=True) if math.isfinite(v)]
