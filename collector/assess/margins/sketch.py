"""Percentiles and peaks of a never-ending series in bounded space."""

from __future__ import annotations

import math
from collections.abc import Sequence


class Sketch:
    """Counts of logarithmic buckets: any percentile to within ``accuracy`` of its value.

    Values from ``least`` to ``most`` fall in buckets whose bounds grow by a constant factor, so the relative error is
    bounded however many come (Masson, Rim, Lee: DDSketch, VLDB 2019, proposition 3).
    """

    def __init__(self, least: float = 1.0, most: float = 1e6, accuracy: float = 0.01) -> None:
        """ValueError unless 0 < least < most and 0 < accuracy < 1."""
        if not (0.0 < least < most and 0.0 < accuracy < 1.0):
            raise ValueError("wants 0 < least < most and 0 < accuracy < 1")
        self._least, self._most = least, most
        self._gamma = (1.0 + accuracy) / (1.0 - accuracy)
        self._per_log = 1.0 / math.log(self._gamma)
        self._counts: dict[int, int] = {}
        """By bucket: only those that something fell in, for a load keeps to few."""
        self.count = 0
        self.peak = -math.inf
        self.peak_time: float | None = None

    def add(self, value: float, time: float | None = None) -> None:
        """Take a value; negative ones and what is not a number are passed over."""
        if not value >= 0.0:
            return
        self.count += 1
        if value > self.peak:
            self.peak, self.peak_time = value, time
        bounded = min(value, self._most)
        index = 0 if bounded < self._least else 1 + int(math.log(bounded / self._least) * self._per_log)
        self._counts[index] = self._counts.get(index, 0) + 1

    @property
    def kept(self) -> tuple[float, ...]:
        """What outlasts a restart: peak, its time, and (bucket, count) by turns."""
        if self.peak_time is None:
            return ()
        pairs = (number for pair in sorted(self._counts.items()) for number in pair)
        return (self.peak, self.peak_time, *map(float, pairs))

    def recall(self, kept: Sequence[float]) -> None:
        """Take up what :attr:`kept` told of one of the same bounds. ValueError where it can't have."""
        if not kept:
            return
        peak, time, *numbers = kept
        buckets, counts = numbers[::2], numbers[1::2]
        if len(buckets) != len(counts) or not all(map(math.isfinite, kept)) or not all(n > 0.0 for n in counts):
            raise ValueError("what was kept of a sketch is no peak, its time, and buckets with their counts")
        self.peak, self.peak_time = peak, time
        self._counts = {int(bucket): int(count) for bucket, count in zip(buckets, counts, strict=True)}
        self.count = sum(self._counts.values())

    def percentile(self, share: float) -> float | None:
        """The value below which ``share`` (0 to 1) of all lie; None for none."""
        if self.count == 0:
            return None
        wanted, seen = share * (self.count - 1), 0
        for index in sorted(self._counts):
            seen += self._counts[index]
            if seen > wanted:
                if index == 0:
                    return 0.0
                low = self._least * self._gamma ** (index - 1)
                return min(self.peak, 2.0 * low * self._gamma / (1.0 + self._gamma))
        return self.peak

    def with_all_of(self, other: Sketch) -> Sketch:
        """One of the values of both; ``other`` has the same bounds and accuracy."""
        both = Sketch()
        both._least, both._most, both._gamma, both._per_log = self._least, self._most, self._gamma, self._per_log
        both._counts = dict(self._counts)
        for index, count in other._counts.items():
            both._counts[index] = both._counts.get(index, 0) + count
        both.count = self.count + other.count
        top = self if self.peak >= other.peak else other
        both.peak, both.peak_time = top.peak, top.peak_time
        return both
