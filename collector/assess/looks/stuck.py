"""Stuck sensors: one value for ever, while what it measures must have moved.

Repetition alone is no evidence: a quantised reading of something calm repeats itself too. Evidence is how far the rest
says that it must have moved meanwhile, in the sensor's own steps and in its usual errors, and how seldom a reading that
steps as often as this one does stays the same for so long: below :data:`CHANCE` by chance, were its steps independent.
The less that is to be had by chance, the less movement it takes.
Where the rest explains no movement, nothing is said: such a sensor still tells the truth. Mains alone are never at
rest, with nothing that explains how they move.
"""

from __future__ import annotations

import numpy as np

from collector.assess.looks.explained import Explained
from collector.assess.looks.kin import Bools, Floats, Kin
from collector.model import Kind, Quantity

ROUNDS = 8
"""In which nothing moves, at least."""
RESTS = 3
"""Rounds without a step from which on movement counts."""
CHANCE = 1e-4
DECADES = (4.0, 12.0, 30.0)
BY_SIBLINGS, BY_THE_REST = (4.5, 2.8, 1.8), (6.0, 3.8, 2.4)
"""Usual errors by which a reading must have moved, by the decades that this chance is below 1: what is compared with
others like it is explained better than what inlet, load and fans must explain. Found on healthy simulated days."""
OF_LEAST = (0.3, 0.2, 0.1)
"""By the same decades: part of the least error worth a word that it must have moved."""
STEPS_BY_SIBLINGS, STEPS_BY_THE_REST = (3.5, 2.8, 2.0), (5.0, 3.5, 2.4)
"""By the same decades: of its own smallest steps that it must have moved."""
SWINGS, OF_A_SWING = 2, 0.7
"""How often it must have moved by such a part of that: a model may be wrong for good when loads are shared out anew,
and then moves once."""
OWN_SWING = 0.08
"""Part of its usual load by which a part's own load must have swung before its sensor is called stuck."""
OF_LOADS = 0.5
"""Part of that by which loads that moved must have moved it for them, and not what all siblings feel, to be behind it:
if they are the siblings' loads, they say nothing."""
AT_REST, NO_CHANCE = 40, 1e-15
"""Rounds without a step, and how little chance of them there must be, for mains that never rest to be stuck..."""
STRIDE, LONGEST_STRIDE = 1.0, 4.0
"""...where they go so many of their smallest steps a round in the mean, none counted for more: a smaller unrest may
come to rest between two steps."""
MAINS = (Quantity.VOLTAGE, Kind.POWER_FEED)
"""Which voltages are the mains', beside every frequency."""
_MOVES = 0.03
"""Weight of a round in how often a reading steps."""
_COUNTED = 15
"""Rounds without a step that count for that: later ones may be those of a stuck sensor."""


class Stuck:
    """The standstills of one layout's columns."""

    KEPT = (
        "quantum",
        "lively",
        "run",
        "_low",
        "_high",
        "_least_load",
        "_most_load",
        "_least_unlike",
        "_most_unlike",
        "_trough",
        "_crest",
        "_swings",
        "_strides",
    )

    def __init__(self, kin: Kin) -> None:
        size = kin.size
        nan = np.full(size, np.nan)
        self.quantum = nan.copy()
        """The smallest step that was seen."""
        self.lively = np.zeros(size)
        """How often a reading steps: part of rounds."""
        self.run = np.zeros(size, dtype=np.int16)
        """Rounds since the last step."""
        self._low, self._high = nan.copy(), nan.copy()
        self._trough, self._crest, self._swings = nan.copy(), nan.copy(), np.zeros(size, dtype=np.int16)
        """Of what is explained since it last went far, and how often it did."""
        self._least_load, self._most_load = nan.copy(), nan.copy()
        self._least_unlike, self._most_unlike = nan.copy(), nan.copy()
        self._strides = np.zeros(size)
        """Steps a round in the mean, in the smallest that was seen."""
        self.at_rest: Bools = np.zeros(size, dtype=np.bool_)
        """Stuck since what it measures is never at rest."""
        self._restless = np.asarray(
            [s.quantity is Quantity.FREQUENCY or (s.quantity, s.kind) == MAINS for s in kin.sensors], dtype=np.bool_
        )
        self._by_air = np.zeros(size, dtype=np.bool_)
        self._by_air[kin.inlets] = True

    @property
    def span(self) -> Floats:
        """How far the rest says that each must have moved since it stands still."""
        span: Floats = self._high - self._low
        return span

    def step(self, moved: Floats, same: Bools) -> None:
        """Take a round's changes: ``same`` where a reading was told again."""
        size = np.abs(moved)
        stepped = size > 0.0
        self.quantum = np.where(stepped & ~(self.quantum <= size), size, self.quantum)
        self.run = np.where(same, np.minimum(self.run + 1, 10_000), 0).astype(np.int16)
        counted = (same & (self.run < _COUNTED)) | stepped
        self.lively = np.where(counted, self.lively + _MOVES * (stepped - self.lively), self.lively)
        stride = np.nan_to_num(np.minimum(size / self.quantum, LONGEST_STRIDE))
        self._strides = np.where(counted, self._strides + _MOVES * (stride - self._strides), self._strides)

    def judge(
        self,
        explained: Floats,
        same: Bools,
        usable: Bools,
        doubtful: Bools,
        least: Floats,
        spread: Floats,
        model: Explained,
    ) -> Bools:
        """Which columns are stuck; ``doubtful``: what explains them is ill itself, and begins anew afterwards."""
        # what has only just come to rest may still feel what moved it
        same = same & ~doubtful & (self.run >= RESTS)
        self._low = np.where(same, np.where(usable, np.fmin(self._low, explained), self._low), explained)
        self._high = np.where(same, np.where(usable, np.fmax(self._high, explained), self._high), explained)
        quantum = np.where(self.quantum == self.quantum, self.quantum, np.inf)
        spread = np.where(spread == spread, spread, np.inf)
        chance = self._chance()
        decades = -np.log10(np.maximum(chance, 1e-300))
        errors = _by(decades, model.siblings, BY_SIBLINGS, BY_THE_REST)
        steps = _by(decades, model.siblings, STEPS_BY_SIBLINGS, STEPS_BY_THE_REST)
        must = np.maximum(np.interp(decades, DECADES, OF_LEAST) * least, np.maximum(steps * quantum, errors * spread))
        # siblings that move tell nothing of a sensor whose own part does all the time the same
        load = np.minimum(np.maximum(model.own_load, -1e6), 1e6)
        self._least_load = np.where(same, np.fmin(self._least_load, load), load)
        self._most_load = np.where(same, np.fmax(self._most_load, load), load)
        swung = self._most_load - self._least_load
        unlike = np.minimum(np.maximum(model.unlike, -1e6), 1e6)
        self._least_unlike = np.where(same, np.fmin(self._least_unlike, unlike), unlike)
        self._most_unlike = np.where(same, np.fmax(self._most_unlike, unlike), unlike)
        by_load = np.abs(model.weights[:, 1])
        theirs = (by_load * swung < must) & (by_load * (self._most_unlike - self._least_unlike) > OF_LOADS * must)
        own_rests = (swung < OWN_SWING) | theirs
        idle_along = model.siblings & ~self._by_air & (load == load) & own_rests
        self._swing(explained, same, usable, OF_A_SWING * must)
        moved = (self._high - self._low > must) & (self._swings >= SWINGS)
        stuck = usable & (self.run >= ROUNDS) & (chance < CHANCE) & moved & ~idle_along
        self.at_rest = self._restless & (self.run >= AT_REST) & (chance < NO_CHANCE) & (self._strides >= STRIDE)
        found: Bools = (stuck | self.at_rest) & ~doubtful
        return found

    def _swing(self, explained: Floats, same: Bools, usable: Bools, far: Floats) -> None:
        """Count how often what is explained goes far, one way or the other."""
        self._trough = np.where(same, np.where(usable, np.fmin(self._trough, explained), self._trough), explained)
        self._crest = np.where(same, np.where(usable, np.fmax(self._crest, explained), self._crest), explained)
        swung = same & (self._crest - self._trough > far)
        self._swings = np.where(same, np.minimum(self._swings + swung, 1000), 0).astype(np.int16)
        self._trough, self._crest = np.where(swung, explained, self._trough), np.where(swung, explained, self._crest)

    @property
    def suspect(self) -> Bools:
        """Columns that stand still for so long that nothing should be learnt of them."""
        found: Bools = (self.run >= ROUNDS) & (self._chance() < 10.0 * CHANCE)
        return found

    def _chance(self) -> Floats:
        """Of standing still for so long, were the steps independent."""
        chance: Floats = np.power(1.0 - np.minimum(self.lively, 0.95), self.run)
        return chance


def _by(decades: Floats, siblings: Bools, by_siblings: tuple[float, ...], by_the_rest: tuple[float, ...]) -> Floats:
    return np.where(siblings, np.interp(decades, DECADES, by_siblings), np.interp(decades, DECADES, by_the_rest))
