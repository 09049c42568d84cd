"""Outliers among few values: the modified z-score and Grubbs' test."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, median

FLAG = 3.5
"""Absolute modified z-score above which a value is an outlier (Iglewicz & Hoaglin 1993; NIST e-Handbook 1.3.5.17)."""
_MAD_OF_NORMAL = 0.6745
"""The median absolute deviation of a standard normal, as the published formula rounds it."""
_MEAN_DEVIATION_OF_NORMAL = 1.253314
"""Standard deviation over mean absolute deviation of a normal, sqrt(pi / 2): the fallback's scale."""


def spread(values: Sequence[float]) -> tuple[float, float]:
    """(median, robust standard deviation). The scale is MAD / 0.6745; where more than half the values are the same,
    the mean absolute deviation takes its place (Iglewicz & Hoaglin 1993); 0 only where all are the same.

    ValueError without values.
    """
    if not values:
        raise ValueError("no values to take a median of")
    middle = median(values)
    away = [abs(value - middle) for value in values]
    mad = median(away)
    if mad > 0.0:
        return middle, mad / _MAD_OF_NORMAL
    return middle, _MEAN_DEVIATION_OF_NORMAL * sum(away) / len(away)


def modified_z(values: Sequence[float]) -> list[float]:
    """The modified z-score of each value; 0 for all where all are the same. ValueError without values."""
    middle, scale = spread(values)
    if scale == 0.0:
        return [0.0] * len(values)
    return [(value - middle) / scale for value in values]


def outliers(values: Sequence[float], flag: float = FLAG) -> list[int]:
    """Indices of the values whose absolute modified z-score is above ``flag``."""
    return [index for index, score in enumerate(modified_z(values)) if abs(score) > flag]


def against(value: float, others: Sequence[float], floor: float = 0.0) -> float:
    """Modified z-score of a value against others, itself not among them.

    ``floor``: the least standard deviation to believe: a handful of values may agree by chance. 0 where that leaves no
    scale at all. ValueError without others.
    """
    middle, scale = spread(others)
    scale = max(scale, floor)
    if scale == 0.0:
        return 0.0 if value == middle else math.copysign(math.inf, value - middle)
    return (value - middle) / scale


def grubbs(values: Sequence[float]) -> tuple[int, float]:
    """(index, G) of the value furthest from the mean, in sample standard deviations (NIST e-Handbook 1.3.5.17.1).

    ValueError for fewer than three values, or where all are the same.
    """
    if len(values) < 3:
        raise ValueError("Grubbs' test takes three values or more")
    mean = math.fsum(values) / len(values)
    deviation = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
    if deviation == 0.0:
        raise ValueError("all values are the same")
    index = max(range(len(values)), key=lambda at: abs(values[at] - mean))
    return index, abs(values[index] - mean) / deviation


def normal_quantile(probability: float) -> float:
    """Standard normal quantile; ValueError unless 0 < probability < 1."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"{probability} is not a probability between 0 and 1")
    return NormalDist().inv_cdf(probability)
