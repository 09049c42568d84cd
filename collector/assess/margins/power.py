"""Electrical figures: factor, phases, busbars, feeds, and sums that should agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple


def power_factor(real: float, apparent: float) -> float | None:
    """P / S; None without apparent power."""
    return real / apparent if apparent > 0.0 else None


def reactive(real: float, apparent: float) -> float:
    """Root of S^2 - P^2 in VA reactive; 0 where rounding leaves P above S."""
    return math.sqrt(max(0.0, apparent * apparent - real * real))


def three_phase(line_voltage: float, current: float, factor: float = 1.0) -> float:
    """Power in W of a balanced three-phase load, from line-to-line V and A."""
    return math.sqrt(3.0) * line_voltage * current * factor


def busbar_current(power: float, voltage: float) -> float | None:
    """A that a direct-current bus carries; None without voltage."""
    return power / voltage if voltage > 0.0 else None


def imbalance(phases: Sequence[float]) -> float | None:
    """Largest departure from the phases' mean, over that mean (NEMA MG 1 12.45); None for fewer than two or no load."""
    told = [value for value in phases if value == value]
    if len(told) < 2:
        return None
    mean = math.fsum(told) / len(told)
    return max(abs(value - mean) for value in told) / mean if mean > 0.0 else None


class Sums(NamedTuple):
    """What a shared feed tells against the sum of what hangs on it."""

    feed: float
    parts: float
    missing: float
    """Feed less parts, W: lost on the way, or a sensor that lies; negative: more goes out than comes in."""
    least: float
    """``missing`` with every sensor's tolerance against it, W."""
    most: float
    """``missing`` with every sensor's tolerance for it, W."""


def sums(feed: float, parts: Sequence[float], tolerance: float = 0.02, resolution: float = 1.0) -> Sums | None:
    """Compare; None where a reading is absent or negative.

    ``tolerance``: ratio by which each meter may be off (2 %: common practice, no source); ``resolution`` in W. The
    errors of the parts' meters are taken to add up in the worst case.
    """
    everything = (feed, *parts)
    if not parts or any(not value >= 0.0 for value in everything):
        return None
    total = math.fsum(parts)
    slack = tolerance * (feed + total) + 0.5 * resolution * len(everything)
    return Sums(feed, total, feed - total, feed - total - slack, feed - total + slack)


class Left(NamedTuple):
    """What feeds have left."""

    load: float
    rating: float
    left: float
    """W up to the rating of all."""
    after_loss: float | None
    """W up to the rating of what remains when the largest is lost; None for a single feed."""


def left(loads: Sequence[float], ratings: Sequence[float]) -> Left | None:
    """Load in W of feeds that share, against their ratings; None where a load or a rating is absent."""
    if not loads or len(loads) != len(ratings) or any(not value >= 0.0 for value in (*loads, *ratings)):
        return None
    load, rating = math.fsum(loads), math.fsum(ratings)
    after = None if len(ratings) < 2 else rating - max(ratings) - load
    return Left(load, rating, rating - load, after)
