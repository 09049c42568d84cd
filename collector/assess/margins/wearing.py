"""When a drive's life is used up, and how fast errors are corrected: from the samples that are kept, with limits.

The same laws by which :mod:`collector.assess.looks.wear` judges as readings come; here they are asked of what the store
remembers, which outlives a restart. What the samples do not carry gets no date.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

from collector.assess.looks.wear import DAILY, FURTHEST
from collector.assess.margins.energy import Counter
from collector.assess.statistics.poisson import poisson_limits
from collector.assess.statistics.trend import MOST_POINTS, Crossing, crossing
from collector.model import Seconds

NEEDED = 6
"""Dated falls of life, and stretches of errors, that a trend takes."""
NEW_DRIVE = 1.0
"""Points by which life must rise to be another drive's."""
STRETCHES = 12
"""Equal ones, into which the time of an error counter is cut."""
CONFIDENCE = 0.95
_DAY = 86_400.0

Points = Iterable[tuple[Seconds, float]]


class Life(NamedTuple):
    """What is left, and when nothing is."""

    left: float
    """%."""
    falls: int
    """Dated ones: times at which less was told than before."""
    since: Seconds
    """When this drive was first told of in the samples."""
    end: Crossing | None
    """None where the samples carry no date."""


class Errors(NamedTuple):
    """How often errors were corrected."""

    number: int
    seconds: float
    low: float
    """A day: exact Poisson limits of 95 % (Garwood 1936)."""
    high: float
    many: Crossing | None
    """When :data:`~collector.assess.looks.wear.DAILY` a day are reached by the trend; None where they are by now, and
    where the samples carry no date."""


def life(points: Points) -> Life | None:
    """Of samples of what is left, oldest first, %; None without any."""
    falls: list[tuple[Seconds, float]] = []
    since = last = math.nan
    for time, left in points:
        if not 0.0 <= left <= 100.0:
            continue
        if last != last or left > last + NEW_DRIVE:
            falls, since, last = [], time, left
        elif left < last:
            falls.append((time, left))
            last = left
    if last != last:
        return None
    dated = falls[-MOST_POINTS:]
    end = None
    if len(dated) >= NEEDED:
        end = crossing([time for time, _ in dated], [left for _, left in dated], 0.0, CONFIDENCE, furthest=FURTHEST)
    return Life(last, len(falls), since, end)


def errors(points: Points) -> Errors | None:
    """Of samples of a counter, oldest first, whose fall is a reset; None for fewer than two."""
    told = [(time, value) for time, value in points if math.isfinite(value) and value >= 0.0]
    if len(told) < 2 or not told[-1][0] > told[0][0]:
        return None
    begin, span = told[0][0], told[-1][0] - told[0][0]
    counter, counts = Counter(), [0.0] * STRETCHES
    for time, value in told:
        at = min(max(int(STRETCHES * (time - begin) / span), 0), STRETCHES - 1)
        counts[at] += counter.add(value)
    count = round(counter.joules)
    limits = poisson_limits(min(count, 1_000_000), CONFIDENCE)
    days = span / _DAY
    per_day = [STRETCHES * one / days for one in counts]
    middles = [begin + (number + 0.5) * span / STRETCHES for number in range(STRETCHES)]
    many = crossing(middles, per_day, DAILY, CONFIDENCE) if count >= NEEDED else None
    return Errors(count, span, limits.low / days, limits.high / days, many)
