"""Sensor resources and their excerpts, in the newer dialect."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from simulators.service import live
from simulators.service.places import COOLANT, SLED, Own, blade, owner
from simulators.service.query import Body
from simulators.service.tree import Tree, Write, link
from simulators.telemetry import Quantity, SensorSpec


def fan(number: int) -> str:
    """A shared fan."""
    return f"{SLED}/ThermalSubsystem/Fans/Fan{number}"


def supply(number: int) -> str:
    """A shared converter."""
    return f"{SLED}/PowerSubsystem/PowerSupplies/Psu{number}"


def drive(number: int, index: int) -> str:
    """A drive of a blade."""
    return f"{blade(number)}/Drives/Drive{index}"


OWN = Own(fan, supply, drive, COOLANT)


class Sensed(Protocol):
    """A design with its sensors, as its services tell of it."""

    top: str
    by_id: dict[str, SensorSpec]

    @property
    def blades(self) -> tuple[int, ...]:
        """Numbers of the blades."""

    def lamp(self, part: str) -> bool:
        """Whether a part carries a locate lamp."""

    def in_chassis(self, part: str) -> list[SensorSpec]:
        """Sensors that the chassis of a part lists."""


def locate(plan: Sensed, part: str) -> tuple[Body, dict[str, Write]]:
    """The LocationIndicatorActive of a part, and how it is written; nothing where it has no lamp."""
    if not plan.lamp(part):
        return {}, {}
    return {"LocationIndicatorActive": live.locate(part)}, {"LocationIndicatorActive": Write(part)}


class Sensors:
    """Adds every sensor of a plan to a tree, and makes excerpts that point to them."""

    def __init__(
        self, tree: Tree, plan: Sensed, owner_of: Callable[[str], str] = lambda part: owner(part, OWN)
    ) -> None:
        """``owner_of``: the resource that tells of a part."""
        self._tree = tree
        self._plan = plan
        self._owner_of = owner_of
        self._paths: dict[str, str] = {}
        for part in ("", *(f"blade{n}" for n in plan.blades)):
            chassis = self._chassis(part)
            for spec in plan.in_chassis(part):
                self._paths[spec.id] = self._sensor(f"{chassis}/Sensors/{spec.id}", spec)
            name = f"Sensors of blade {part[5:]}" if part else f"Sensors of the {plan.top.rpartition('/')[2].lower()}"
            members = [self._paths[spec.id] for spec in plan.in_chassis(part)]
            tree.collect(f"{chassis}/Sensors", "Sensor", name, members)

    def _chassis(self, part: str) -> str:
        return blade(int(part[5:])) if part else self._plan.top

    def collection(self, part: str) -> str:
        """The Sensors collection of the chassis of a part (empty: the sled's)."""
        return f"{self._chassis(part)}/Sensors"

    def excerpt(self, sensor: str, *, named: bool = False) -> Body:
        """A copy of a reading inside another resource; ``named`` where it stands in an array."""
        told: Body = {"Reading": _reading(self._plan.by_id[sensor]), "DataSourceUri": self._paths[sensor]}
        if named:
            spec = self._plan.by_id[sensor]
            told["DeviceName"] = spec.label
            told["PhysicalContext"] = spec.context
        return told

    def fan_excerpt(self, number: int, *, named: bool = False) -> Body:
        """A copy of a fan's speed; ``named`` where it stands in an array."""
        sensor = f"Fan{number}Tach"
        told = self.excerpt(sensor)
        told["SpeedRPM"] = live.reading(sensor)
        if named:
            told["DeviceName"] = f"Fan {number}"
            told["PhysicalContext"] = "Chassis"
        return told

    def environment(self, of: str, name: str, body: Body) -> str:
        """Add the EnvironmentMetrics of a resource."""
        return self._tree.add(f"{of}/EnvironmentMetrics", "EnvironmentMetrics.v1_5_0.EnvironmentMetrics", name, body)

    def _sensor(self, path: str, spec: SensorSpec) -> str:
        is_fan = spec.quantity is Quantity.ROTATION
        scale = 100.0 / spec.rated if is_fan and spec.rated else 1.0
        body: Body = {
            # DSP0268 asks for fans in percent of their rated speed, with SpeedRPM beside it
            "ReadingType": "Percent" if is_fan else spec.quantity.value,
            "ReadingUnits": "%" if is_fan else spec.unit,
            "Reading": _reading(spec),
            **({"SpeedRPM": live.reading(spec.id)} if is_fan else {}),
            "ReadingTime": live.acquired(),
            "ReadingRangeMin": round(spec.low * scale, 1),
            "ReadingRangeMax": round(spec.high * scale, 1),
            "PhysicalContext": spec.context,
            **({} if spec.output is None else {"PhysicalSubContext": "Output" if spec.output else "Input"}),
            "Implementation": "PhysicalSensor",
            "Status": live.sensor_status(spec.id),
            "RelatedItem": [link(self._owner_of(spec.part.lstrip("/")))],
        }
        limits = thresholds(spec, scale)
        if limits:
            body["Thresholds"] = limits
        return self._tree.add(path, "Sensor.v1_12_0.Sensor", spec.label, body)


def _reading(spec: SensorSpec) -> live.Hole:
    if spec.quantity is Quantity.ROTATION and spec.rated:
        percent = 100.0 / spec.rated
        return live.reading(spec.id, lambda rpm: round(rpm * percent, 1))
    return live.reading(spec.id)


def thresholds(spec: SensorSpec, scale: float) -> Body:
    """The ``Thresholds`` object of a Sensor; empty where it has none."""
    told: Body = {}
    for side, way in (("Upper", "Increasing"), ("Lower", "Decreasing")):
        for level in ("Caution", "Critical", "Fatal"):
            limit: float | None = getattr(spec.thresholds, f"{side}_{level}".lower())
            if limit is not None:
                told[f"{side}{level}"] = {"Reading": round(limit * scale, 2), "Activation": way}
    return told
