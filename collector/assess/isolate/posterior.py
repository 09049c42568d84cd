"""Exact posterior over no fault, one fault and two faults, by noisy-OR with a leak for each observation.

A sign's probability given faults is ``1 - (1 - leak) * product of (1 - chance)`` (noisy-OR with leak; Pearl 1988, and
Russell & Norvig, 'Artificial Intelligence: A Modern Approach'). Faults are independent beforehand; more than two at
once are left out, so what comes out is conditional on at most two. Of present, visibly absent and unknown signs the
unknown are summed out: they cost nothing. A present sign that is only surely so with a weight enters by Jeffrey's
rule, with the sign's own probability beforehand: no fault can come out surer through that sign alone than the sign is.
"""

from __future__ import annotations

from collections.abc import Sequence

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
    """Weigh all explanations by at most two faults."""
    priors = evidence.priors
    count = len(priors)
    first, second = np.triu_indices(count, 1)
    apart = evidence.exclusive[first] != evidence.exclusive[second]
    first, second = first[apart], second[apart]
    with np.errstate(divide="ignore"):
        odds = np.log(priors) - np.log1p(-priors) + evidence.silent
        spared = 1.0 - evidence.chances
        alone = (1.0 - evidence.leaks) * evidence.background
        expected = _beforehand(evidence)
        none = float(_seen(alone[np.newaxis], evidence.weights, expected)[0])
        singles = odds + _seen(alone * spared, evidence.weights, expected)
        pairs = odds[first] + odds[second]
        step = max(1, MOST_AT_ONCE // max(1, len(evidence.leaks)))
        for start in range(0, len(first), step):
            cut = slice(start, start + step)
            missing = alone * spared[first[cut]] * spared[second[cut]]
            pairs[cut] += _seen(missing, evidence.weights, expected)
    chosen = normalised(none, singles, pairs)
    return Posterior(none=chosen[0], singles=chosen[1], first=first, second=second, pairs=chosen[2])


def _beforehand(evidence: Evidence) -> Array:
    """Per present sign, its probability before anything was seen."""
    spared = np.prod(1.0 - evidence.priors[:, np.newaxis] * evidence.chances, axis=0)
    return np.asarray(1.0 - (1.0 - evidence.leaks) * evidence.background * spared)


def _seen(missing: Array, weights: Array, expected: Array) -> Array:
    """Per row of probabilities that signs are missing, the logarithm of how well they fit what was seen."""
    surely = weights >= 1.0
    fits = np.where(
        surely,
        1.0 - missing,
        weights * (1.0 - missing) / np.maximum(expected, 1e-300)
        + (1.0 - weights) * missing / np.maximum(1.0 - expected, 1e-300),
    )
    return np.asarray(np.log(fits).sum(axis=-1))
