"""Energy from power over real timestamps, and from counters that may be reset."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence


class Trapezium:
    """Integrates power readings; a gap longer than ``longest`` s is left out and counted instead of guessed."""

    def __init__(self, longest: float = 900.0) -> None:
        self._longest = longest
        self._last: tuple[float, float] | None = None
        self.joules = 0.0
        self.seconds = 0.0
        """Time integrated over."""
        self.gaps = 0
        """Stretches left out: too long, or a clock that went back."""

    def add(self, time: float, power: float) -> None:
        """Take a reading: epoch seconds and W. What is not a number is passed over."""
        if power != power:
            return
        if self._last is not None:
            before, level = self._last
            span = time - before
            if 0.0 < span <= self._longest:
                self.joules += 0.5 * (level + power) * span
                self.seconds += span
            elif span != 0.0:
                self.gaps += 1
        self._last = (time, power)

    @property
    def kept(self) -> tuple[float, ...]:
        """What outlasts a restart: J, the s they were added up over, and the time and W that came last."""
        return () if self._last is None else (self.joules, self.seconds, *self._last)

    def recall(self, kept: Sequence[float]) -> None:
        """Take up what :attr:`kept` told. ValueError where it can't have."""
        if not kept:
            return
        if len(kept) != 4 or not all(map(math.isfinite, kept)):
            raise ValueError("what was kept of a sum is no energy, span, time and power")
        self.joules, self.seconds, *last = kept
        self._last = (last[0], last[1])


def energy_of(readings: Iterable[tuple[float, float]]) -> float:
    """Joules under a line of (time s, power W) points."""
    sum_ = Trapezium(float("inf"))
    for time, power in readings:
        sum_.add(time, power)
    return sum_.joules


class Counter:
    """Follows an energy counter in J: one that falls was reset, and what it tells since is added."""

    def __init__(self) -> None:
        self._last: float | None = None
        self.joules = 0.0
        self.resets = 0

    def add(self, value: float) -> float:
        """Take a value; returns the step, never negative."""
        if value != value or value < 0.0:
            return 0.0
        step = 0.0
        if self._last is not None:
            step = value - self._last
            if step < 0.0:
                self.resets += 1
                step = value
        self._last = value
        self.joules += step
        return step
