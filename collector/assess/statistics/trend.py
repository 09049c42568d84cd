"""Trends that outliers don't bend: Theil-Sen slopes with Sen's confidence interval, Mann-Kendall, dates of crossing.

Sources: Sen 1968; Gilbert 1987, ch. 16; Helsel & Hirsch, Statistical Methods in Water Resources, ch. 8 and 10.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from functools import cache
from statistics import median
from typing import NamedTuple

from collector.assess.statistics.robust import normal_quantile

MOST_POINTS = 200
"""Points that a slope is worked out of: pairs grow with the square. Thin longer series first."""
_EXACT_UP_TO = 10
"""Points up to which the distribution of Kendall's S is counted out, ties aside."""


class Slope(NamedTuple):
    """A Theil-Sen line and how far its slope can be trusted."""

    slope: float
    """In units of y a unit of x."""
    intercept: float
    """Median of y less slope times median of x."""
    low: float
    """Lower limit of the slope; minus infinity where the points are too few for the confidence asked."""
    high: float


class Kendall(NamedTuple):
    """The Mann-Kendall test."""

    s: int
    variance: float
    p: float
    """Two-sided."""


class Crossing(NamedTuple):
    """When a trend meets a limit, in units of x."""

    at: float
    earliest: float
    latest: float
    """Infinity where the flattest slope within the confidence never gets there."""


def theil_sen(x: Sequence[float], y: Sequence[float], confidence: float = 0.95) -> Slope:
    """The median of all pairs' slopes, with Sen's two-sided confidence interval.

    ValueError for series of other lengths than one another, fewer than two different x, more than
    :data:`MOST_POINTS` points, or a value that is not finite.
    """
    _check(x, y)
    slopes = sorted((y[j] - y[i]) / (x[j] - x[i]) for i in range(len(x)) for j in range(i + 1, len(x)) if x[i] != x[j])
    if not slopes:
        raise ValueError("no two points with different x")
    slope = median(slopes)
    half = normal_quantile(0.5 + confidence / 2) * math.sqrt(_variance(y, _ties(x)))
    # Gilbert (1987), 16.2: the M1-th and (M2 + 1)-th of the ordered slopes, ranks counted from 1.
    below, above = (len(slopes) - half) / 2, (len(slopes) + half) / 2
    low = slopes[round(below) - 1] if round(below) >= 1 else -math.inf
    high = slopes[round(above)] if round(above) < len(slopes) else math.inf
    return Slope(slope, median(y) - slope * median(x), low, high)


def mann_kendall(y: Sequence[float]) -> Kendall:
    """Whether a series rises or falls at all, whatever its shape.

    Exact for up to ten values without ties, else the normal approximation with the correction for ties and for
    continuity. ValueError for fewer than two values or one that is not finite.
    """
    _check(range(len(y)), y)
    s = sum((b > a) - (b < a) for i, a in enumerate(y) for b in y[i + 1 :])
    variance = _variance(y, ())
    if len(y) <= _EXACT_UP_TO and len(set(y)) == len(y):
        counts = _orders(len(y))
        at_least = sum(count for score, count in counts.items() if score >= abs(s))
        return Kendall(s, variance, min(1.0, 2.0 * at_least / math.factorial(len(y))))
    if variance <= 0.0 or s == 0:
        return Kendall(s, variance, 1.0)
    z = (abs(s) - 1) / math.sqrt(variance)
    return Kendall(s, variance, math.erfc(z / math.sqrt(2.0)))


def crossing(
    x: Sequence[float],
    y: Sequence[float],
    limit: float,
    confidence: float = 0.95,
    *,
    furthest: float = 1.0,
) -> Crossing | None:
    """When the trend reaches a limit, counted from the last point; None where the data do not carry a forecast.

    They don't when there are fewer than six points, the trend isn't significant, the whole interval of slopes doesn't
    lead towards the limit, the limit is already passed, or it is more than ``furthest`` times the observed span away
    (common practice, no source: not to look further ahead than one has looked back).
    """
    if len(y) < 6 or len(x) != len(y):
        return None
    if mann_kendall(y).p > 1.0 - confidence:
        return None
    line = theil_sen(x, y, confidence)
    now, span = x[-1], x[-1] - x[0]
    left = limit - (line.intercept + line.slope * now)
    if left == 0.0 or line.slope == 0.0 or (left > 0.0) != (line.slope > 0.0):
        return None
    steep, flat = (line.high, line.low) if left > 0.0 else (line.low, line.high)
    if not math.isfinite(steep) or (flat > 0.0) != (line.slope > 0.0):
        return None
    if left / line.slope > furthest * span:
        return None
    return Crossing(now + left / line.slope, now + left / steep, now + left / flat if flat else math.inf)


def _check(x: Sequence[float], y: Sequence[float]) -> None:
    if len(x) != len(y):
        raise ValueError(f"{len(x)} times for {len(y)} values")
    if not 2 <= len(y) <= MOST_POINTS:
        raise ValueError(f"{len(y)} points: a trend takes 2 to {MOST_POINTS}")
    if not all(map(math.isfinite, (*x, *y))):
        raise ValueError("a point that is not finite")


def _ties(x: Sequence[float]) -> tuple[int, ...]:
    return tuple(count for count in Counter(x).values() if count > 1)


def _variance(y: Sequence[float], ties_of_x: Sequence[int]) -> float:
    """Of Kendall's S (Gilbert 1987, equation 16.4; ties of either series taken off)."""
    size = len(y)
    groups = (*_ties(y), *ties_of_x)
    return (size * (size - 1) * (2 * size + 5) - sum(t * (t - 1) * (2 * t + 5) for t in groups)) / 18.0


@cache
def _orders(size: int) -> dict[int, int]:
    """How many of the orders of so many values have each S: built up a value at a time."""
    counts = {0: 1}
    for placed in range(1, size):
        following: dict[int, int] = {}
        for score, count in counts.items():
            for below in range(placed + 1):
                key = score + 2 * below - placed
                following[key] = following.get(key, 0) + count
        counts = following
    return counts
