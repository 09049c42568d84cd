"""One sensor's reading against its thresholds, exactly as the standard means them.

Redfish Sensor schema (DSP8010), complex types Thresholds and Threshold: an upper threshold is violated strictly above
it, a lower one strictly below; it activates when violated for ``DwellTime``; it deactivates when the reading is back by
``HysteresisReading`` *and* has not violated it for ``HysteresisDuration``. The duration counts from the end of the
violation, not from the hysteresis point: "the duration the sensor value no longer violates the threshold". The ``User``
variants are OR-ed with the others.

No reading, no change: what is not known neither starts nor ends anything.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable, Sequence

from msgspec import Struct

from collector.model import Health, Limit, Seconds, Sensor, Thresholds

_UPPER = (
    ("upper_caution_user", Health.WARNING),
    ("upper_caution", Health.WARNING),
    ("upper_critical_user", Health.CRITICAL),
    ("upper_critical", Health.CRITICAL),
    ("upper_fatal", Health.CRITICAL),
)
_LOWER = tuple((name.replace("upper", "lower"), health) for name, health in _UPPER)
"""From the innermost outwards, the worst last."""
_NEARLY = 1e-9
"""Relative slack on the hysteresis point, so that 12.6 - 0.1 clears at 12.5 whatever binary fractions make of it."""


class Latch(Struct):
    """One threshold and whether it is active. ``since`` is when the change that is under way began, if one is."""

    name: str
    severity: Health
    limit: Limit
    sign: float
    """+1 for an upper threshold, -1 for a lower one."""
    active: bool = False
    since: Seconds | None = None

    def step(self, value: float, now: Seconds) -> None:
        """Take one reading; ``value`` is not NaN. A clock that went back restarts a delay that is running."""
        beyond = (value - self.limit.value) * self.sign
        if (beyond > 0) == self.active:
            self.since = None
            return
        if self.since is None or self.since > now:
            self.since = now
        elapsed = now - self.since
        if not self.active:
            changes = elapsed >= self.limit.on_delay
        else:
            slack = _NEARLY * max(1.0, abs(self.limit.value))
            changes = -beyond >= self.limit.hysteresis - slack and elapsed >= self.limit.off_delay
        if changes:
            self.active = not self.active
            self.since = None


class Side:
    """The upper or the lower thresholds of one sensor: the source of at most one condition."""

    def __init__(self, upper: bool, latches: Sequence[Latch]) -> None:
        self.upper = upper
        self.latches = tuple(latches)
        self.first_seen: Seconds | None = None
        """When the violation under way was first seen, before any on-delay; None while there is none."""

    @property
    def quiet(self) -> bool:
        """Whether it is neither active nor on its way to either."""
        return self.first_seen is None

    @property
    def top(self) -> Latch | None:
        """The most severe active threshold, the outermost of equals; None when none is active."""
        active = [latch for latch in self.latches if latch.active]
        return active[-1] if active else None

    @property
    def severity(self) -> Health:
        """Of the most severe active threshold; OK when none is active."""
        return Health.OK if (top := self.top) is None else top.severity

    def violated_by(self, value: float) -> Latch | None:
        """The outermost threshold that a reading violates, active or not; None for NaN."""
        violated = [latch for latch in self.latches if (value - latch.limit.value) * latch.sign > 0]
        return violated[-1] if violated else None

    def step(self, value: float, now: Seconds) -> None:
        """Take one reading; NaN changes nothing."""
        if value != value:
            return
        for latch in self.latches:
            latch.step(value, now)
        if all(not latch.active and latch.since is None for latch in self.latches):
            self.first_seen = None
        elif self.first_seen is None or self.first_seen > now:
            self.first_seen = now

    def settle_back(self, now: Seconds) -> None:
        """Take it that nothing is violated (the part is off or absent): active thresholds clear after their delay."""
        self.step(-math.inf if self.upper else math.inf, now)

    def restore(self, severity: Health, opened: Seconds) -> None:
        """Be as after a restart with a condition open at this severity: active up to it, clearing as readings say."""
        for latch in self.latches:
            latch.active = latch.severity <= severity
            latch.since = None
        if any(latch.active for latch in self.latches):
            self.first_seen = opened

    def take_over(self, other: Side) -> None:
        """Carry the state on from the same side as it was before a new walk; changed limits start afresh."""
        before = {latch.name: latch for latch in other.latches}
        for latch in self.latches:
            if (old := before.get(latch.name)) is not None and old.limit == latch.limit:
                latch.active, latch.since = old.active, old.since
        if any(latch.active or latch.since is not None for latch in self.latches):
            self.first_seen = other.first_seen


def sides(thresholds: Thresholds) -> tuple[Side | None, Side | None]:
    """The upper and the lower side of a sensor's thresholds; None for a side without any."""
    return _side(thresholds, True, _UPPER), _side(thresholds, False, _LOWER)


def _side(thresholds: Thresholds, upper: bool, names: Iterable[tuple[str, Health]]) -> Side | None:
    latches = [
        Latch(name, severity, limit, 1.0 if upper else -1.0)
        for name, severity in names
        if (limit := getattr(thresholds, name)) is not None
    ]
    return Side(upper, latches) if latches else None


def quiet_bands(sensors: Sequence[Sensor]) -> tuple[array[float], array[float]]:
    """(lows, highs), a column each: a reading within, ends included, violates nothing; infinite where no limit is."""
    lows = array("d", (max(_limits(sensor.thresholds, _LOWER), default=-math.inf) for sensor in sensors))
    highs = array("d", (min(_limits(sensor.thresholds, _UPPER), default=math.inf) for sensor in sensors))
    return lows, highs


def _limits(thresholds: Thresholds, names: Iterable[tuple[str, Health]]) -> list[float]:
    limits = (getattr(thresholds, name) for name, _ in names)
    return [limit.value for limit in limits if limit is not None and limit.value == limit.value]
