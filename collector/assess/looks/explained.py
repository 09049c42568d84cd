"""What the rest of a controller's readings explain of each one: a small model a sensor, learnt as rounds come.

A sensor with two siblings or more is compared with their median, an electrical one with the part's other electrical
ones, any other with the inlet air, its owner's power and the fans. Three weights a sensor are found by recursive least
squares in the first :data:`LEARNING` rounds, for which 72 bytes a sensor are lent, and followed slowly after.
"""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collector.assess.looks.kin import Floats, Indices, Kin, Others
from collector.model import Kind, Quantity, Seconds, Sensor

LEARNING = 400
"""Rounds."""
SETTLED = 60
"""Rounds after which an explanation is good enough to judge by."""
LAG = 120.0
"""Seconds over which power is averaged: what a heat sink takes to follow (common practice, no source)."""
_FOLLOW = 0.002
"""Part of an error that the weights take up in a round once they are learnt."""

ALONG = 0.35
"""Part of its usual value by which siblings may be higher or lower than ever before and still explain each other."""

_NOTHING = 1e-6
"""What is told below that is none: no load, no speed, nothing to measure another value by."""
_FURTHEST = 20.0
"""Times its usual size that a cause counts at most."""
_ABSURD = 1e12
"""In any unit: no explanation."""

_ELECTRICAL = frozenset({Quantity.POWER, Quantity.CURRENT})
MODELLED = frozenset(
    {
        Quantity.TEMPERATURE,
        Quantity.HUMIDITY,
        Quantity.POWER,
        Quantity.VOLTAGE,
        Quantity.CURRENT,
        Quantity.FREQUENCY,
        Quantity.ROTATION,
        Quantity.SPEED_RATIO,
        Quantity.PRESSURE,
        Quantity.AIR_FLOW,
        Quantity.LIQUID_FLOW,
        Quantity.HEAT,
    }
)


class Explained:
    """The models of one layout."""

    def __init__(self, kin: Kin) -> None:
        self.kin, size = kin, kin.size
        self.modelled = np.asarray(
            [s.quantity in MODELLED and "average" not in s.sensor.lower() for s in kin.sensors], dtype=np.bool_
        )
        self.weights: Floats = np.zeros((size, 3))
        self.rounds = 0
        self.seen = np.zeros(size, dtype=np.int32)
        self.own_load: Floats = np.full(size, np.nan)
        """Of each column's owner, as part of its usual one, less 1; NaN where none is told."""
        self.unlike: Floats = np.zeros(size)
        """By how much the load of each column's owner is off the siblings', as part of its usual one; 0 where there are
        none."""
        self._shared: Floats | None = self._prior()
        self._smooth: dict[str, float] = {}
        self._size: dict[str, float] = {}
        self._last: Seconds | None = None
        grouped = {int(column) for columns in kin.groups for column in columns}
        electrical = [c for c, sensor in enumerate(kin.sensors) if sensor.quantity in _ELECTRICAL]
        self._whole, self._summands = self._parts_of_whole()
        self._partners = [
            (c, *self._partner(c))
            for c in electrical
            if (c not in grouped or self._is_owner(c)) and not self._is_share(c)
        ]
        partnered = {column for column, *_ in self._partners}
        self.summed = np.zeros(size, dtype=np.bool_)
        self.summed[[column for column, kind, *_ in self._partners if kind == "sum"]] = True
        self._groups = [columns for columns in kin.groups if not partnered.intersection(columns.tolist())]
        self.siblings = np.zeros(size, dtype=np.bool_)
        for columns in self._groups:
            self.siblings[columns] = True
        self.alone = self.modelled & ~self.siblings
        for column, *_ in self._partners:
            self.alone[column] = False
        self._warm = self.alone & _are(kin.sensors, Quantity.TEMPERATURE)
        self._damp = self.alone & _are(kin.sensors, Quantity.HUMIDITY)
        shares = np.asarray(
            [self._is_share(column) and _of_fans(sensor) for column, sensor in enumerate(kin.sensors)], dtype=np.bool_
        )
        flows = _are(kin.sensors, Quantity.AIR_FLOW)
        self._by_fans = self.alone & (shares | flows) & bool(len(kin.fans))
        """What goes by the fan laws: air with the speed, the fans' power with its cube."""
        self._power = np.where(flows, 1.0, 3.0)
        self.middle: Floats = np.full(size, np.nan)
        self._owners = sorted(set(kin.owner))
        at = {owner: index for index, owner in enumerate(self._owners)}
        self._owner_at = np.asarray([at[owner] for owner in kin.owner], dtype=np.intp)
        self._has_power = np.asarray([owner in kin.power_of for owner in self._owners], dtype=np.bool_)
        self._power_columns = np.asarray([kin.power_of.get(owner, 0) for owner in self._owners], dtype=np.intp)
        self._load: Floats = np.full(len(self._owners), np.nan)
        self._usual: Floats = np.full(len(self._owners), np.nan)
        self.level: Floats = np.full(size, np.nan)
        self._least, self._most = np.full((size, 2), np.inf, np.float32), np.full((size, 2), -np.inf, np.float32)
        """Of each regressor, what has been learnt from: beyond it nothing is judged."""
        loaded = self._has_power[self._owner_at]
        self._heated = self.modelled & loaded & _are(kin.sensors, Quantity.TEMPERATURE)
        self._heated[kin.inlets] = False
        self._siblings = Others(self._groups, size)
        blades = [i for i, owner in enumerate(self._owners) if self._has_power[i] and kin.kind(owner) is Kind.BLADE]
        self._loads = Others([np.asarray(blades, dtype=np.intp)], len(self._owners), 1)
        """The loads of a sled's blades against one another."""

    def take_over(self, before: Explained, moved: dict[int, int]) -> None:
        """Carry over what was learnt; ``moved``: columns here by columns there."""
        if not moved:
            return
        old, new = (np.asarray(list(side), dtype=np.intp) for side in (moved.keys(), moved.values()))
        same = (before.siblings[old] == self.siblings[new]) & (before.alone[old] == self.alone[new])
        old, new = old[same], new[same]
        self.weights[new] = before.weights[old]
        self.seen[new] = before.seen[old]
        self.level[new] = before.level[old]
        self._least[new], self._most[new] = before._least[old], before._most[old]
        if self._shared is not None:
            self._shared[new] = np.eye(3) * 0.01 if before._shared is None else before._shared[old]
        if len(new) == self.kin.size:
            self.rounds = before.rounds
            if before._shared is None:
                self._shared = None
        loads = dict(zip(before._owners, zip(before._load, before._usual, strict=True), strict=True))
        for index, owner in enumerate(self._owners):
            if owner in loads:
                self._load[index], self._usual[index] = loads[owner]
        self._last = before._last

    def learnt(self) -> dict[str, NDArray[Any]]:
        """By column, what outlasts a restart."""
        return {
            "weights": self.weights,
            "seen": self.seen,
            "level": self.level,
            "kind": 2.0 * self.siblings + self.alone,
            "least": self._least,
            "most": self._most,
        }

    def usual_loads(self) -> dict[str, tuple[float, ...]]:
        """By owner, the power that its load is a part of."""
        known = zip(self._owners, self._usual.tolist(), strict=True)
        return {owner: (usual,) for owner, usual in known if usual == usual}

    def recall(self, columns: Indices, told: Mapping[str, Floats], loads: Mapping[str, tuple[float, ...]]) -> Indices:
        """Take up what some columns knew before a restart; which of them are explained as they were then."""
        same = (2.0 * self.siblings + self.alone)[columns] == told["kind"]
        columns, told = columns[same], {name: column[same] for name, column in told.items()}
        self.weights[columns], self.seen[columns] = told["weights"], told["seen"]
        self.level[columns] = told["level"]
        self._least[columns], self._most[columns] = told["least"], told["most"]
        if self._shared is not None:
            self._shared[columns] = np.eye(3) * 0.01
        for index, owner in enumerate(self._owners):
            if (usual := loads.get(owner)) and usual[0] > _NOTHING:
                self._usual[index] = usual[0]
        return np.nonzero(same)[0]

    def explain(self, values: Floats, now: Seconds) -> tuple[Floats, Floats]:
        """(what the rest explains of each column or NaN, the regressors)."""
        self._follow_load(values, now)
        loads = self._load / self._usual - 1.0
        load = loads[self._owner_at]
        self.own_load = load.copy()
        load[load != load] = 0.0
        base, regressors = np.zeros(self.kin.size), np.ones((self.kin.size, 3))
        self.middle = self._siblings.medians(values)
        level = self.level
        fresh = (level != level) & (values == values)
        level[fresh] = values[fresh]
        if fresh.any():
            # before anything is learnt, a part's rise above the air is as its load is
            rises = np.maximum(level - self._inlet(values), 0.0)
            heated = fresh & self._heated & (self.seen == 0) & (rises == rises)
            self.weights[heated, 1] = 0.7 * rises[heated]
            heated &= self._warm
            self.weights[heated, 2] = 0.7 * rises[heated]
        size = np.maximum(np.abs(level), 1e-9)
        middle = self.middle
        base[self.siblings] = middle[self.siblings]
        # in watts, and each by its own measure: what was usual when it was first seen may have been a burst
        unlike = ((self._load - self._loads.medians(self._load)) / self._usual)[self._owner_at]
        self.unlike = np.where(self.siblings & (unlike == unlike), unlike, 0.0)
        regressors[:, 1] = np.where(self.siblings & (unlike == unlike), unlike, load)
        blowing = self._blowing(values)
        regressors[:, 2] = np.where(self.siblings, middle / size - 1.0, blowing)
        if self._warm.any():
            base[self._warm] = self._inlet(values)
            # heat goes with the air, which goes with the speed: twice the speed, half the rise
            regressors[self._warm, 2] = 1.0 / max(1.0 + blowing, 0.05) - 1.0
        if self._by_fans.any():
            base[self._by_fans] = (level * max(1.0 + blowing, 0.0) ** self._power)[self._by_fans]
        if self._damp.any():
            regressors[self._damp, 1] = (self._inlet(values) - 25.0) / 10.0
        for column, kind, first, second in self._partners:
            if kind == "product":
                base[column] = values[first] * values[second]
            elif kind == "ratio":
                base[column] = values[first] / values[second] if values[second] > _NOTHING else np.nan
            elif kind == "sum":
                usual = float(level[self._summands].sum())
                ratio = float(values[self._summands].sum()) / usual if usual > _NOTHING else np.nan
                base[column] = level[column] * ratio
                regressors[column, 1] = ratio - 1.0
            elif kind == "like":
                ratio = values[first] / max(abs(float(level[first])), 1e-9)
                base[column] = level[column] * ratio
                regressors[column, 1] = ratio - 1.0
            else:
                base[column] = np.nan
            regressors[column, 2] = 0.0
            if kind in ("product", "ratio"):
                regressors[column, 1] = base[column] / size[column] - 1.0
        regressors[regressors != regressors] = 0.0
        regressors = np.minimum(np.maximum(regressors, -_FURTHEST), _FURTHEST)
        base[~self.modelled] = np.nan
        explained = base + np.einsum("ij,ij->i", self.weights, regressors)
        explained[~(np.abs(explained) < _ABSURD)] = np.nan
        return explained, regressors

    def within(self, regressors: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which columns' regressors are within what has been learnt from, a little more besides."""
        told, least, most = regressors[:, 1:], self._least, self._most
        room = 0.1 + 0.1 * np.maximum(most - least, 0.0)
        # what goes up and down with its siblings is near them further out too
        room[self.siblings, 1] = np.maximum(room[self.siblings, 1], ALONG)
        inside: np.ndarray[tuple[int], np.dtype[np.bool_]] = ((told >= least - room) & (told <= most + room)).all(
            axis=1
        )
        return inside

    def _stretch(self, regressors: Floats, may: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> None:
        told, rows = regressors[may, 1:], may
        for bound, pick in ((self._least, np.minimum), (self._most, np.maximum)):
            held = bound[rows]
            first = ~np.isfinite(held)
            near = np.where(first, told, held)
            # a new extreme counts only after it has lasted: learning takes more than one round
            bound[rows] = near + np.where(self.seen[rows, None] < SETTLED, 0.1, 0.02) * (pick(near, told) - near)

    def learn(
        self,
        errors: Floats,
        regressors: Floats,
        may: np.ndarray[tuple[int], np.dtype[np.bool_]],
        fits: np.ndarray[tuple[int], np.dtype[np.bool_]],
    ) -> None:
        """Take up errors (already clipped) where ``may`` says so; ``fits``: where what is learnt holds by now.

        Only there does what has been learnt from reach further: what is far off is being learnt, not known.
        """
        error = np.where(may & (errors == errors), errors, 0.0)
        self.seen += may & (errors == errors)
        self._stretch(regressors, may & (fits | (self.seen < SETTLED)))
        if self._shared is not None:
            gain = np.einsum("ijk,ik->ij", self._shared, regressors)
            gain /= (1.0 + np.einsum("ij,ij->i", regressors, gain))[:, None]
            gain[~may] = 0.0
            self.weights += gain * error[:, None]
            taken = np.einsum("ij,ik,ikl->ijl", gain, regressors, self._shared)
            self._shared = self._shared - 0.5 * (taken + taken.transpose(0, 2, 1))
            self.rounds += 1
            if self.rounds >= LEARNING:
                self._shared = None
        else:
            size = np.einsum("ij,ij->i", regressors, regressors)
            self.weights += (_FOLLOW * error / size)[:, None] * regressors

    def _prior(self) -> Floats:
        prior = np.zeros((self.kin.size, 3, 3))
        prior[:, (0, 1, 2), (0, 1, 2)] = (100.0, 10.0, 10.0)
        return prior

    def _is_share(self, column: int) -> bool:
        """Whether it is a power of its owner but not the whole of it: the fans', say, which goes as they blow."""
        kin = self.kin
        whole = kin.power_of.get(kin.owner[column])
        return (
            self._is_owner(column)
            and kin.sensors[column].quantity is Quantity.POWER
            and whole is not None
            and whole != column
        )

    def _parts_of_whole(self) -> tuple[int, NDArray[np.intp]]:
        """The column of what a whole sled takes, or -1; and those of what its supplies take, or else its blades."""
        kin = self.kin
        bases = [
            (owner, column) for owner, column in kin.power_of.items() if kin.kind(owner) in (Kind.SLED, Kind.ENCLOSURE)
        ]
        if len(bases) != 1:
            return -1, np.zeros(0, dtype=np.intp)
        supplies: dict[str, list[int]] = {}
        for column, sensor in enumerate(kin.sensors):
            if sensor.kind is Kind.POWER_SUPPLY and sensor.quantity is Quantity.POWER:
                supplies.setdefault(sensor.part, []).append(column)
        each = {len(columns) for columns in supplies.values()}
        # where a supply tells several powers, which of them is the input's is not known
        if each == {1}:
            found = [columns[0] for columns in supplies.values()]
        else:
            found = [column for owner, column in kin.power_of.items() if kin.kind(owner) is Kind.BLADE]
        return (bases[0][1] if found else -1), np.asarray(found, dtype=np.intp)

    def _is_owner(self, column: int) -> bool:
        return self.kin.sensors[column].part == self.kin.owner[column]

    def _partner(self, column: int) -> tuple[str, int, int]:
        kin, quantity = self.kin, self.kin.sensors[column].quantity
        powers, currents = kin.beside(column, Quantity.POWER), kin.beside(column, Quantity.CURRENT)
        volts = kin.beside(column, Quantity.VOLTAGE)
        if kin.sensors[column].kind is Kind.FAN or not self._is_owner(column):
            for other in (*powers, *currents) if quantity is Quantity.POWER else powers:
                return "like", other, other
        elif quantity is Quantity.POWER and len(currents) == len(volts) == 1:
            return ("product", currents[0], volts[0]) if kin.power_of.get(kin.owner[column]) == column else ("", 0, 0)
        elif column == self._whole:
            return "sum", column, column
        elif quantity is Quantity.CURRENT and len(volts) == 1 and kin.owner[column] in kin.power_of:
            return "ratio", kin.power_of[kin.owner[column]], volts[0]
        return "", 0, 0

    def _follow_load(self, values: Floats, now: Seconds) -> None:
        told = np.where(self._has_power, values[self._power_columns], np.nan)
        seconds = 0.0 if self._last is None else max(0.0, now - self._last)
        self._last = now
        share = 1.0 - np.exp(-min(seconds, 36_000.0) / LAG)
        new = (self._load != self._load) & (told == told)
        self._load[new] = told[new]
        unknown = (self._usual != self._usual) & (told > _NOTHING)
        self._usual[unknown] = told[unknown]
        known = told == told
        self._load[known] += share * (told - self._load)[known]

    def _inlet(self, values: Floats) -> float:
        told = values[self.kin.inlets]
        told = told[told == told]
        return median(told.tolist()) if len(told) else float("nan")

    def _blowing(self, values: Floats) -> float:
        told = values[self.kin.fans]
        told = told[told > _NOTHING]
        if not len(told):
            return 0.0
        first = self.level[self.kin.fans]
        first = first[first > _NOTHING]
        return median(told.tolist()) / median(first.tolist()) - 1.0 if len(first) else 0.0


def _of_fans(sensor: Sensor) -> bool:
    return sensor.context in ("Fan", "CoolingSubsystem") or "fan" in sensor.sensor.lower()


def _are(sensors: tuple[Sensor, ...], quantity: Quantity) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.asarray([sensor.quantity is quantity for sensor in sensors], dtype=np.bool_)
