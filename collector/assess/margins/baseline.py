"""What many temperatures do in health, each as a small linear law of its inputs, learnt slowly and within bounds.

Bayesian linear regression, a row a temperature, all rows at once: rise = w0 + w1 (P / n) + w2 P + w3 / n, with P the
power and n the fan speed, both in units of what they were first seen at. Heat in air goes with P / n (fan laws), heat
through metal with P, and what a part warms itself whatever its blade does with 1 / n; how much of each is learnt. How
uncertain a prediction is follows from what has been seen: in a regime never seen before the bounds are wide.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from collector.assess.margins.lag import TIMES, Floats

INPUTS = 4
MEMORY = 0.15
"""How far (ratio) what is relearnt may move away from what was first learnt."""
NOISE_FLOOR = 0.16
"""K^2: quantisation by a whole kelvin, and a little."""
FEW = 15
"""Samples that make a law worth judging by, and..."""
SOON = 900.0
"""...seconds of health over which they must have been taken."""
_MODEL = 0.03
"""Ratio by which a linear law may miss a true one."""
_SLOWEST = 2000.0
"""Samples over which the law forgets."""
_A_LITTLE = 0.1
"""Logarithm by which a load may be below what was learnt and the law still hold."""
_STRETCH = 0.05
"""Part of the way by which one sample moves the edge of what counts as learnt."""


class Baselines:
    """Rows of laws."""

    def __init__(self, rows: int) -> None:
        self.rows = rows
        self.scale = np.full((rows, 3), np.nan)
        """P / n, P and 1 / n when first seen."""
        self.law = np.zeros((rows, INPUTS))
        self._prior = np.diag([9.0, 900.0, 900.0, 36.0])
        self._spread = np.repeat(self._prior[None, :, :], rows, axis=0)
        self.noise = np.full(rows, 1.0)
        self.samples = np.zeros(rows)
        self.learning_since = np.full(rows, np.nan)
        self.first = np.full(rows, np.nan)
        """Rise at the first-seen inputs as first learnt, K; NaN until it is."""
        self.coolest = np.full(rows, np.inf)
        """Least P / n (in units of what it was first) that was learnt from."""
        self.lightest = np.full(rows, np.inf)
        """Least P (in units of what it was first) that was learnt from, slowly followed."""
        self._slowest = np.full(rows, np.inf)
        """Least n (in units of what it was first) that was learnt from, slowly followed."""
        self._errors = np.full((rows, len(TIMES)), 4.0)
        self.lag = np.full(rows, 2)
        """Which of the lags explains the row best."""
        self._every = np.arange(rows)

    KEPT = (
        *(("scale", (3,)), ("law", (INPUTS,)), ("_spread", (INPUTS, INPUTS)), ("noise", ()), ("samples", ())),
        *(("learning_since", ()), ("first", ()), ("coolest", ()), ("lightest", ()), ("_slowest", ())),
        *(("_errors", (len(TIMES),)), ("lag", ())),
    )
    """What outlasts a restart: names, and the shape of a row."""

    def recall(self, rows: NDArray[np.intp], told: Mapping[str, Floats], now: float) -> None:
        """Take up what these rows were before a restart."""
        for name, _ in self.KEPT:
            getattr(self, name)[rows] = told[name]
        self.lag[rows] = np.clip(self.lag[rows], 0, len(TIMES) - 1)
        self.learning_since[rows] = np.minimum(self.learning_since[rows], now)

    def forget(self, rows: NDArray[np.bool_]) -> None:
        """Start these rows anew: another part stands there."""
        self.scale[rows] = np.nan
        self.law[rows] = 0.0
        self._spread[rows] = self._prior
        self.noise[rows] = 1.0
        self.samples[rows] = 0.0
        self.learning_since[rows] = np.nan
        self.first[rows] = np.nan
        self.coolest[rows] = self.lightest[rows] = self._slowest[rows] = np.inf
        self._errors[rows] = 4.0
        self.lag[rows] = 2

    def ready(self, now: float) -> NDArray[np.bool_]:
        """Rows that are worth judging by."""
        return (self.samples >= FEW) & (now - self.learning_since >= SOON)

    def set_back(self, seconds: float) -> None:
        """Our clock was set back by so many s: what was learnt stays as old as it was."""
        self.learning_since -= seconds

    def inputs(self, per_speed: Floats, power: Floats, slow: Floats) -> Floats:
        """Design matrix (rows, lags, 4) from lagged P / n, P and 1 / n of shape (rows, lags)."""
        fresh = ~(self.scale[:, 0] == self.scale[:, 0])
        if fresh.any():
            self.scale[fresh, 0] = np.maximum(per_speed[fresh, -1], 1e-6)
            self.scale[fresh, 1] = np.maximum(power[fresh, -1], 1e-6)
            self.scale[fresh, 2] = np.maximum(slow[fresh, -1], 1e-6)
        out = np.ones((*per_speed.shape, INPUTS))
        out[:, :, 1] = per_speed / self.scale[:, 0:1]
        out[:, :, 2] = power / self.scale[:, 1:2]
        out[:, :, 3] = slow / self.scale[:, 2:3]
        return out

    def bounds(self, low: Floats, high: Floats) -> tuple[Floats, Floats, Floats]:
        """(lowest, highest, deviation of either) predicted rise, from bounds of the inputs (rows, lags, 4).

        Below the least load that was learnt from, a law's negative intercept fades towards nothing: without heat there
        is no rise, and less heat never cools.
        """
        positive, negative = np.maximum(self.law, 0.0)[:, None, :], np.minimum(self.law, 0.0)[:, None, :]
        top = (high * positive + low * negative).sum(axis=2)
        bottom = (low * positive + high * negative).sum(axis=2)
        cool = np.where(np.isfinite(self.coolest), np.maximum(self.coolest, 1e-6), np.inf)[:, None]
        idle = self.law[:, 0, None] + high[:, :, 3] * self.law[:, 3, None]
        top = top - (1.0 - np.minimum(high[:, :, 1] / cool, 1.0)) * np.minimum(idle, 0.0)
        near = np.abs(np.arange(len(TIMES))[None, :] - self.lag[:, None]) <= 1
        highest = np.where(near, top, -np.inf).max(axis=1)
        lowest = np.where(near, bottom, np.inf).min(axis=1)
        at = 0.5 * (low + high)[self._every, self.lag]
        doubt = np.einsum("ri,rij,rj->r", at, self._spread, at)
        level = np.maximum(np.abs(highest), 1.0)
        return lowest, highest, np.sqrt(self.noise + np.maximum(doubt, 0.0) + (_MODEL * level) ** 2)

    def slower(self, middle: Floats) -> Floats:
        """By how much (logarithm) the fans turn slower than ever while the law was learnt; 0 for not.

        What warms itself all the time the same cools with the speed alone: of that a law in P / n and P knows nothing.
        """
        least = np.where(np.isfinite(self._slowest), self._slowest, 0.0)
        return np.log(np.maximum(least / _speed(middle[self._every, self.lag]), 1.0))

    def lighter(self, middle: Floats) -> Floats:
        """By how much (logarithm) the load is well below all that the law was learnt under; 0 for not.

        How much of a rise stays when the load goes, such a law has no way to know.
        """
        least = np.where(np.isfinite(self.lightest), self.lightest, 0.0)
        beyond = np.log(np.maximum(least / np.maximum(middle[self._every, self.lag, 2], 1e-3), 1.0))
        well: Floats = np.maximum(beyond - _A_LITTLE, 0.0)
        return well

    def learn(self, middle: Floats, rise: Floats, which: NDArray[np.bool_], now: float) -> None:
        """Take what these rows show in health: ``middle`` inputs (rows, lags, 4), ``rise`` in K."""
        if not which.any():
            return
        self.learning_since = np.where(which & ~(self.learning_since == self.learning_since), now, self.learning_since)
        safe = np.where(which, rise, 0.0)
        misses = safe[:, None] - (middle * self.law[:, None, :]).sum(axis=2)
        settled = which & (self.samples >= 6)
        self._errors = np.where(
            settled[:, None], self._errors + 0.03 * (np.minimum(misses**2, 100.0) - self._errors), self._errors
        )
        self.lag = np.where(settled, self._errors.argmin(axis=1), self.lag)
        at = middle[self._every, self.lag]
        miss = misses[self._every, self.lag]
        self.coolest = np.where(which, np.minimum(self.coolest, at[:, 1]), self.coolest)
        self.lightest = np.where(which, _towards(self.lightest, at[:, 2]), self.lightest)
        self._slowest = np.where(which, _towards(self._slowest, _speed(at)), self._slowest)
        doubt = np.einsum("rij,rj->ri", self._spread, at)
        total = self.noise + (at * doubt).sum(axis=1)
        bound = 3.0 * np.sqrt(total)
        miss = np.where(self.samples >= FEW, np.clip(miss, -bound, bound), miss)
        gain = np.where(which, 1.0 / total, 0.0)[:, None] * doubt
        self.law = self.law + gain * miss[:, None]
        self._spread = self._spread - gain[:, :, None] * doubt[:, None, :]
        growth = np.where(which & (self.samples > FEW), 1.0 + 1.0 / _SLOWEST, 1.0)
        self._spread = self._spread * growth[:, None, None]
        diagonal = np.einsum("rii->ri", self._spread)
        over = np.sqrt(np.maximum(diagonal / np.diag(self._prior), 1.0))
        self._spread = self._spread / (over[:, :, None] * over[:, None, :])
        pace = 1.0 / np.minimum(self.samples + 4.0, 200.0)
        squared = np.clip(miss * miss, 0.0, 25.0) * np.where(total > 0, self.noise / total, 1.0)
        self.noise = np.where(which, np.maximum(NOISE_FLOOR, self.noise + pace * (squared - self.noise)), self.noise)
        self.samples = self.samples + which
        self._hold(now)

    def _hold(self, now: float) -> None:
        level = self.law.sum(axis=1)  # at the inputs first seen, all of which are 1
        fresh = self.ready(now) & ~(self.first == self.first)
        self.first = np.where(fresh, level, self.first)
        told = (self.first == self.first) & (np.abs(level) > 1e-6)
        held = np.clip(level, self.first - MEMORY * np.abs(self.first), self.first + MEMORY * np.abs(self.first))
        self.law = self.law * np.where(told, held / np.where(told, level, 1.0), 1.0)[:, None]

    def slope(self, row: int, speed: float) -> tuple[float, float]:
        """Rise in K for each W more at a fan speed, and its standard deviation."""
        by = np.asarray([0.0, 1.0 / (self.scale[row, 0] * speed), 1.0 / self.scale[row, 1], 0.0])
        variance = float(by @ self._spread[row] @ by)
        return float(by @ self.law[row]), max(variance, 0.0) ** 0.5

    def per_watt(self) -> Floats:
        """Rise over power at the inputs first seen, K a watt (of P / n where that is what drives the row)."""
        rise: Floats = self.law.sum(axis=1) / self.scale[:, 1]
        return rise


def _speed(inputs: Floats) -> Floats:
    """Fan speed, in units of what it was first, of inputs (rows, 4)."""
    speed: Floats = 1.0 / np.clip(inputs[:, 3], 1e-3, 1e3)
    return speed


def _towards(least: Floats, told: Floats) -> Floats:
    """The least so far, moved a little towards one that is less: a single sample is not learnt yet."""
    known = np.where(np.isfinite(least), least, told)
    return np.where(told < least, known + _STRETCH * (told - known), least)
