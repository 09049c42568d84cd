"""Sensors that jump about: readings that go to and fro where nothing else explains it, round after round.

What is judged is a *swing*: a jump and the next one back, counted at the smaller of the two. A jump counts only as far
as the reading itself made it, and only as far as the rest does not explain it. A load that comes or goes is one jump;
noise swings all the time.

A swing is a hit where it is above four times the usual jump. Were a healthy sensor's errors independent and Gaussian,
its usual jump would be 2/sqrt(pi) of their deviation, and a round in 15,000 a hit by chance (bivariate normal
distribution; Monte Carlo in the tests). Three hits within some rounds are needed: less than once in 10^7 rounds of one
sensor.
"""

from __future__ import annotations

import numpy as np

from collector.assess.looks.kin import Bools, Floats, Kin
from collector.model import Kind, Quantity

SHOWN, HELD, FADES, MOST = 2.5, 1.2, 0.93, 3.5
"""Hits from which a sensor jumps about, down to which it still does, what is left of them a round later, and the most
that count: what has come to rest is let go of within some 15 rounds."""
TIMES_USUAL = 4.0
FIRST = 30
"""Rounds whose mean jump is the first usual one."""
QUANTA = 1.5
SHARED = 0.3
"""Part of a swing from which another reading's swing is of the same cause."""
LOAD = 0.04
"""Part of its usual power by which a load that swings moves what it heats."""
DISTRIBUTION = frozenset({Kind.OUTLET, Kind.CIRCUIT, Kind.POWER_FEED})
"""What carries whatever hangs on it."""
PART_OF_LEAST = 0.25
"""Of the least error worth a word, that a swing must be above."""


class Jitter:
    """The swings of one layout's columns."""

    KEPT = ("_error", "_jump", "_moved", "_rounds", "usual", "hits")

    def __init__(self, kin: Kin, least: Floats) -> None:
        """``least``: by column the least error worth a word, in its unit and as part of its usual value."""
        size = kin.size
        self._least = PART_OF_LEAST * least
        nan = np.full(size, np.nan)
        self._error, self._jump, self.usual, self.hits = nan.copy(), nan.copy(), nan.copy(), np.zeros(size)
        self._moved = nan.copy()
        self._rounds = np.zeros(size, dtype=np.int16)
        driven, outside = (Quantity.POWER, Quantity.CURRENT), frozenset(kin.inlets.tolist())
        self._load = [
            -1 if sensor.quantity in driven or column in outside else kin.power_of.get(kin.owner[column], -1)
            for column, sensor in enumerate(kin.sensors)
        ]
        """By column: the power that drives it."""
        self._partners = [
            [
                other
                for other, beside in enumerate(kin.sensors)
                if other != column
                and beside.part == sensor.part
                and beside.quantity in driven
                and "average" not in beside.sensor.lower()
            ]
            if sensor.quantity in driven
            else []
            for column, sensor in enumerate(kin.sensors)
        ]
        """By column of a power or current: the others at its part, which all swing along where the load does; some of
        them may be the same measurement under another name."""
        self._bare = np.asarray(
            [sensor.quantity in driven and sensor.kind in DISTRIBUTION for sensor in kin.sensors], dtype=np.bool_
        ) & np.asarray([not partners for partners in self._partners], dtype=np.bool_)
        """What carries whatever hangs on it, and has nothing to be compared with."""
        self._relative = np.asarray([s.quantity is not Quantity.TEMPERATURE for s in kin.sensors], dtype=np.bool_)
        groups: dict[tuple[str, Quantity], list[int]] = {}
        for column, sensor in enumerate(kin.sensors):
            groups.setdefault((kin.owner[column], sensor.quantity), []).append(column)
        self._beside = [
            [
                other
                for other in groups[kin.owner[column], sensor.quantity]
                if other != column and not (sensor.quantity in driven and kin.sensors[other].part == sensor.part)
            ]
            for column, sensor in enumerate(kin.sensors)
        ]
        """By column: what else of its quantity its owner tells; of powers, of other parts."""

    @property
    def suspect(self) -> Bools:
        """Columns that may be jumping about: what is explained from them is explained badly."""
        found: Bools = self.hits >= HELD
        return found

    def forget(self) -> None:
        """Too long a time has passed: what was told last is no measure."""
        self._error[:] = self._jump[:] = self._moved[:] = np.nan

    def round(
        self,
        moved: Floats,
        error: Floats,
        usable: Bools,
        judged: Bools,
        level: Floats,
        quantum: Floats,
        quick: Bools,
    ) -> Floats:
        """Take a round; the limit that a swing must be above, by column.

        ``moved``: change of each reading; ``error``: what the rest does not explain of it; ``usable``: what can be
        learnt from; ``judged``: what is explained well enough to be accused; ``quick``: columns that are new, whose
        usual is learnt quickly.
        """
        unexplained = error - self._error
        along = moved * unexplained > 0.0
        jump = np.where(along, np.copysign(np.minimum(np.abs(moved), np.abs(unexplained)), moved), 0.0)
        known = usable & (unexplained == unexplained) & (moved == moved)
        swing = np.where(known & (jump * self._jump < 0.0), np.minimum(np.abs(jump), np.abs(self._jump)), 0.0)
        new = self._rounds < FIRST
        usual = np.where(new, np.inf, self.usual)
        least = np.maximum(self._least[:, 0], self._least[:, 1] * np.where(level == level, level, 0.0))
        limit = np.maximum(np.maximum(least, QUANTA * quantum), TIMES_USUAL * usual)
        hit = judged & (swing > limit) & ~self._bare
        if hit.any():
            scale = np.where(self._relative & (level > 0.0), level, 1.0)
            swings = np.nan_to_num(swing / scale)
            turned = moved * self._moved
            loads = np.where(turned < 0.0, np.minimum(np.abs(moved), np.abs(self._moved)), 0.0) / scale
            loads[turned != turned] = np.nan  # nothing told is no calm
            for column in np.nonzero(hit)[0].tolist():
                beside, load = self._beside[column], self._load[column]
                hit[column] = (not beside or float(swings[beside].max()) <= SHARED * float(swings[column])) and (
                    load < 0 or not loads[load] > LOAD
                )
                partners = [load for other in self._partners[column] if (load := loads[other]) == load]
                hit[column] &= not partners or min(partners) <= 0.5 * swings[column]
        self._moved = moved
        self.hits = np.where(known, np.minimum(FADES * self.hits + hit, MOST), self.hits)
        calm = known & (self.hits < 1.0)
        self._rounds += known & new
        rate = np.where(new, 1.0 / np.maximum(self._rounds, 1), np.where(quick, 0.03, 0.001))
        size = np.where(new, np.abs(jump), np.minimum(np.abs(jump), 2.5 * usual + 1e-9))
        before = np.where(self._rounds > 1, self.usual, 0.0)
        self.usual = np.where(calm, before + rate * (size - before), self.usual)
        self._jump = np.where(known, jump, np.nan)
        self._error = np.where(error == error, error, np.nan)
        return limit
