"""An invented fleet as model records, with trouble in it, and a store filled with it. All makes and names are invented.

Two designs of sleds: ``quad`` with four single-height blades beside and above each other, ``duo`` with two
double-height blades with front drives. What is wrong, by controller:

* ``r01-s2``: fan 2 stands still: Critical, its four blades at risk through it;
* ``r02-s1``: a front drive predicts its failure: Warning; the sled is being located: amber blinks;
* ``r02-s2``: does not answer any more;
* ``r03-s1``: blade 2 has lost its power: Critical; blade 3 runs hot: Warning; slot 4 is empty;
* ``r03-s4``: not asked yet;
* ``loose``: tells no place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import msgspec

from collector.model import (
    Condition,
    Defect,
    DefectKind,
    Event,
    Evidence,
    Figure,
    Health,
    Identity,
    Kind,
    Lamps,
    LampState,
    LedState,
    Limit,
    Link,
    Location,
    Margin,
    Misfit,
    Outcome,
    Part,
    PowerState,
    Quantity,
    Sensor,
    Size,
    State,
    Status,
    Stay,
    Subject,
    Thresholds,
    Trouble,
    Why,
    WorkOrder,
)
from tests.dashboard.explained import explain_drive, explain_fan

ON = Lamps(LampState.ON, LampState.OFF)
FAULT = Lamps(LampState.ON, LampState.ON)
DARK = Lamps(LampState.OFF, LampState.ON)
LOCATE = Lamps(LampState.ON, LampState.BLINK)
SEIZED = "r01-s2"
FAN = "r01-s2:/redfish/v1/Chassis/Sled/ThermalSubsystem/Fans/2"
DRIVE = "r02-s1:/redfish/v1/Chassis/Blade1/Drives/2"
FAN_ORDER = f"trouble-fan|{FAN}"
DRIVE_ORDER = f"trouble-drive|{DRIVE}"
LOCATED = "r02-s1"
GONE = "r02-s2"
UNPOWERED = "r03-s1:/redfish/v1/Chassis/Blade2"
HOT = "r03-s1:/redfish/v1/Chassis/Blade3"


@dataclass
class Registered:
    """A controller as the fleet file has it."""

    name: str
    url: str
    location: Location = Location()
    insecure: bool = False


@dataclass
class Invented:
    """One controller with all that it tells."""

    registered: Registered
    parts: list[Part] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    sensors: list[Sensor] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)
    statuses: dict[str, Status] = field(default_factory=dict)
    lamps: dict[str, Lamps] = field(default_factory=dict)
    own: dict[str, Health] = field(default_factory=dict)
    conditions: list[Condition] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    defects: list[Defect] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)
    orders: list[WorkOrder] = field(default_factory=list)
    margins: list[Margin] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)
    misfits: list[Misfit] = field(default_factory=list)
    outcome: Outcome | None = Outcome.OK
    error: str = ""
    silent_for: float = 0.0

    @property
    def name(self) -> str:
        return self.registered.name

    def part(self, tail: str) -> str:
        return f"{self.name}:/redfish/v1/{tail}"

    def add(self, tail: str, kind: Kind, name: str, parent: str | None, **more: object) -> str:
        part = Part(
            id=self.part(tail),
            controller=self.name,
            uri=f"/redfish/v1/{tail}",
            kind=kind,
            name=name,
            parent=parent,
            **more,  # type: ignore[arg-type]
        )
        self.parts.append(part)
        self.own[part.id] = Health.OK
        self.statuses[part.id] = Status(state=State.ENABLED, health=Health.OK)
        return part.id

    def measure(
        self, part: str, sensor: str, quantity: Quantity, unit: str, level: float, thresholds: Thresholds
    ) -> None:
        kind = next(each.kind for each in self.parts if each.id == part)
        self.sensors.append(
            Sensor(
                sensor=sensor,
                controller=self.name,
                part=part,
                kind=kind,
                quantity=quantity,
                unit=unit,
                source=f"{part.partition(':')[2]}/Sensors/{len(self.sensors)}",
                thresholds=thresholds,
                range_min=0.0,
                range_max=None,
            )
        )
        self.levels.append(level)


_QUAD, _DUO = (208.0, 40.0), (208.0, 82.0)
_WARM = Thresholds(upper_caution=Limit(value=80, hysteresis=2), upper_critical=Limit(value=92, hysteresis=2))
_AIR = Thresholds(upper_caution=Limit(value=35), upper_critical=Limit(value=40), lower_caution=Limit(value=5))
_SPIN = Thresholds(lower_caution=Limit(value=2000), lower_critical=Limit(value=1000))
_BUS = Thresholds(lower_critical=Limit(value=40), upper_critical=Limit(value=60))


def sled(name: str, location: Location, design: str = "quad", label: str = "Sled", **registered: object) -> Invented:
    """A sled with everything in order."""
    made = Invented(Registered(name, f"https://{name}.invalid", **registered))  # type: ignore[arg-type]
    blades, heights = (4, _QUAD) if design == "quad" else (2, _DUO)
    placed = msgspec.structs.replace(location, sled=label)
    top = made.add(
        "Chassis/Sled",
        Kind.SLED,
        f"{label} chassis",
        None,
        location=placed,
        size=Size(width=436.0, height=86.0, depth=820.0),
        identity=Identity(
            manufacturer="Mirrendal", model=f"Loft {design}", part_number="MD-70420", serial=f"SN{name.upper()}"
        ),
    )
    controller = made.add(
        "Managers/BMC", Kind.CONTROLLER, "Sled controller", top, identity=Identity(model="Warden 3", firmware="3.8.14")
    )
    fans = [
        made.add(f"Chassis/Sled/ThermalSubsystem/Fans/{number}", Kind.FAN, f"Fan {number}", top)
        for number in range(1, 5)
    ]
    supplies = [
        made.add(f"Chassis/Sled/PowerSubsystem/PowerSupplies/{number}", Kind.POWER_SUPPLY, f"Converter {number}", top)
        for number in (1, 2)
    ]
    adapter = made.add("Chassis/Sled/NetworkAdapters/1", Kind.NETWORK_ADAPTER, "Network adapter", top)
    made.measure(top, "inlet air", Quantity.TEMPERATURE, "Cel", 24.5, _AIR)
    made.measure(top, "power", Quantity.POWER, "W", 880.0, Thresholds())
    for number, fan in enumerate(fans):
        made.measure(fan, "speed", Quantity.ROTATION, "{rev}/min", 7200.0 + 40 * number, _SPIN)
    for supply in supplies:
        made.measure(supply, "input voltage", Quantity.VOLTAGE, "V", 48.3, _BUS)
    for number in range(1, blades + 1):
        blade = made.add(
            f"Chassis/Blade{number}",
            Kind.BLADE,
            f"Blade board {number}",
            top,
            location=msgspec.structs.replace(placed, slot=f"Blade {number}", slot_index=number - 1),
            size=Size(width=heights[0], height=heights[1], depth=560.0),
            identity=Identity(
                manufacturer="Mirrendal",
                model="Loft B1",
                part_number="MD-71140",
                serial=f"B{number}{name.upper()}",
                firmware="2.4.0",
            ),
        )
        host = made.add(f"Systems/{number}", Kind.HOST, f"Host {number}", blade)
        made.statuses[host] = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON)
        made.statuses[blade] = Status(state=State.ENABLED, health=Health.OK, locate=False, led=LedState.OFF)
        made.lamps[blade] = ON
        cpu = made.add(f"Systems/{number}/Processors/1", Kind.PROCESSOR, "CPU 1", host)
        made.measure(cpu, "temperature", Quantity.TEMPERATURE, "Cel", 61.0 + number, _WARM)
        made.measure(blade, "power", Quantity.POWER, "W", 190.0 + 8 * number, Thresholds())
        if design == "duo":
            for bay in range(4):
                made.add(
                    f"Chassis/Blade{number}/Drives/{bay}",
                    Kind.DRIVE,
                    f"Drive {bay}",
                    blade,
                    location=msgspec.structs.replace(placed, slot=f"Drive {bay}", slot_index=bay),
                    identity=Identity(manufacturer="Teggel", model="TG-U3840", serial=f"D{number}{bay}{name.upper()}"),
                )
        made.links += [Link(blade, fan, Why.COOLED_BY) for fan in fans]
        made.links += [Link(blade, supply, Why.POWERED_BY) for supply in supplies]
        made.links += [Link(host, adapter, Why.CONNECTED_THROUGH), Link(blade, controller, Why.MANAGED_BY)]
    made.lamps[top] = ON
    made.statuses[top] = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON, locate=False)
    return made


def condition(of: Invented, part: str | None, severity: Health, text: str, opened: float, **more: object) -> Condition:
    """An open condition with one piece of evidence."""
    made: dict[str, object] = {
        "id": f"{of.name}/{part}/{more.get('subject', Subject.STATUS)}",
        "controller": of.name,
        "part": part,
        "sensor": None,
        "subject": Subject.STATUS,
        "severity": severity,
        "text": text,
        "opened": opened,
        "changed": opened,
        "evidence": (Evidence(time=opened, text="told so in its status", source=f"{part}#/Status/Health"),),
        **more,
    }
    return Condition(**made)  # type: ignore[arg-type]


def fleet(now: float) -> list[Invented]:
    """The invented fleet with its trouble, as it stands at ``now``."""

    def at(row: str, rack: str, offset: float) -> Location:
        return Location(site="Quellmark", row=row, rack=rack, offset=offset, offset_unit="EIA_310", enclosure="E1")

    made = {
        "r01-s1": sled("r01-s1", at("A", "R01", 2), label="Sled 1"),
        "r01-s2": sled("r01-s2", at("A", "R01", 4), label="Sled 2"),
        "r01-s3": sled("r01-s3", at("A", "R01", 6), label="Sled 3"),
        "r01-s4": sled("r01-s4", at("A", "R01", 8), label="Sled 4"),
        "r02-s1": sled("r02-s1", at("A", "R02", 2), "duo", "Sled 1"),
        "r02-s2": sled("r02-s2", at("A", "R02", 4), "duo", "Sled 2"),
        "r02-s3": sled("r02-s3", at("A", "R02", 8), "duo", "Sled 3", insecure=True),
        "r03-s1": sled("r03-s1", at("B", "R03", 0), label="Sled 1"),
        "r03-s2": sled("r03-s2", at("B", "R03", 2), label="Sled 2"),
        "r03-s3": sled("r03-s3", at("B", "R03", 4), "duo", "Sled 3"),
        "r03-s4": Invented(Registered("r03-s4", "https://r03-s4.invalid", at("B", "R03", 6)), outcome=None),
        "loose": sled("loose", Location(), label="Sled 9"),
    }
    _seize_fan(made["r01-s2"], now)
    _predict_drive(made["r02-s1"], now)
    gone = made["r02-s2"]
    gone.outcome, gone.silent_for = Outcome.TIMED_OUT, 400.0
    gone.error = "/redfish/v1/Chassis: no answer within 24 s; look whether the controller hangs"
    gone.conditions.append(
        condition(gone, None, Health.CRITICAL, "does not answer: timed out", now - 400.0, subject=Subject.CONTROLLER)
    )
    _break_blades(made["r03-s1"], now)
    made["r02-s3"].defects.append(
        Defect(
            controller="r02-s3",
            resource="/redfish/v1/Chassis/Sled/Sensors/4",
            property="/ReadingUnits",
            kind=DefectKind.WRONG_UNIT,
            detail="a temperature in 'kW'",
        )
    )
    explain_fan(made["r01-s2"], FAN, now)
    explain_drive(made["r02-s1"], DRIVE, now)
    return list(made.values())


def _seize_fan(of: Invented, now: float) -> None:
    of.own[FAN] = Health.CRITICAL
    of.statuses[FAN] = Status(state=State.ENABLED, health=Health.CRITICAL)
    position = next(i for i, sensor in enumerate(of.sensors) if sensor.part == FAN)
    of.levels[position] = 0.0
    opened = now - 260.0
    of.conditions.append(
        condition(
            of,
            FAN,
            Health.CRITICAL,
            "speed 0 rpm is below lower critical 1000 rpm",
            opened,
            sensor="speed",
            subject=Subject.THRESHOLD,
            evidence=(
                Evidence(
                    time=opened,
                    text="speed crossed its lower critical threshold",
                    source=of.sensors[position].source,
                    value=0.0,
                    unit="{rev}/min",
                    limit=1000.0,
                    threshold="lower_critical",
                ),
            ),
        )
    )
    of.conditions.append(condition(of, FAN, Health.CRITICAL, "reports health Critical", opened + 5))
    of.events.append(
        Event(
            time=opened,
            controller=of.name,
            part=FAN,
            subject="condition opened",
            severity=Health.CRITICAL,
            text="speed 0 rpm is below lower critical 1000 rpm",
        )
    )
    of.lamps[of.part("Chassis/Sled")] = FAULT


def _predict_drive(of: Invented, now: float) -> None:
    of.own[DRIVE] = Health.WARNING
    of.statuses[DRIVE] = Status(state=State.ENABLED, health=Health.WARNING, failure_predicted=True)
    of.conditions.append(
        condition(
            of, DRIVE, Health.WARNING, "predicts its own failure", now - 7600.0, subject=Subject.FAILURE_PREDICTED
        )
    )
    top = of.part("Chassis/Sled")
    of.lamps[top] = LOCATE
    of.statuses[top] = Status(
        state=State.ENABLED, health=Health.OK, power=PowerState.ON, locate=True, led=LedState.BLINKING
    )
    of.lamps[of.part("Chassis/Blade1")] = FAULT


def _break_blades(of: Invented, now: float) -> None:
    of.own[UNPOWERED] = Health.CRITICAL
    of.statuses[UNPOWERED] = Status(state=State.ENABLED, health=Health.CRITICAL, locate=False, led=LedState.OFF)
    of.statuses[of.part("Systems/2")] = Status(
        state=State.UNAVAILABLE_OFFLINE, health=Health.CRITICAL, power=PowerState.OFF
    )
    of.lamps[UNPOWERED] = DARK
    of.conditions.append(condition(of, UNPOWERED, Health.CRITICAL, "has lost its power", now - 95.0))
    cpu = of.part("Systems/3/Processors/1")
    of.own[cpu] = Health.WARNING
    position = next(i for i, sensor in enumerate(of.sensors) if sensor.part == cpu)
    of.levels[position] = 83.5
    of.conditions.append(
        condition(
            of,
            cpu,
            Health.WARNING,
            "temperature 83.5 °C is above upper caution 80 °C",
            now - 1500.0,
            sensor="temperature",
            subject=Subject.THRESHOLD,
        )
    )
    of.lamps[HOT] = FAULT
    empty = of.part("Chassis/Blade4")
    of.statuses[empty] = Status(state=State.ABSENT)
    of.own[empty] = Health.UNKNOWN
    del of.lamps[empty]
    for position, sensor in enumerate(of.sensors):
        if sensor.part.startswith((empty, of.part("Systems/4"))):
            of.levels[position] = math.nan
