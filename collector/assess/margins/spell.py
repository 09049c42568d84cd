"""What was drawn lately: peak, percentile and energy of the last day at most, in bounded space."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.assess.margins.energy import Trapezium
from collector.assess.margins.sketch import Sketch
from collector.model import Seconds

HALF = 43_200.0
"""Seconds of each of two halves: figures are of the last twelve hours at least, once so long is known, and of a day at
most."""


PUT_BACK = 60.0
"""Seconds by which a clock may go back and what was drawn is still known."""


class Drawn(NamedTuple):
    """Of one spell."""

    since: Seconds
    """When the first value in it came."""
    peak: float
    """W."""
    peak_time: Seconds
    high: float
    """W below which 95 of 100 values lie."""
    joules: float
    """Drawn since, stretches without a value left out."""
    seconds: float
    """Over which that was added up."""


class _Half:
    def __init__(self, since: Seconds) -> None:
        self.since = since
        self.sketch = Sketch()
        self.energy = Trapezium()


class Spell:
    """Takes power, tells what was drawn. A clock that is put back by much starts anew."""

    def __init__(self) -> None:
        self._older: _Half | None = None
        self._newer: _Half | None = None
        self._last: Seconds = float("-inf")

    def add(self, time: Seconds, power: float) -> None:
        """Take a value in W; negative ones and what is not a number are passed over."""
        if not power >= 0.0:
            return
        if time < self._last - PUT_BACK:
            self._older = self._newer = None
        elif time < self._last:
            return  # of rounds that end together the later may be told first
        self._last = time
        if self._newer is None:
            self._newer = _Half(time)
        elif time - self._newer.since >= HALF:
            self._newer.energy.add(time, power)
            self._older = self._newer if time - self._newer.since < 2.0 * HALF else None
            self._newer = _Half(time)
        self._newer.sketch.add(power, time)
        self._newer.energy.add(time, power)

    @property
    def kept(self) -> tuple[tuple[float, ...], ...]:
        """What outlasts a restart: of each half when it began, its energy and its peak and percentiles; older first."""
        halves = [half for half in (self._older, self._newer) if half is not None]
        return tuple(each for half in halves for each in ((half.since,), half.energy.kept, half.sketch.kept))

    def recall(self, kept: Sequence[Sequence[float]], last: Seconds) -> None:
        """Take up what :attr:`kept` told ``last``. ValueError where it can't have, with nothing changed."""
        halves = []
        for (since, *more), energy, sketch in zip(kept[::3], kept[1::3], kept[2::3], strict=True):
            if more:
                raise ValueError("a half begins at one time")
            half = _Half(since)
            half.energy.recall(energy)
            half.sketch.recall(sketch)
            halves.append(half)
        if len(halves) > 2:
            raise ValueError("a spell has two halves")
        if halves:
            self._older, self._newer = (halves[0] if len(halves) == 2 else None), halves[-1]
            self._last = last

    @property
    def last(self) -> Seconds:
        """When the last value came."""
        return self._last

    @property
    def drawn(self) -> Drawn | None:
        """None before the first value."""
        newer, older = self._newer, self._older
        if newer is None:
            return None
        sketch = newer.sketch if older is None else newer.sketch.with_all_of(older.sketch)
        high = sketch.percentile(0.95)
        if high is None or sketch.peak_time is None:
            return None
        halves = [newer] if older is None else [older, newer]
        return Drawn(
            halves[0].since,
            sketch.peak,
            sketch.peak_time,
            high,
            sum(half.energy.joules for half in halves),
            sum(half.energy.seconds for half in halves),
        )
