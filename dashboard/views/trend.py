"""Whether a sensor's samples rise or fall, how fast, and when that meets a limit; no forecast that they don't carry."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from collector.assess.statistics.trend import MOST_POINTS, crossing, mann_kendall, theil_sen
from collector.model import History, Seconds
from dashboard.drawings.trace import Line
from dashboard.views.words import age

LEAST = 6
"""Samples below which nothing is said of a trend."""
_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Trend:
    """A trend in words."""

    says: str
    """e.g. ``rises 1.2 °C an hour (0.9 to 1.4)``."""
    forecast: str = ""
    """e.g. ``at this rate it meets upper caution 80 °C in 2 h 5 min (1 h 40 min to 3 h)``."""


def trend(history: History, lines: Sequence[Line], unit: str) -> Trend:
    """The Theil-Sen trend of samples with its 95 % interval, and when it meets the next limit.

    ``lines``: the sensor's thresholds; ``unit``: as people write it, of the values and the thresholds.
    """
    times, values = _thinned(history)
    if len(values) < LEAST:
        return Trend(f"too few samples for a trend: {len(values)} of {LEAST}")
    if mann_kendall(values).p > 1.0 - _CONFIDENCE:
        return Trend("no trend: it neither rises nor falls beyond chance")
    line = theil_sen(times, values, _CONFIDENCE)
    low, high = sorted((abs(line.low), abs(line.high)))
    way = "rises" if line.slope > 0 else "falls"
    same = line.low * line.high > 0
    span = f" ({low * 3600:.3g} to {high * 3600:.3g}, 95 %)" if same and math.isfinite(high) else ""
    if line.slope == 0.0 or not same:
        return Trend("no trend that its scatter would let one tell")
    says = f"{way} {abs(line.slope) * 3600:.3g} {unit} an hour{span}".replace("  ", " ")
    return Trend(says, _forecast(times, values, lines, line.slope > 0, unit))


def _forecast(times: Sequence[Seconds], values: Sequence[float], lines: Sequence[Line], rises: bool, unit: str) -> str:
    ahead = [line for line in lines if line.upper is rises and (line.value > values[-1]) is rises]
    if not ahead:
        return ""
    limit = min(ahead, key=lambda line: abs(line.value - values[-1]))
    met = crossing(times, values, limit.value, _CONFIDENCE)
    name = f"{limit.words} {limit.value:g} {unit}".rstrip()
    if met is None:
        return f"no forecast for {name}: it is further away than these samples carry"
    now = times[-1]
    latest = age(met.latest - now) if math.isfinite(met.latest) else "never"
    return f"at this rate it meets {name} in {age(met.at - now)} ({age(met.earliest - now)} to {latest})"


def _thinned(history: History) -> tuple[list[float], list[float]]:
    told = [(t, v) for t, v in zip(history.times, history.values, strict=True) if math.isfinite(v)]
    step = -(-len(told) // MOST_POINTS) or 1
    kept = told[::-1][::step][::-1]
    return [t for t, _ in kept], [v for _, v in kept]
