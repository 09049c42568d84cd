"""On-delay, off-delay and deadband by quantity, for limits of which the service tells none of the three.

ISA-18.2 / IEC 62682 ask for them so that a reading that trembles at its limit is one condition and not a hundred. What
a service tells itself (DwellTime, HysteresisReading, HysteresisDuration) always counts first: a limit that brings any
of the three is left as it is. A part that its controller calls not OK waits for none of this.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Protocol

from msgspec import Struct, structs

from collector.model import Limit, Quantity, Seconds, Sensor, Thresholds


class Habit(Struct, frozen=True):
    """How limits of one quantity are treated."""

    deadband: float = 0.0
    """Way back past the limit that clears it, as a fraction of the sensor's range."""
    on_delay: Seconds = 0.0
    off_delay: Seconds = 0.0


PUBLISHED: Mapping[Quantity, Habit] = {
    Quantity.AIR_FLOW: Habit(0.05, 15.0, 15.0),
    Quantity.LIQUID_FLOW: Habit(0.05, 15.0, 15.0),
    Quantity.LEVEL: Habit(0.05, 60.0, 60.0),
    Quantity.PRESSURE: Habit(0.02, 15.0, 15.0),
    Quantity.TEMPERATURE: Habit(0.01, 60.0, 60.0),
}
"""Starting values by signal of EEMUA 191 and the annex of ISA-18.2: flow 5 % and 15 s, level 5 % and 60 s, pressure 2 %
and 15 s, temperature 1 % and 60 s (check-values.md, section 6; there from memory)."""

COMMON: Mapping[Quantity, Habit] = {
    Quantity.HUMIDITY: Habit(0.02, 60.0, 60.0),
    Quantity.ABSOLUTE_HUMIDITY: Habit(0.02, 60.0, 60.0),
    Quantity.POWER: Habit(0.02, 15.0, 15.0),
    Quantity.APPARENT_POWER: Habit(0.02, 15.0, 15.0),
    Quantity.REACTIVE_POWER: Habit(0.02, 15.0, 15.0),
    Quantity.LOAD_RATIO: Habit(0.02, 15.0, 15.0),
    Quantity.CURRENT: Habit(0.02, 15.0, 15.0),
    Quantity.VOLTAGE: Habit(0.005, 0.0, 15.0),
    Quantity.FREQUENCY: Habit(0.005, 0.0, 15.0),
    Quantity.ROTATION: Habit(0.02, 0.0, 15.0),
    Quantity.SPEED_RATIO: Habit(0.02, 0.0, 15.0),
}
"""Common practice, no source. A rail that is gone and a fan that stands are facts at the first look; that they are back
must last. What counts things (errors, energy, spare blocks) has no noise and no entry."""

HABITS: Mapping[Quantity, Habit] = {**PUBLISHED, **COMMON}
"""By quantity; what is not in it opens and closes at once."""

_MOST_OF_LIMIT = 0.1
"""A deadband is at most this part of the limit's own amount: a fan that may read up to 30,000 and is too slow below 500
must not need 1,100 to be well again. Common practice, no source."""
_AT_ONCE = ("upper_fatal", "lower_fatal")
"""Beyond these, damage is under way (DSP8010, Threshold): nothing is waited for."""


class Wish(Protocol):
    """What somebody wants for one quantity; None leaves it as it usually is."""

    @property
    def deadband(self) -> float | None:
        """As a fraction of the range."""

    @property
    def on_delay(self) -> float | None:
        """Seconds."""

    @property
    def off_delay(self) -> float | None:
        """Seconds."""


def habits_with(wishes: Mapping[Quantity, Wish], usual: Mapping[Quantity, Habit] = HABITS) -> dict[Quantity, Habit]:
    """The usual habits with what somebody wants instead."""
    habits = dict(usual)
    for quantity, wish in wishes.items():
        told = {name: value for name in Habit.__struct_fields__ if (value := getattr(wish, name)) is not None}
        habits[quantity] = structs.replace(habits.get(quantity, Habit()), **told)
    return habits


def treated(sensor: Sensor, habits: Mapping[Quantity, Habit]) -> Thresholds:
    """A sensor's thresholds with habits filled in where the service tells none, and no delay that is no delay."""
    habit = habits.get(sensor.quantity)
    changed: dict[str, Limit] = {}
    for name in Thresholds.__struct_fields__:
        limit: Limit | None = getattr(sensor.thresholds, name)
        if limit is None:
            continue
        better = sound(limit)
        if habit is not None and not (better.hysteresis or better.on_delay or better.off_delay):
            better = Limit(
                value=limit.value,
                hysteresis=_deadband(sensor, name, limit, habit),
                on_delay=0.0 if name in _AT_ONCE else habit.on_delay,
                off_delay=habit.off_delay,
            )
        if better != limit:
            changed[name] = better
    return structs.replace(sensor.thresholds, **changed) if changed else sensor.thresholds


def sound(limit: Limit) -> Limit:
    """The limit without delays and hysteresis that can't be: negative, infinite or no number counts as none."""
    given = (limit.hysteresis, limit.on_delay, limit.off_delay)
    mended = [value if 0.0 <= value < math.inf else 0.0 for value in given]
    if list(given) == mended:
        return limit
    return Limit(value=limit.value, hysteresis=mended[0], on_delay=mended[1], off_delay=mended[2])


def _deadband(sensor: Sensor, name: str, limit: Limit, habit: Habit) -> float:
    low, high = sensor.range_min, sensor.range_max
    span = high - low if low is not None and high is not None else math.nan
    if not 0.0 < span < math.inf:
        span = abs(limit.value)
    band = habit.deadband * span
    if limit.value:
        band = min(band, _MOST_OF_LIMIT * abs(limit.value))
    other = _opposite(sensor.thresholds, name)
    if other is not None:  # somewhere between the two sides all must be well
        band = min(band, max(0.0, abs(limit.value - other) / 4))
    return band if math.isfinite(band) else 0.0


def _opposite(thresholds: Thresholds, name: str) -> float | None:
    """The innermost limit of the other side."""
    upper = name.startswith("upper")
    others: list[float] = [
        limit.value
        for field in Thresholds.__struct_fields__
        if field.startswith("lower" if upper else "upper") and (limit := getattr(thresholds, field)) is not None
    ]
    if not others:
        return None
    return max(others) if upper else min(others)
