"""Slow shifts: exponentially weighted means and cumulative sums.

Sources: Montgomery, Introduction to Statistical Quality Control, ch. 9; NIST e-Handbook 6.3.2.3 and 6.3.2.4.
"""

from __future__ import annotations

import math


class Ewma:
    """An exponentially weighted moving average about a target, with its control limits."""

    __slots__ = ("_count", "_sigma", "_target", "_weight", "_width", "value")

    def __init__(self, target: float, sigma: float, weight: float = 0.1, width: float = 2.7) -> None:
        """``weight`` is lambda, ``width`` is L; ValueError unless 0 < weight <= 1 and sigma >= 0."""
        if not (0.0 < weight <= 1.0 and sigma >= 0.0):
            raise ValueError(f"a weight of {weight} or a sigma of {sigma} makes no chart")
        self._target, self._sigma, self._weight, self._width = target, sigma, weight, width
        self._count = 0
        self.value = target

    @property
    def half_width(self) -> float:
        """Half the distance between the limits, at the last value taken."""
        weight = self._weight
        return (
            self._width * self._sigma * math.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * self._count)))
        )

    def take(self, value: float) -> bool:
        """Take a value; say whether the average is outside its limits. A NaN changes nothing."""
        if value == value:
            self._count += 1
            self.value += self._weight * (value - self.value)
        return abs(self.value - self._target) > self.half_width


class Cusum:
    """Two one-sided cumulative sums of standardised values."""

    __slots__ = ("_allowance", "_decision", "_sigma", "_target", "high", "low")

    def __init__(self, target: float, sigma: float, allowance: float = 0.5, decision: float = 5.0) -> None:
        """``allowance`` is k and ``decision`` is h, in sigmas; ValueError unless sigma is above 0."""
        if not sigma > 0.0:
            raise ValueError(f"a sigma of {sigma} makes no chart")
        self._target, self._sigma = target, sigma
        self._allowance, self._decision = allowance, decision
        self.high = 0.0
        self.low = 0.0

    def take(self, value: float) -> int:
        """Take a value: 1 when it has shifted up, -1 when down, else 0. A NaN changes nothing."""
        if value == value:
            away = (value - self._target) / self._sigma
            self.high = max(0.0, self.high + away - self._allowance)
            self.low = max(0.0, self.low - away - self._allowance)
        if self.high > self._decision:
            return 1
        return -1 if self.low > self._decision else 0
