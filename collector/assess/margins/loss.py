"""What the loss of one fan, one supply or one feed would do to a sled or shelf, from what it reads now.

Fans side by side in one passage: air goes with the sum of their speeds (the fan laws, ISO 5801: flow goes with speed),
the others are taken to speed up as far as they can, and no air to leak back through the one that stands: where it
does, less is left than is said here. What warms in that air warms the more the less of it there is: dT = P / (m cp).
Supplies share a load; what remains carries all of it or not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from collector.assess.margins.wiring import is_inlet
from collector.model import Kind, Link, Margin, MarginKind, Part, Quantity, Reading, Why

TURNS = 0.02
"""Share of full speed below which a fan counts as standing."""
_DEEPEST = 32


class FanLoss(NamedTuple):
    """What is left without one fan."""

    fan: str
    others: int
    """Fans that turn besides it."""
    speed: float
    """Share of full speed that the others need for the same air; above 1 they can't move it."""
    air: float
    """Share of the air that remains, 0 to 1."""
    left: float | None
    """K that the hottest part has left then, negative when it is over; None where no limit is told."""
    part: str | None
    """That part."""
    over: tuple[str, ...]
    """Parts that would pass their limits, the worst first."""
    blades: tuple[str, ...]
    """Blades that the fan cools, as told."""
    basis: str


class PowerLoss(NamedTuple):
    """What is left without one supply or one feed."""

    lost: str
    kind: Kind
    """Of what is lost: a power supply, or a circuit with the supplies behind it."""
    supplies: int
    """Supplies that go with it."""
    load: float
    """W that the others have to carry."""
    limit: float
    """W that the others can give."""
    left: float
    """``limit`` less ``load``."""
    blades: tuple[str, ...]
    """Blades that these supplies feed, as this controller tells."""
    basis: str


def fan_losses(
    parts: Sequence[Part], links: Iterable[Link], readings: Iterable[Reading], margins: Iterable[Margin]
) -> list[FanLoss]:
    """One for each fan that turns, the worst first; empty where full speeds or speeds are not told."""
    told = list(readings)
    fans = {part.id for part in parts if part.kind is Kind.FAN}
    speeds, basis = _speeds(fans, told)
    turning = {fan: speed for fan, speed in speeds.items() if speed > TURNS}
    if len(speeds) < len(fans) or not turning:
        return []
    inlet = max((each.value for each in told if each.value is not None and is_inlet(each.sensor)), default=None)
    hot = [each for each in margins if each.kind is MarginKind.HEAT and each.unit == "Cel"]
    cooled = _dependents(links, Why.COOLED_BY)
    blades = {part.id for part in parts if part.kind is Kind.BLADE}
    needed = math.fsum(turning.values())
    found = []
    for fan in turning:
        rest = len(turning) - 1
        air = min(1.0, rest / needed)
        after = _after(hot, inlet, air)
        found.append(
            FanLoss(
                fan,
                rest,
                needed / rest if rest else math.inf,
                air,
                after[0][0] if after else None,
                after[0][1] if after else None,
                tuple(part for left, part in after if left < 0.0),
                tuple(sorted(cooled.get(fan, set()) & blades)),
                basis,
            )
        )
    return sorted(found, key=lambda each: (each.left if each.left is not None else math.inf, -each.speed, each.fan))


def _speeds(fans: set[str], readings: Iterable[Reading]) -> tuple[dict[str, float], str]:
    """Shares of full speed: as told, else revolutions against the range that is told for them."""
    ratios: dict[str, float] = {}
    turns: dict[str, float] = {}
    for each in readings:
        sensor = each.sensor
        if sensor.part not in fans or each.value is None:
            continue
        if sensor.quantity is Quantity.SPEED_RATIO:
            ratios.setdefault(sensor.part, each.value / 100.0)
        elif sensor.quantity is Quantity.ROTATION and sensor.range_max is not None and sensor.range_max > 0:
            turns.setdefault(sensor.part, each.value / sensor.range_max)
    if len(ratios) >= len(turns):
        return ratios, "speeds as told"
    return turns, "full speed taken from the range that is told for the revolutions"


def _after(hot: Iterable[Margin], inlet: float | None, air: float) -> list[tuple[float, str]]:
    """(K left, part) of each, the least first, when only this share of the air is left."""
    found = []
    for each in hot:
        if air >= 1.0:
            found.append((each.left, each.part))
        elif air > 0.0 and inlet is not None:
            found.append((each.limit - (inlet + max(0.0, each.value - inlet) / air), each.part))
        elif air <= 0.0:
            found.append((-math.inf, each.part))
    return sorted(found)


def supply_losses(parts: Sequence[Part], links: Iterable[Link], readings: Iterable[Reading]) -> list[PowerLoss]:
    """One for each supply, one for each circuit, the worst first; empty where ratings or loads are not told."""
    links = list(links)
    supplies = {part.id: part.capacity for part in parts if part.kind is Kind.POWER_SUPPLY}
    circuits = [part.id for part in parts if part.kind is Kind.CIRCUIT]
    rated = {supply: watts for supply, watts in supplies.items() if watts is not None and watts > 0.0}
    given = _outputs(set(supplies), readings)
    if len(supplies) < 2 or len(rated) < len(supplies) or len(given) < len(supplies):
        return []
    load = math.fsum(given.values())
    fed = _dependents(links, Why.POWERED_BY)
    blades = {part.id for part in parts if part.kind is Kind.BLADE}
    everything = tuple(sorted({blade for supply in supplies for blade in fed.get(supply, ())} & blades))
    working = {supply: watts for supply, watts in rated.items() if given[supply] > 0.0}
    whole = math.fsum(working.values())
    found = []
    for supply, watts in working.items():
        limit = whole - watts
        basis = f"{len(working) - 1} of {len(working)} supplies left, by their ratings"
        found.append(PowerLoss(supply, Kind.POWER_SUPPLY, 1, load, limit, limit - load, everything, basis))
    for circuit in circuits if len(circuits) > 1 else ():
        behind = sorted(fed.get(circuit, set()) & working.keys())
        if behind:
            gone, basis = math.fsum(working[each] for each in behind), f"{len(behind)} supplies hang on it"
            number = len(behind)
        else:
            number = round(len(working) / len(circuits))
            gone = whole / len(circuits)
            basis = f"which supplies hang on it is not told: taken to be shared evenly by {len(circuits)} feeds"
        limit = whole - gone
        found.append(PowerLoss(circuit, Kind.CIRCUIT, number, load, limit, limit - load, everything, basis))
    return sorted(found, key=lambda each: (each.left, each.lost))


def _outputs(supplies: set[str], readings: Iterable[Reading]) -> dict[str, float]:
    """W that each supply gives; what it takes, where that alone is told."""
    out: dict[str, float] = {}
    taken: dict[str, float] = {}
    for each in readings:
        sensor = each.sensor
        if sensor.part not in supplies or sensor.quantity is not Quantity.POWER or each.value is None:
            continue
        name = sensor.sensor.lower()
        if "average" in name:
            continue
        (out if "output" in name else taken).setdefault(sensor.part, each.value)
    return {**taken, **out}


def _dependents(links: Iterable[Link], why: Why) -> Mapping[str, set[str]]:
    """By part: all that depends on it in this way, over several steps as well."""
    direct: dict[str, set[str]] = {}
    for link in links:
        if link.why is why:
            direct.setdefault(link.on, set()).add(link.part)
    found: dict[str, set[str]] = {}
    for part in direct:
        reached: set[str] = set()
        edge = set(direct[part])
        for _ in range(_DEEPEST):
            edge -= reached
            if not edge:
                break
            reached |= edge
            edge = {each for at in edge for each in direct.get(at, ())}
        found[part] = reached - {part}
    return found
