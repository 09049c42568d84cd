"""Sensors that jump about: readings that go to and fro where nothing else explains it, round after round.

What is judged is a *swing*: a jump and the next one back, counted at the smaller of the two. A jump counts only as far
as the reading itself made it, and only as far as the rest does not explain it. A load that comes or goes is one jump;
noise swings all the time. Between the two the reading may rest for a round or two: noise does at times.

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
"""Part of its usual power by which a load that swings moves what it heats..."""
LOADED = 2.0
"""...and how many times that part of its level a reading may swing with it, at most."""
PAUSE = 3
"""Rounds from a jump to the one back, at most."""
DISTRIBUTION = frozenset({Kind.OUTLET, Kind.CIRCUIT, Kind.POWER_FEED})
"""What carries whatever hangs on it."""
PART_OF_LEAST = 0.25
"""Of the least error worth a word, that a swing must be above."""


class Jitter:
    """The swings of one layout's columns."""

    KEPT = ("_error", "_jump", "_moved", "_rounds", "usual", "hits", "_far", "_since", "_places")

    def __init__(self, kin: Kin, least: Floats) -> None:
        """``least``: by column the least error worth a word, in its unit and as part of its usual value."""
        size = kin.size
        self._least = PART_OF_LEAST * least
        nan = np.full(size, np.nan)
        self._error, self._jump, self.usual, self.hits = nan.copy(), nan.copy(), nan.copy(), np.zeros(size)
        self._moved = nan.copy()
        self._rounds = np.zeros(size, dtype=np.int16)
        self._far, self._since = nan.copy(), np.zeros(size, dtype=np.int16)
        """The last jump beyond the limit, and how many rounds ago."""
        self._places = np.zeros((size, PAUSE + 2), dtype=np.float32)
        """Where each reading was in the last rounds, from anywhere; NaN where it told nothing."""
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

    def _scale(self, level: Floats) -> Floats:
        scale: Floats = np.where(self._relative & (level > 0.0), level, 1.0)
        return scale

    def _by_itself(self, column: int, swings: Floats, others: Floats, loads: Floats, level: Floats) -> bool:
        """Whether nothing swings along with a column; ``others`` and ``loads``: how far each did."""
        swing = float(swings[column])
        beside, load = self._beside[column], self._load[column]
        if beside and not float(others[beside].max()) <= SHARED * swing:
            return False
        if load >= 0 and loads[load] > LOAD:
            explains = LOADED * float(loads[load]) * (1.0 if self._relative[column] else abs(float(level[column])))
            if not swing > explains:
                return False
        partners = [far for other in self._partners[column] if (far := loads[other]) == far]
        return not partners or min(partners) <= 0.5 * swing

    def _late_swings(self, jump: Floats, limit: Floats, may: Bools, level: Floats) -> Bools:
        """Jumps back after a rest, and nothing that ranged as far meanwhile."""
        size = np.abs(jump)
        far = size > limit
        swing = np.where(jump * self._far < 0.0, np.minimum(size, np.abs(self._far)), 0.0)
        found: Bools = may & far & (self._since >= 1) & (self._since < PAUSE) & (swing > limit)
        if found.any():
            scale = self._scale(level)
            ranges = (self._places.max(axis=1) - self._places.min(axis=1)) / scale
            swings = np.nan_to_num(swing / scale)
            ranged = np.nan_to_num(ranges)
            for column in np.nonzero(found)[0].tolist():
                found[column] = self._by_itself(column, swings, ranged, ranges, level)
        self._far = np.where(far, jump, self._far)
        self._since = np.where(far, 0, np.minimum(self._since + 1, 1000)).astype(np.int16)
        return found

    def forget(self) -> None:
        """Too long a time has passed: what was told last is no measure."""
        self._error[:] = self._jump[:] = self._moved[:] = self._far[:] = np.nan

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
            scale = self._scale(level)
            turned = moved * self._moved
            loads = np.where(turned < 0.0, np.minimum(np.abs(moved), np.abs(self._moved)), 0.0) / scale
            loads[turned != turned] = np.nan  # nothing told is no calm
            swings = np.nan_to_num(swing / scale)
            for column in np.nonzero(hit)[0].tolist():
                hit[column] = self._by_itself(column, swings, swings, loads, level)
        self._places[:, :-1] = self._places[:, 1:]
        self._places[:, -1] += np.nan_to_num(moved)
        self._places[moved != moved, -1] = np.nan
        hit |= self._late_swings(jump, limit, known & judged & ~hit & ~self._bare, level)
        self._places[self._places[:, -1] != self._places[:, -1], -1] = 0.0
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
