"""Which of a controller's sensors are alike, whose they are, and what drives them: worked out once a walk."""

from __future__ import annotations

import re
from collections.abc import Container, Sequence

import numpy as np
from numpy.typing import NDArray

from collector.model import Frame, Inventory, Kind, Part, Quantity, Sensor

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_OWNERS = frozenset({Kind.BLADE, Kind.SLED, Kind.ENCLOSURE})
_NUMBER = re.compile(r"\d+")
_AIR_IN = re.compile(r"inlet|intake|ambient", re.IGNORECASE)
_AIR_OUT = re.compile(r"exhaust|outlet", re.IGNORECASE)

Role = tuple[str, ...]


class Kin:
    """The columns of one layout, or of a choice of its quantities; columns are counted within the choice."""

    def __init__(self, inventory: Inventory, quantities: Container[Quantity] | None = None) -> None:
        layout = inventory.layout.sensors
        chosen = [c for c, sensor in enumerate(layout) if quantities is None or sensor.quantity in quantities]
        self.layout_size = len(layout)
        self.columns: Indices = np.asarray(chosen, dtype=np.intp)
        """Where they stand in the layout."""
        self.sensors: tuple[Sensor, ...] = tuple(layout[column] for column in chosen)
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

    def kind(self, part: str) -> Kind | None:
        """What kind of part it is; None for one that isn't told of."""
        found = self.parts.get(part)
        return None if found is None else found.kind

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
        values = np.array(frame.values)[self.columns]
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


class Others:
    """For every column of some groups, the median of the others in its group."""

    def __init__(self, groups: Sequence[Indices], size: int, fewest: int = 2) -> None:
        """``fewest``: others with a value that it takes."""
        self._fewest = fewest
        widest = max((len(columns) for columns in groups), default=0)
        # one place more than there are columns holds NaN and fills up the shorter groups
        self._at = np.full((len(groups), widest), size, dtype=np.intp)
        for row, columns in enumerate(groups):
            self._at[row, : len(columns)] = columns
        self._size = size
        self._rows = np.arange(len(groups))[:, None]
        self._ranks = np.arange(widest)

    def medians(self, values: Floats) -> Floats:
        """By column; NaN for one without a value, in no group, or with too few others that have a value."""
        found = np.full(self._size + 1, np.nan)
        if not self._at.size:
            return found[:-1]
        told = np.append(values, np.nan)[self._at]
        order = np.argsort(told, axis=1)  # NaN last
        ranked = told[self._rows, order]
        count = (told == told).sum(axis=1)[:, None]
        # of the count - 1 others, those at the one or the two middle places
        low, high = (count - 2) // 2, (count - 1) // 2
        below = ranked[self._rows, np.maximum(low + (self._ranks <= low), 0)]
        above = ranked[self._rows, np.minimum(high + (self._ranks <= high), told.shape[1] - 1)]
        medians = np.where((count > self._fewest) & (self._ranks < count), 0.5 * (below + above), np.nan)
        found[self._at[self._rows, order]] = medians
        return found[:-1]


class Near:
    """Columns of one role and one owner, whose siblings have other owners too: drives of one blade, say.

    What warms their owner more than the others, or later, they feel alike.
    """

    def __init__(self, kin: Kin, siblings: Bools) -> None:
        """``siblings``: columns that are compared with siblings."""
        owners: dict[Role, dict[str, list[int]]] = {}
        for column in np.nonzero(siblings)[0].tolist():
            owners.setdefault(kin.role[column], {}).setdefault(kin.owner[column], []).append(column)
        spread = [by_owner for by_owner in owners.values() if len(by_owner) > 1]
        groups = [columns for by_owner in spread for columns in by_owner.values() if len(columns) > 1]
        self._others = Others([np.asarray(columns, dtype=np.intp) for columns in groups], kin.size, 1)

    def shared(self, error: Floats) -> Floats:
        """How much of its error each column shares with those near it: nothing where they err the other way."""
        theirs = self._others.medians(error)
        along = error * theirs > 0.0
        part: Floats = np.where(along, np.copysign(np.minimum(np.abs(error), np.abs(theirs)), error), 0.0)
        return part


class Threes:
    """Groups of just three alike: each of them is compared with the mean of the other two, an ill one among these."""

    def __init__(self, kin: Kin) -> None:
        self._size = kin.size
        threes = [columns for columns in kin.groups if len(columns) == 3]
        self._at = np.asarray(threes, dtype=np.intp).reshape(-1, 3)

    def of_three(self, suspect: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Columns in a group of three with another one that is suspect."""
        found = np.zeros(self._size, dtype=np.bool_)
        marks = suspect[self._at]
        found[self._at] = (marks.sum(axis=1)[:, None] - marks) > 0
        return found

    def less_odd(self, error: Floats) -> NDArray[np.bool_]:
        """Columns in a group of three of which another one is further off."""
        found = np.zeros(self._size, dtype=np.bool_)
        size = np.abs(np.nan_to_num(error[self._at]))
        if size.size:
            found[self._at] = size < size.max(axis=1)[:, None]
        return found
