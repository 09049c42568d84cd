"""Small invented controllers to assess: a sled with a fan, a controller part and two blades with a host each."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable, Mapping, Sequence

from collector.model import (
    Defect,
    Frame,
    Health,
    Inventory,
    Kind,
    Layout,
    Limit,
    Link,
    Outcome,
    Part,
    PowerState,
    Quantity,
    Round,
    Sensor,
    State,
    Status,
    Thresholds,
    Why,
)

NAME = "n1"
NAN = math.nan
RUNNING = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON)
FINE = Status(state=State.ENABLED, health=Health.OK)


def pid(name: str) -> str:
    return f"{NAME}:/redfish/v1/{name}"


def part(name: str, kind: Kind, parent: str | None = None) -> Part:
    return Part(
        id=pid(name),
        controller=NAME,
        uri=f"/redfish/v1/{name}",
        kind=kind,
        name=name,
        parent=None if parent is None else pid(parent),
    )


def sensor(name: str, of: str, kind: Kind = Kind.BLADE, thresholds: Thresholds | None = None) -> Sensor:
    return Sensor(
        sensor=name,
        controller=NAME,
        part=pid(of),
        kind=kind,
        quantity=Quantity.TEMPERATURE,
        unit="Cel",
        source=f"/redfish/v1/{of}/Sensors/{name}",
        thresholds=thresholds or Thresholds(),
    )


HOT = Thresholds(upper_caution=Limit(value=42.0), upper_critical=Limit(value=45.0))
SLOW = Thresholds(lower_caution=Limit(value=1000.0), lower_critical=Limit(value=500.0))

PARTS = (
    part("sled", Kind.SLED),
    part("bmc", Kind.CONTROLLER, "sled"),
    part("fan", Kind.FAN, "sled"),
    part("blade1", Kind.BLADE, "sled"),
    part("host1", Kind.HOST, "blade1"),
    part("blade2", Kind.BLADE, "sled"),
    part("host2", Kind.HOST, "blade2"),
    part("drive", Kind.DRIVE, "blade2"),
)
LINKS = (
    Link(pid("blade1"), pid("fan"), Why.COOLED_BY),
    Link(pid("blade2"), pid("fan"), Why.COOLED_BY),
    Link(pid("blade1"), pid("bmc"), Why.MANAGED_BY),
    Link(pid("blade2"), pid("bmc"), Why.MANAGED_BY),
)
SENSORS = (
    sensor("inlet", "sled", Kind.SLED, HOT),
    sensor("speed", "fan", Kind.FAN, SLOW),
    sensor("cpu1", "blade1", Kind.BLADE, HOT),
    sensor("rail1", "blade1", Kind.BLADE, Thresholds(lower_critical=Limit(value=11.4))),
    sensor("cpu2", "blade2", Kind.BLADE, HOT),
    sensor("drive temperature", "drive", Kind.DRIVE, HOT),
)
GOOD: Mapping[str, float] = {
    "inlet": 25.0,
    "speed": 4000.0,
    "cpu1": 40.0,
    "rail1": 12.0,
    "cpu2": 40.0,
    "drive temperature": 30.0,
}
STATUSES: Mapping[str, Status] = {
    "sled": FINE,
    "bmc": FINE,
    "fan": FINE,
    "blade1": RUNNING,
    "host1": RUNNING,
    "blade2": RUNNING,
    "host2": RUNNING,
    "drive": FINE,
}


def frame(
    time: float, healths: Mapping[str, Health] | None = None, sensors: Sequence[Sensor] = SENSORS, **values: float
) -> Frame:
    """Good readings, but for those named (``_`` for a blank)."""
    told = {name.replace("_", " "): value for name, value in values.items()}
    healths = healths or {}
    return Frame(
        time=time,
        values=array("d", (told.get(each.sensor, GOOD.get(each.sensor, 1.0)) for each in sensors)),
        healths=bytes(healths.get(each.sensor, Health.OK) for each in sensors),
    )


def inventory(
    time: float = 0.0,
    *,
    parts: Iterable[Part] = PARTS,
    links: Iterable[Link] = LINKS,
    sensors: Sequence[Sensor] = SENSORS,
    statuses: Mapping[str, Status] | None = None,
    first: Frame | None = None,
    defects: tuple[Defect, ...] = (),
) -> Inventory:
    """Everything fine, but for the statuses given."""
    told = {**STATUSES, **(statuses or {})}
    return Inventory(
        controller=NAME,
        time=time,
        parts=tuple(parts),
        links=tuple(links),
        layout=Layout(NAME, tuple(sensors)),
        statuses={pid(name): status for name, status in told.items()},
        frame=first or frame(time, sensors=sensors),
        defects=defects,
    )


def good(
    time: float,
    healths: Mapping[str, Health] | None = None,
    statuses: Mapping[str, Status] | None = None,
    **values: float,
) -> Round:
    return Round(
        controller=NAME,
        started=time - 1,
        finished=time,
        outcome=Outcome.OK,
        frame=frame(time, healths, **values),
        statuses={pid(name): status for name, status in (statuses or {}).items()},
    )


def bad(time: float, outcome: Outcome = Outcome.UNREACHABLE, error: str = "connection refused") -> Round:
    return Round(controller=NAME, started=time - 1, finished=time, outcome=outcome, error=error)
