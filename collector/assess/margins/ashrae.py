"""Limits of inlet air: ASHRAE TC 9.9, Thermal Guidelines, 5th edition 2021; derating by altitude, rate of change.

Dry-bulb limits, derating and its start as in ``check-values`` section 2; humidity and rate of change from memory there.
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

from collector.assess.margins.moist_air import dew_point
from collector.assess.words import percent


class AirClass(NamedTuple):
    """What an environmental class allows."""

    name: str
    low: float
    """Allowable dry bulb, Cel."""
    high: float
    per_kelvin: float
    """Metres of altitude above the start that cost a kelvin at the upper limit."""
    dew_high: float
    """Highest dew point, Cel."""
    humidity_high: float
    """Ratio."""


RECOMMENDED = (18.0, 27.0)
"""Cel, all classes."""
CLASSES = {
    one.name: one
    for one in (
        AirClass("A1", 15.0, 32.0, 300.0, 17.0, 0.80),
        AirClass("A2", 10.0, 35.0, 300.0, 21.0, 0.80),
        AirClass("A3", 5.0, 40.0, 175.0, 24.0, 0.85),
        AirClass("A4", 5.0, 45.0, 125.0, 24.0, 0.90),
    )
}
DERATING_FROM = 900.0
"""m."""
CEILING = 3050.0
"""m: above that no class holds."""
DEW_LOW, HUMIDITY_LOW = -12.0, 0.08


def upper_limit(air_class: AirClass, altitude: float) -> float | None:
    """Highest allowable inlet temperature in Cel at an altitude in m; None above the ceiling."""
    if altitude > CEILING:
        return None
    return air_class.high - max(0.0, altitude - DERATING_FROM) / air_class.per_kelvin


def breaches(air_class: AirClass, altitude: float, temperature: float, humidity: float | None = None) -> list[str]:
    """What inlet air breaks, a few words each; ``humidity`` as a ratio, None where it isn't told."""
    found = []
    high = upper_limit(air_class, altitude)
    if high is None:
        found.append(f"class {air_class.name} holds up to {CEILING:g} m")
    elif temperature > high:
        found.append(f"{temperature:.1f} °C, above {high:.1f} °C of class {air_class.name} at {altitude:g} m")
    if temperature < air_class.low:
        found.append(f"{temperature:.1f} °C, below {air_class.low:g} °C of class {air_class.name}")
    if humidity is not None and 0.0 <= humidity <= 1.0 and -100.0 <= temperature <= 200.0:
        if humidity > air_class.humidity_high:
            found.append(f"{percent(humidity)} humidity, above {percent(air_class.humidity_high)}")
        try:
            dew = dew_point(temperature, humidity)
        except ValueError:
            dew = -100.0
        if dew > air_class.dew_high:
            found.append(f"dew point {dew:.1f} °C, above {air_class.dew_high:g} °C")
        if humidity < HUMIDITY_LOW or dew < DEW_LOW:
            found.append(f"{percent(humidity)} humidity (dew point {dew:.1f} °C), too dry")
    return found


class Swing:
    """The largest change within a sliding window: highest less lowest, not a slope."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._falling: deque[tuple[float, float]] = deque()
        self._rising: deque[tuple[float, float]] = deque()

    def add(self, time: float, value: float) -> float:
        """Take a reading; returns the change, K, in the window that ends with it. A clock put back starts anew."""
        if value != value:
            return self._now()
        if self._falling and time < self._falling[-1][0]:
            self._falling.clear()
            self._rising.clear()
        while self._falling and self._falling[-1][1] <= value:
            self._falling.pop()
        while self._rising and self._rising[-1][1] >= value:
            self._rising.pop()
        for queue in (self._falling, self._rising):
            queue.append((time, value))
            while queue[0][0] < time - self._seconds:
                queue.popleft()
            if len(queue) > _MOST:
                queue.popleft()
        return self._now()

    def _now(self) -> float:
        return self._falling[0][1] - self._rising[0][1] if self._falling else 0.0


_MOST = 4096
"""Readings kept at most by one window."""


class Rates:
    """Rate-of-change limits of inlet air (from memory in ``check-values``): K within any 15 min and any hour."""

    TAPE = ((300.0, 1.0), (3600.0, 5.0))
    OTHER = ((900.0, 5.0), (3600.0, 20.0))

    def __init__(self, limits: tuple[tuple[float, float], ...] = OTHER) -> None:
        self._windows = [(seconds, kelvin, Swing(seconds)) for seconds, kelvin in limits]

    def add(self, time: float, temperature: float) -> list[tuple[float, float, float]]:
        """(window s, limit K, change K) of every limit that is broken now."""
        return [
            (seconds, kelvin, change) for seconds, kelvin, change in self._all(time, temperature) if change > kelvin
        ]

    def nearest(self, time: float, temperature: float) -> tuple[float, float, float]:
        """(window s, limit K, change K) of the limit that the least is left of."""
        return min(self._all(time, temperature), key=lambda one: one[1] - one[2])

    def _all(self, time: float, temperature: float) -> list[tuple[float, float, float]]:
        return [(seconds, kelvin, swing.add(time, temperature)) for seconds, kelvin, swing in self._windows]
