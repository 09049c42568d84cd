"""When drives' lives are used up, as figures: what will fail next, as far as the data carry a date."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import NamedTuple

from msgspec import structs

from collector.assess.looking import Seen
from collector.assess.margins.steady import Teller
from collector.assess.statistics.trend import Crossing
from collector.model import Figure, FigureKind, Inventory, Seconds, Sensor

_LAST_DAY = 253_402_300_799.0
"""The last second of the year 9999: a forecast may lie beyond the calendar."""


class Life(NamedTuple):
    """What a sensor tells of a life."""

    sensor: Sensor
    end: Crossing | None
    """None where the data carry no date."""


class Outlook:
    """One controller's: tells an end when it is known and when it moves, and withdraws it when it is known no more."""

    def __init__(self, controller: str, lives: Callable[[], Iterable[Life]]) -> None:
        """``lives``: of all that ever moved, and of those that tell of a life and did not yet."""
        self._lives = lives
        self._teller = Teller(controller)
        self._told: dict[tuple[str, str], Crossing | None] = {}

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what is told stays with parts that stayed."""
        parts = {part.id for part in inventory.parts}
        self._teller.keep(parts)
        self._told = {key: end for key, end in self._told.items() if key[0] in parts}

    def round(self, seen: Seen) -> Sequence[Figure]:
        """Take a finished round; the ends that moved."""
        found: list[Figure] = []
        for sensor, end in self._lives():
            key = (sensor.part, sensor.sensor)
            if key in self._told and self._told[key] == end:
                continue
            self._told[key] = end
            if end is not None:
                found += self._teller.news([self._figure(sensor, end, seen.time)])
            else:
                # at first as well: what an earlier run told of a drive that was there then must not stand
                gone = self._figure(sensor, Crossing(0.0, 0.0, math.inf), seen.time)
                found.append(structs.replace(gone, gone=True, basis="no date that the data carry"))
        return found

    def _figure(self, sensor: Sensor, end: Crossing, now: Seconds) -> Figure:
        return self._teller.figure(
            sensor.part,
            FigureKind.LIFE_ENDS,
            end.at,
            "s",
            now,
            "used up at the pace of the samples kept",
            end.earliest,
            None if math.isinf(end.latest) else end.latest,
            of=sensor.sensor,
        )


def day(time: Seconds) -> str:
    """The date in UTC, e.g. ``2027-02-10``."""
    return datetime.fromtimestamp(min(max(time, 0.0), _LAST_DAY), UTC).date().isoformat()
