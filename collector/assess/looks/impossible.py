"""Readings that contradict physics, or everything around them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from statistics import median

import numpy as np

from collector.assess.looks.explained import Explained
from collector.assess.looks.kin import Bools, Floats, Kin
from collector.assess.words import amount
from collector.model import Kind, Quantity

_NEVER_NEGATIVE = frozenset(
    {
        Quantity.ROTATION,
        Quantity.SPEED_RATIO,
        Quantity.HUMIDITY,
        Quantity.AIR_FLOW,
        Quantity.LIQUID_FLOW,
        Quantity.FREQUENCY,
        Quantity.POWER,
    }
)
_UNBOUNDED = frozenset({Quantity.COUNT, Quantity.DATA, Quantity.ENERGY, Quantity.TIME, Quantity.OTHER})
COLDEST, HOTTEST = -30.0, 160.0
"""Cel: beyond these no electronics told anything (common practice, no source)."""
BELOW_INLET = 4.0
"""Kelvin below the coldest air or coolant that came in lately: nothing in a machine cools below its inlet."""
RISES = 0.04
"""Part by which the other fans must speed up when one stands still."""
STANDS = 0.03
"""Part of the others' speed below which a fan is told to stand."""

STILL_DRAWS = 0.3
"""Part of its usual power that a fan draws only while it turns (common practice, no source)."""

MOST: Mapping[Quantity, float] = {Quantity.POWER: 1e6, Quantity.ROTATION: 1e6}
"""In the canonical unit: more than any part takes in or turns at (common practice, no source)."""
ABSURD = 1e9
"""In any other canonical unit that is judged here: no machine has so much of anything."""

Wrong = dict[int, tuple[str, float]]
"""By column: why, and how sure that is."""


def nonsense(quantity: Quantity, value: float) -> str | None:
    """Why a reading can't be, whatever stands around it; None for one that can."""
    if quantity is Quantity.TEMPERATURE and not COLDEST <= value <= HOTTEST:
        return "no electronics work at that temperature"
    if quantity in _NEVER_NEGATIVE and value < -1e-6:
        return "that can't be negative"
    if not abs(value) < MOST.get(quantity, ABSURD) and quantity not in _UNBOUNDED:
        return "no machine has so much"
    return None


class Impossible:
    """One layout's rules; remembers how cold the air was lately, and how fast the fans ran before one stopped."""

    def __init__(self, kin: Kin, model: Explained) -> None:
        self._kin, self._model = kin, model
        self._temperature = _of(kin, lambda quantity: quantity is Quantity.TEMPERATURE)
        self.inside = self._temperature.copy()
        """Temperatures of what the air comes to."""
        self.inside[kin.inlets] = False
        self._unsigned = _of(kin, lambda quantity: quantity in _NEVER_NEGATIVE)
        self.most: Floats = np.asarray([MOST.get(sensor.quantity, ABSURD) for sensor in kin.sensors])
        """By column: beyond this, either way, nothing is that much."""
        self._humid = _of(kin, lambda quantity: quantity is Quantity.HUMIDITY)
        turning = _of(kin, lambda quantity: quantity in (Quantity.ROTATION, Quantity.SPEED_RATIO))
        self._fan = turning & np.asarray([sensor.kind is Kind.FAN for sensor in kin.sensors], dtype=np.bool_)
        # what water cools may be colder than the air
        self._by_air = not any(sensor.quantity is Quantity.LIQUID_FLOW for sensor in kin.sensors) and not any(
            sensor.kind in (Kind.COOLANT_LOOP, Kind.COOLING_UNIT) for sensor in kin.sensors
        )
        self._coldest = float("nan")
        self._before_stop: Floats = np.full(kin.size, np.nan)

    def find(self, values: Floats, absurd: Bools, idle: Bools, shown: Callable[[int], bool]) -> Wrong:
        """What can't be, by column; ``absurd``: columns that told more than ``most``, and none of ``values``;
        ``shown`` says of a column whether that is shown of it already."""
        wrong: Wrong = dict.fromkeys(np.nonzero(absurd)[0].tolist(), ("no machine has so much", 0.95))
        for column in np.nonzero(self._unsigned & (values < -1e-6))[0].tolist():
            wrong[column] = ("that can't be negative", 0.9)
        for column in np.nonzero(self._humid & (values > 100.5))[0].tolist():
            wrong[column] = ("humidity above 100 %", 0.95)
        for column in np.nonzero(self._temperature & ((values < COLDEST) | (values > HOTTEST)))[0].tolist():
            wrong[column] = ("no electronics work at that temperature", 0.95)
        if self._by_air:
            self._below_inlet(values, wrong)
        self._fans(values, idle, shown, wrong)
        return wrong

    def _below_inlet(self, values: Floats, wrong: Wrong) -> None:
        incoming = values[self._kin.inlets]
        incoming = incoming[incoming == incoming]
        if not len(incoming):
            return
        middle = median(incoming.tolist())
        # parts follow the air slowly: the coldest of late counts, forgotten at 2 % a round
        self._coldest = middle if not self._coldest < middle else self._coldest + 0.02 * (middle - self._coldest)
        below = np.nonzero(self.inside & (values < self._coldest - BELOW_INLET))[0]
        if len(incoming) < 3 and len(below) >= 3:
            wrong[int(self._kin.inlets[0])] = (f"{len(below)} readings of parts inside are lower", 0.8)
            return
        for column in below.tolist():
            wrong[column] = (f"colder than the {amount(middle, 'Cel')} of the air that comes in", 0.9)

    def _fans(self, values: Floats, idle: Bools, shown: Callable[[int], bool], wrong: Wrong) -> None:
        """A fan that is told to stand while nothing else takes notice."""
        kin, others = self._kin, self._model.middle
        stands = self._fan & (values <= STANDS * others) & ~idle
        runs = self._fan & ~stands & (values == values)
        self._before_stop[runs] = others[runs]
        for column in np.nonzero(stands)[0].tolist():
            before = float(self._before_stop[column])
            if not before > 0.0:
                continue
            level = self._model.level
            draws = [
                float(values[beside] / level[beside])
                for beside in kin.beside(column, Quantity.POWER)
                if level[beside] > 0.0 and values[beside] == values[beside]
            ]
            if draws:
                if min(draws) > STILL_DRAWS:
                    wrong[column] = ("but the fan draws the power of one that turns", 0.95)
            elif shown(column) or float(others[column]) < before * (1.0 + RISES):
                # it was told when the fan stopped: what the others do later has other reasons
                wrong[column] = ("but the other fans don't work harder", 0.45)


def _of(kin: Kin, wanted: Callable[[Quantity], bool]) -> Bools:
    return np.asarray([wanted(sensor.quantity) for sensor in kin.sensors], dtype=np.bool_)
