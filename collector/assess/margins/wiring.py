"""An inventory compiled to column numbers: which air, heat and power are read where. Once a walk, for every round."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from collector.model import Inventory, Kind, Part, Quantity, Sensor, SettingKind

IN_CONTEXTS = frozenset({"Intake", "AirInlet"})
OUT_CONTEXTS = frozenset({"Exhaust", "AirOutlet"})
NOT_LOAD = frozenset({"CoolingSubsystem", "Fan", "Exhaust", "Intake"})
"""Contexts of power readings that are not a part's own intake of power."""
_POLY_PHASE = re.compile(r"/PolyPhase\w+/(\w+)")
FASTEST = 16_000.0
"""Full speed in {rev}/min where neither a ratio nor a range is told: only a scale, it cancels out."""


class AirPath(NamedTuple):
    """A part through which air is drawn, and what is read of that."""

    part: str
    kind: Kind
    inlet: int
    outlet: int | None
    power: int


class Hot(NamedTuple):
    """A temperature that rises with a path's power: the column, whose it is, and which path's air cools it."""

    column: int
    path: int
    group: str
    """Those of one group are alike: design, kind and place within the part."""


class Wiring(NamedTuple):
    """Columns of one controller's layout."""

    paths: tuple[AirPath, ...]
    hot: tuple[Hot, ...]
    fans: tuple[tuple[int, float], ...]
    """(column, factor to a ratio of full speed) of every fan once."""
    inlets: tuple[tuple[int, str], ...]
    """(column, part) of every inlet temperature."""
    humidity: int | None
    flow: tuple[int, str] | None
    """(column, part) of metered air flow."""
    weak: tuple[str, ...]
    """What can't be said, and why: one sentence each."""


def _named(sensor: Sensor, *words: str) -> bool:
    low = sensor.sensor.lower()
    return any(word in low for word in words)


def is_inlet(sensor: Sensor) -> bool:
    """Whether it is the temperature of the air that enters a part."""
    if sensor.quantity is not Quantity.TEMPERATURE or sensor.context == "LiquidInlet":
        return False
    return sensor.context in IN_CONTEXTS or (sensor.context is None and _named(sensor, "inlet", "intake"))


def is_outlet(sensor: Sensor) -> bool:
    """Whether it is the temperature of the air that leaves a part."""
    if sensor.quantity is not Quantity.TEMPERATURE or sensor.context == "LiquidOutlet":
        return False
    return sensor.context in OUT_CONTEXTS or (sensor.context is None and _named(sensor, "outlet", "exhaust"))


def phase_of(sensor: Sensor) -> str | None:
    """Which phase it is of, as the place says that tells it: ``Line1``, ``Line1ToNeutral``, ``Neutral`` (members of the
    standard's PolyPhase objects, DSP8010); None for one that is of no single phase, and where nothing says so."""
    for place in (sensor.source, *sensor.also_at):
        found = _POLY_PHASE.search(place)
        if found is not None:
            return found[1]
    return None


def _part_of_power(sensor: Sensor) -> bool:
    """Whether it is the power of a phase and not of the whole."""
    whole = any(place.endswith("#/PowerWatts/Reading") for place in (sensor.source, *sensor.also_at))
    return phase_of(sensor) is not None and not whole


def own_power(sensors: Iterable[tuple[int, Sensor]]) -> int | None:
    """The column of what a part takes in, W: the one called input before any other."""
    found = [
        (0 if _named(sensor, "input") else 1, column)
        for column, sensor in sensors
        if sensor.quantity is Quantity.POWER
        and sensor.context not in NOT_LOAD
        and not _named(sensor, "fan", "average")
        and not _part_of_power(sensor)
    ]
    return min(found)[1] if found else None


def output_of(sensors: Iterable[tuple[int, Sensor]]) -> int | None:
    """The column of what a supply gives, W."""
    for column, sensor in sensors:
        if sensor.quantity is Quantity.POWER and _named(sensor, "output") and not _named(sensor, "average"):
            return column
    return None


def wire(inventory: Inventory) -> Wiring:
    """Compile; what is missing leaves its paths out and says so."""
    parts = {part.id: part for part in inventory.parts}
    sensors = inventory.layout.sensors
    by_part: dict[str, list[tuple[int, Sensor]]] = {}
    for column, sensor in enumerate(sensors):
        by_part.setdefault(sensor.part, []).append((column, sensor))
    weak: list[str] = []
    paths: list[AirPath] = []
    for part in inventory.parts:
        if part.kind not in (Kind.SLED, Kind.BLADE, Kind.ENCLOSURE, Kind.MODULE, Kind.POWER_SUPPLY):
            continue
        own = by_part.get(part.id, [])
        power = own_power(own)
        inlet = next((column for column, sensor in own if is_inlet(sensor)), None)
        if inlet is None:
            inlet = _above(part, parts, by_part)
        if power is None or inlet is None:
            if own and part.kind is not Kind.POWER_SUPPLY:
                lacks = "power" if power is None else "inlet air"
                weak.append(f"{part.name}: no {lacks} reading, so nothing is said of its air")
            continue
        outlet = next((column for column, sensor in own if is_outlet(sensor)), None)
        paths.append(AirPath(part.id, part.kind, inlet, outlet, power))
    rated = {
        setting.part: setting.value
        for setting in reversed(inventory.settings)
        if setting.kind is SettingKind.RATED_SPEED and setting.value
    }
    fans = tuple(_fans(inventory.parts, by_part, rated))
    if paths and not fans:
        weak.append("no fan speed is told, so air is judged as if the fans ran evenly")
    index = {path.part: number for number, path in enumerate(paths)}
    hot = tuple(_hot(sensors, parts, index))
    inlets = tuple((column, sensor.part) for column, sensor in enumerate(sensors) if is_inlet(sensor))
    humidity = next((column for column, sensor in enumerate(sensors) if sensor.quantity is Quantity.HUMIDITY), None)
    flow = next(
        ((column, sensor.part) for column, sensor in enumerate(sensors) if sensor.quantity is Quantity.AIR_FLOW), None
    )
    return Wiring(tuple(paths), hot, fans, inlets, humidity, flow, tuple(weak))


def _above(part: Part, parts: dict[str, Part], by_part: dict[str, list[tuple[int, Sensor]]]) -> int | None:
    for above in lineage(part, parts):
        for column, sensor in by_part.get(above.id, []):
            if is_inlet(sensor):
                return column
    return None


def lineage(part: Part, parts: dict[str, Part]) -> list[Part]:
    """What contains a part, nearest first; a loop ends it."""
    found: list[Part] = []
    at = part.parent
    while at is not None and (above := parts.get(at)) is not None and above not in found:
        found.append(above)
        at = above.parent
    return found


def _fans(
    parts: Iterable[Part], by_part: dict[str, list[tuple[int, Sensor]]], rated: Mapping[str, float]
) -> Iterable[tuple[int, float]]:
    for part in parts:
        if part.kind is not Kind.FAN:
            continue
        turning: dict[Quantity, tuple[int, Sensor]] = {}
        for column, sensor in by_part.get(part.id, []):
            turning.setdefault(sensor.quantity, (column, sensor))
        if (told := turning.get(Quantity.SPEED_RATIO)) is not None:
            yield told[0], 0.01
        elif (told := turning.get(Quantity.ROTATION)) is not None:
            most = rated.get(part.id) or told[1].range_max
            yield told[0], 1.0 / (most if most is not None and 1000.0 < most < 1e6 else FASTEST)


def _hot(sensors: tuple[Sensor, ...], parts: dict[str, Part], index: dict[str, int]) -> Iterable[Hot]:
    for column, sensor in enumerate(sensors):
        if sensor.quantity is not Quantity.TEMPERATURE or is_inlet(sensor) or is_outlet(sensor):
            continue
        if sensor.context in ("LiquidInlet", "LiquidOutlet"):
            continue
        part = parts.get(sensor.part)
        if part is None:
            continue
        near = [part, *lineage(part, parts)]
        cooled = next((one.id for one in near if one.id in index), None)
        if cooled is not None:
            yield Hot(column, index[cooled], f"{design(part)}|{sensor.context}|{part.kind}")


def speed_of(fans: Sequence[tuple[int, float]], values: NDArray[np.float64]) -> float:
    """Of the fans that turn, as a ratio; 1 where none is told of, NaN where none tells its own. ``fans``: columns, and
    what makes ratios of them."""
    if not fans:
        return 1.0
    ratios = [values.item(column) * factor for column, factor in fans]
    told = sorted(ratio for ratio in ratios if 0.02 < ratio < 5.0)  # a few: faster than an array of them
    if not told:
        return float("nan")
    middle = told[len(told) // 2]
    turning = [ratio for ratio in told if 0.25 * middle < ratio < 4.0 * middle]
    return math.fsum(turning) / len(turning)


def design(part: Part) -> str:
    """What makes two parts alike: part number, else model, else kind."""
    identity = part.identity
    return identity.part_number or identity.model or part.kind.value
