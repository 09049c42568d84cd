"""The usual value of a figure, learnt slowly and within bounds."""

from __future__ import annotations

import math
from statistics import median

from collector.model import Seconds

FIRST = 8
"""Values whose median is taken for the usual one to begin with."""


class Usual:
    """Follows one figure. ``pace``: ratio an hour by which it may move; ``reach``: ratio that it may move at all."""

    __slots__ = ("_first", "_last", "_pace", "_reach", "_seen", "value")

    def __init__(self, pace: float, reach: float) -> None:
        self._pace, self._reach = pace, reach
        self._seen: list[float] = []
        self._first = self.value = float("nan")
        self._last: Seconds | None = None

    @property
    def known(self) -> bool:
        """Whether enough has been seen."""
        return self.value == self.value

    @property
    def kept(self) -> tuple[float, ...]:
        """What a restart may take up; empty while nothing is known."""
        return (self._first, self.value) if self.known else ()

    def recall(self, kept: tuple[float, ...]) -> None:
        """Take up what was known before a restart."""
        if len(kept) == 2 and all(math.isfinite(each) for each in kept):
            self._first, self.value = kept

    def learn(self, now: Seconds, value: float, scale: float | None = None) -> None:
        """Take a healthy value; ``scale``: what the ratios are of, where not the value itself."""
        if not self.known:
            self._seen.append(value)
            if len(self._seen) >= FIRST:
                self._first = self.value = median(self._seen)
                self._seen = []
            self._last = now
            return
        seconds = 0.0 if self._last is None else max(0.0, min(now - self._last, 3600.0))
        self._last = now
        size = abs(self._first) if scale is None else scale
        step = self._pace / 3600.0 * seconds * size
        moved = self.value + max(-step, min(step, value - self.value))
        bound = self._reach * size
        self.value = max(self._first - bound, min(self._first + bound, moved))
