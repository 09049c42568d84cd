"""Rare events: exact limits of a rate, MTBF factors, and whether one rate is above another.

The quantiles of gamma and chi-square come from the regularised incomplete gamma function (series and continued
fraction: NIST Digital Library of Mathematical Functions 8.7.1 and 8.9.2), inverted by bisection.
"""

from __future__ import annotations

import math
from typing import NamedTuple

_STEPS = 500
_TINY = 1e-300
_PRECISION = 1e-14


class Limits(NamedTuple):
    """A two-sided confidence interval."""

    low: float
    high: float


def gamma_below(shape: float, x: float) -> float:
    """Regularised lower incomplete gamma function P(shape, x); ValueError unless shape > 0 and x >= 0."""
    if not (shape > 0.0 and x >= 0.0):
        raise ValueError(f"no incomplete gamma function of {shape}, {x}")
    if x == 0.0:
        return 0.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1.0:
        term = total = 1.0 / shape
        for step in range(1, _STEPS + int(x)):
            term *= x / (shape + step)
            total += term
            if term < total * _PRECISION:
                break
        return min(1.0, front * total)
    b, c = x + 1.0 - shape, 1.0 / _TINY
    d = 1.0 / b
    fraction = d
    for step in range(1, _STEPS + int(math.sqrt(shape) * 10)):
        a = -step * (step - shape)
        b += 2.0
        d = 1.0 / _away_from_zero(a * d + b)
        c = _away_from_zero(b + a / c)
        fraction *= d * c
        if abs(d * c - 1.0) < _PRECISION:
            break
    return max(0.0, 1.0 - front * fraction)


def gamma_quantile(probability: float, shape: float) -> float:
    """The x at which P(shape, x) is the probability; ValueError unless 0 <= probability < 1 and shape > 0."""
    if not (0.0 <= probability < 1.0 and shape > 0.0):
        raise ValueError(f"no gamma quantile of {probability}, {shape}")
    if probability == 0.0:
        return 0.0
    low, high = 0.0, shape + 1.0
    while gamma_below(shape, high) < probability:
        low, high = high, 2.0 * high
    while high - low > 1e-13 * high:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if gamma_below(shape, middle) < probability:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def chi_square_quantile(probability: float, freedom: float) -> float:
    """Of chi-square with so many degrees of freedom; ValueError as :func:`gamma_quantile`."""
    return 2.0 * gamma_quantile(probability, freedom / 2.0)


def poisson_limits(events: int, confidence: float = 0.95) -> Limits:
    """Exact two-sided limits of the mean of a Poisson count (Garwood 1936). ValueError for a negative count."""
    if events < 0:
        raise ValueError(f"{events} events")
    tail = (1.0 - confidence) / 2.0
    low = gamma_quantile(tail, events) if events else 0.0
    return Limits(low, gamma_quantile(1.0 - tail, events + 1))


def rate_limits(events: int, exposure: float, confidence: float = 0.95) -> Limits:
    """Exact limits of events a unit of exposure. ValueError unless exposure > 0."""
    if not exposure > 0.0:
        raise ValueError(f"an exposure of {exposure}")
    low, high = poisson_limits(events, confidence)
    return Limits(low / exposure, high / exposure)


def mtbf_factors(failures: int, confidence: float = 0.9) -> Limits:
    """Factors on the mean time between failures, of a time-censored test (NIST e-Handbook 8.4.5.1).

    ValueError for fewer than one failure: see :func:`mtbf_lower_without_failure`.
    """
    if failures < 1:
        raise ValueError("factors take one failure or more")
    low, high = poisson_limits(failures, confidence)
    return Limits(failures / high, failures / low)


def mtbf_lower_without_failure(hours: float, confidence: float = 0.95) -> float:
    """One-sided lower limit of the MTBF when nothing failed in so many hours (NIST e-Handbook 8.4.5.1)."""
    return hours / -math.log(1.0 - confidence)


def more_often(first: int, first_exposure: float, second: int, second_exposure: float) -> float:
    """One-sided p that the first rate is no higher than the second: the conditional exact test.

    Given the sum of both counts the first is binomial (Przyborowski & Wilenski 1940). ValueError for negative counts or
    exposures that are not above 0.
    """
    if min(first, second) < 0 or not min(first_exposure, second_exposure) > 0.0:
        raise ValueError("counts are 0 or more and exposures above 0")
    share = first_exposure / (first_exposure + second_exposure)
    return _binomial_at_least(first, first + second, share)


def rates_differ(first: int, first_exposure: float, second: int, second_exposure: float) -> float:
    """Two-sided p that two rates are the same: the conditional exact test, outcomes no likelier than the one seen."""
    if min(first, second) < 0 or not min(first_exposure, second_exposure) > 0.0:
        raise ValueError("counts are 0 or more and exposures above 0")
    total, share = first + second, first_exposure / (first_exposure + second_exposure)
    seen = _log_binomial(first, total, share)
    return min(
        1.0, math.fsum(math.exp(p) for k in range(total + 1) if (p := _log_binomial(k, total, share)) <= seen + 1e-9)
    )


def _binomial_at_least(count: int, total: int, share: float) -> float:
    return min(1.0, math.fsum(math.exp(_log_binomial(k, total, share)) for k in range(count, total + 1)))


def _log_binomial(count: int, total: int, share: float) -> float:
    ways = math.lgamma(total + 1) - math.lgamma(count + 1) - math.lgamma(total - count + 1)
    return ways + count * math.log(share) + (total - count) * math.log1p(-share)


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
