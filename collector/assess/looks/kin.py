"""Which of a controller's sensors are alike, whose they are, and what drives them: worked out once a walk."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from collector.model import Frame, Inventory, Kind, Part, Quantity, Sensor

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_OWNERS = frozenset({Kind.BLADE, Kind.SLED, Kind.ENCLOSURE})
_NUMBER = re.compile(r"\d+")
_AIR_IN = re.compile(r"inlet|intake|ambient", re.IGNORECASE)
_AIR_OUT = re.compile(r"exhaust|outlet", re.IGNORECASE)

Role = tuple[str, ...]


class Kin:
    """The columns of one layout."""

    def __init__(self, inventory: Inventory) -> None:
        self.sensors: tuple[Sensor, ...] = inventory.layout.sensors
        self.parts = {part.id: part for part in inventory.parts}
        self.size = len(self.sensors)
        self.owner = [self._owner(sensor.part) for sensor in self.sensors]
        """By column: the blade, or else the sled or enclosure, that the sensor is in."""
        self.role: list[Role] = [self._role(column) for column in range(self.size)]
        seen: dict[tuple[str, Role], int] = {}
        self.place: list[int] = []
        """By column: the how manieth of its role in its owner."""
        for owner, role in zip(self.owner, self.role, strict=True):
            self.place.append(seen.setdefault((owner, role), 0))
            seen[owner, role] += 1
        by_role: dict[Role, list[int]] = {}
        for column, role in enumerate(self.role):
            by_role.setdefault(role, []).append(column)
        self.groups = [np.asarray(columns, dtype=np.intp) for columns in by_role.values() if len(columns) >= 3]
        """Columns of one role, where there are three or more."""
        self.inlets = self._columns(air_in)
        self.exhausts = self._columns(air_out)
        self.fans = self._columns(_turns(Quantity.SPEED_RATIO))
        if not len(self.fans):
            self.fans = self._columns(_turns(Quantity.ROTATION))
        self.power_of = self._powers(inventory.frame)
        """By owner: the column of its power."""

    def name(self, part: str) -> str:
        """What a part is called."""
        found = self.parts.get(part)
        return part if found is None else found.name

    def beside(self, column: int, quantity: Quantity) -> list[int]:
        """The columns of a quantity at the same part, itself not among them."""
        part = self.sensors[column].part
        return [
            other
            for other, sensor in enumerate(self.sensors)
            if sensor.part == part and sensor.quantity is quantity and other != column
        ]

    def _columns(self, wanted: object) -> Indices:
        assert callable(wanted)
        return np.asarray([c for c, sensor in enumerate(self.sensors) if wanted(sensor)], dtype=np.intp)

    def _owner(self, part: str) -> str:
        current, steps = self.parts.get(part), 0
        outermost = part
        while current is not None and steps < 32:
            outermost = current.id
            if current.kind in _OWNERS:
                return current.id
            current, steps = (None if current.parent is None else self.parts.get(current.parent)), steps + 1
        return outermost

    def _role(self, column: int) -> Role:
        sensor = self.sensors[column]
        if air_in(sensor):
            return ("air in",)
        if air_out(sensor):
            return ("air out",)
        design = _design(self.parts.get(self.owner[column]))
        own = _design(self.parts.get(sensor.part)) if sensor.part != self.owner[column] else ""
        words = (sensor.kind.value, sensor.quantity.value, sensor.context or "", _NUMBER.sub("#", sensor.sensor))
        return (design, own, *words)

    def _powers(self, frame: Frame) -> dict[str, int]:
        found: dict[str, int] = {}
        values: Sequence[float] = frame.values
        for column, sensor in enumerate(self.sensors):
            if sensor.quantity is not Quantity.POWER or sensor.part != self.owner[column]:
                continue
            best = found.get(sensor.part)
            # the largest is the whole: a part's fans and rails are among its other powers
            if best is None or values[column] > values[best] or values[best] != values[best]:
                found[sensor.part] = column
        return found


def air_in(sensor: Sensor) -> bool:
    """Whether it tells the temperature of air that comes in."""
    if sensor.quantity is not Quantity.TEMPERATURE:
        return False
    return sensor.context in ("Intake", "Room") or (sensor.context is None and bool(_AIR_IN.search(sensor.sensor)))


def air_out(sensor: Sensor) -> bool:
    """Whether it tells the temperature of air that goes out."""
    if sensor.quantity is not Quantity.TEMPERATURE:
        return False
    return sensor.context == "Exhaust" or (sensor.context is None and bool(_AIR_OUT.search(sensor.sensor)))


def _turns(quantity: Quantity) -> object:
    return lambda sensor: sensor.kind is Kind.FAN and sensor.quantity is quantity


def _design(part: Part | None) -> str:
    if part is None:
        return ""
    return part.identity.part_number or part.identity.model or ""


def others_median(values: Floats, groups: Sequence[Indices], out: Floats) -> None:
    """For every column in a group, the median of the others of it that have a value; NaN for fewer than two."""
    for columns in groups:
        told = values[columns]
        order = np.argsort(told)  # NaN last
        count = int((told == told).sum())
        if count < 3:
            out[columns] = np.nan
            continue
        ranked = told[order]
        rank = np.arange(count)
        left = count - 1
        if left % 2:
            middle = left // 2
            medians = np.where(rank <= middle, ranked[middle + 1], ranked[middle])
        else:
            low = left // 2 - 1
            first = np.where(rank <= low, ranked[low + 1], ranked[low])
            second = np.where(rank <= low + 1, ranked[low + 2], ranked[low + 1])
            medians = 0.5 * (first + second)
        out[columns] = np.nan
        out[columns[order[:count]]] = medians
