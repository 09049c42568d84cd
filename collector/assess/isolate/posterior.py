"""Exact posterior over no fault, one fault and two faults, by noisy-OR with a leak for each observation.

A sign's probability given faults is ``1 - (1 - leak) * product of (1 - chance)`` (noisy-OR with leak; Pearl 1988, and
Russell & Norvig, 'Artificial Intelligence: A Modern Approach'). Faults are independent beforehand; more than two at
once are left out, so what comes out is conditional on at most two. Of present, visibly absent and unknown signs the
unknown are summed out: they cost nothing. A present sign that is only surely so with a weight enters by Jeffrey's
rule, with the sign's own probability by all that is surely there: no fault can come out surer through that sign
alone than the sign is, and a doubtful sign does not decide between what the sure ones have left open.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

Array = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.intp]
MOST_AT_ONCE = 4_000_000
"""Pairs times signs that are weighed in one go."""


class Evidence(Struct, frozen=True, kw_only=True, eq=False):
    """What is known of the signs that some faults could cause."""

    priors: Array
    """Per fault, above 0 and below 1."""
    exclusive: Numbers
    """Per fault a number; two faults of one number exclude each other: a part fails in one way at a time."""
    chances: Array
    """Faults by present signs: the probability that the fault causes the sign."""
    silent: Array
    """Per fault: the logarithm of the probability that it causes none of the visibly absent signs."""
    leaks: Array
    """Per present sign."""
    weights: Array
    """Per present sign: how sure it is that it is there."""
    background: Array
    """Per present sign: the probability that faults taken as given don't cause it."""


class Posterior(Struct, frozen=True, kw_only=True, eq=False):
    """Probabilities of what has failed, given at most two faults."""

    none: float
    singles: Array
    """Per fault: that it alone has failed."""
    first: Numbers
    second: Numbers
    pairs: Array
    """Per pair of ``first`` and ``second``: that these two have failed."""

    @property
    def marginals(self) -> Array:
        """Per fault: that it has failed, alone or with another."""
        total = self.singles.copy()
        np.add.at(total, self.first, self.pairs)
        np.add.at(total, self.second, self.pairs)
        return total

    def both(self, one: Sequence[int], other: Sequence[int]) -> float:
        """That one of some faults and one of some others have failed together."""
        crossed = (np.isin(self.first, one) & np.isin(self.second, other)) | (
            np.isin(self.first, other) & np.isin(self.second, one)
        )
        return float(self.pairs[crossed].sum())


def noisy_or(leak: float, chances: Sequence[float]) -> float:
    """Probability of a sign given the faults that are there."""
    missing = 1.0 - leak
    for chance in chances:
        missing *= 1.0 - chance
    return 1.0 - missing


def normalised(none: float, singles: Array, pairs: Array) -> tuple[float, Array, Array]:
    """Probabilities from logarithms of what is proportional to them; raises ValueError when nothing is possible."""
    top = max(none, float(singles.max(initial=-np.inf)), float(pairs.max(initial=-np.inf)))
    if not np.isfinite(top):
        raise ValueError("no explanation is possible")
    weights = np.exp(none - top), np.exp(singles - top), np.exp(pairs - top)
    total = float(weights[0] + weights[1].sum() + weights[2].sum())
    return float(weights[0]) / total, weights[1] / total, weights[2] / total


def weigh(evidence: Evidence) -> Posterior:
    """Weigh all explanations by at most two faults: sure signs first, then doubtful ones by what these leave."""
    priors = evidence.priors
    first, second = np.triu_indices(len(priors), 1)
    apart = evidence.exclusive[first] != evidence.exclusive[second]
    first, second = first[apart], second[apart]
    with np.errstate(divide="ignore"):
        odds = np.log(priors) - np.log1p(-priors)
        missing = _Missing(evidence, first, second)
        surely = evidence.weights >= 1.0
        logs = [np.zeros(1), odds, odds[first] + odds[second]]
        if surely.any():
            for at, part in missing.parts(surely):
                logs[at[0]][at[1]] += np.log(1.0 - part).sum(axis=-1)
        if not surely.all():
            weights = evidence.weights[~surely]
            # by what is there alone: what is not there speaks once, and makes no doubtful sign stronger
            expected = _expected(logs, missing, ~surely)
            # that a sign is only weakly seen is no evidence against what lets it be expected
            weights = np.maximum(weights, expected)
            yes, no = weights / np.maximum(expected, 1e-300), (1.0 - weights) / np.maximum(1.0 - expected, 1e-300)
            for at, part in missing.parts(~surely):
                logs[at[0]][at[1]] += np.log(yes * (1.0 - part) + no * part).sum(axis=-1)
    silent = evidence.silent
    none, singles, pairs = normalised(float(logs[0][0]), logs[1] + silent, logs[2] + silent[first] + silent[second])
    return Posterior(none=none, singles=singles, first=first, second=second, pairs=pairs)


class _Missing:
    """Probabilities that signs are missing, by explanation: none, each fault, each pair."""

    def __init__(self, evidence: Evidence, first: Numbers, second: Numbers) -> None:
        self._alone = (1.0 - evidence.leaks) * evidence.background
        self._spared = 1.0 - evidence.chances
        self._first, self._second = first, second

    def parts(self, columns: npt.NDArray[np.bool_]) -> Iterator[tuple[tuple[int, slice], Array]]:
        """Of some signs, by explanations a few at a time: (which table, which rows of it), rows by signs."""
        alone, spared = self._alone[columns], self._spared[:, columns]
        yield (0, slice(0, 1)), alone[np.newaxis]
        yield (1, slice(0, len(spared))), alone * spared
        step = max(1, MOST_AT_ONCE // max(1, len(alone)))
        for start in range(0, len(self._first), step):
            cut = slice(start, start + step)
            yield (2, cut), alone * spared[self._first[cut]] * spared[self._second[cut]]


def _expected(logs: Sequence[Array], missing: _Missing, columns: npt.NDArray[np.bool_]) -> Array:
    """Per sign, its probability by all that is surely there."""
    none, singles, pairs = normalised(float(logs[0][0]), logs[1], logs[2])
    tables = (np.array([none]), singles, pairs)
    total = np.zeros(int(columns.sum()))
    for at, part in missing.parts(columns):
        total += tables[at[0]][at[1]] @ (1.0 - part)
    return np.clip(total, 0.0, 1.0)
