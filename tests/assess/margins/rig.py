"""A sled of four blades as a test needs it: readings from a few lines of textbook heat balance, no simulator.

Every body lags behind what it would come to; readings are rounded as controllers round them.
"""

from __future__ import annotations

import math
import random
from array import array
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from collector.assess.looking import Look, Seen
from collector.model import (
    Frame,
    Identity,
    Inventory,
    Kind,
    Layout,
    Limit,
    Location,
    Observation,
    Outcome,
    Part,
    Quantity,
    Sensor,
    SignKey,
    Thresholds,
)

START = 1_790_000_000.0
BLADES = 4
RHO_CP = 1.2 * 1005.0


@dataclass
class Rig:
    """The state that tests turn."""

    name: str = "s1"
    room: float = 22.0
    power: Callable[[int, float], float] = lambda blade, time: 200.0 + 60.0 * math.sin(time / 700.0 + blade)
    speed: Callable[[float], float] | None = None
    """Fan speed by mean blade power; None for a usual control."""
    opened: list[float] = field(default_factory=lambda: [1.0] * BLADES)
    """Part of the usual air that a blade gets at a fan speed."""
    warmer: list[float] = field(default_factory=lambda: [0.0] * BLADES)
    """K by which a blade's inlet is above the room."""
    sink: list[float] = field(default_factory=lambda: [1.0] * BLADES)
    """Thermal resistance of a processor, as a part of the usual."""
    on: list[bool] = field(default_factory=lambda: [True] * BLADES)
    fans: bool = True
    seed: int = 1

    def __post_init__(self) -> None:
        self.time = START
        self.chance = random.Random(self.seed)
        self.rises = [0.0] * BLADES
        self.cores = [0.0] * BLADES
        self.turn = 0.5
        self._settle()

    def _settle(self) -> None:
        for _ in range(400):
            self.step(30.0)
        self.time = START

    def step(self, seconds: float) -> None:
        """Let time pass."""
        while seconds > 0.0:
            span = min(5.0, seconds)
            seconds -= span
            self.time += span
            watts = self.watts()
            mean = sum(watts) / BLADES
            wanted = self.speed(mean) if self.speed else 0.25 + 0.0013 * mean
            self.turn += (wanted - self.turn) * (1.0 - math.exp(-span / 20.0))
            for blade, power in enumerate(watts):
                air = 0.024 * self.turn * self.opened[blade]
                rise = power / (RHO_CP * air)
                core = 0.5 * rise + power * 0.16 * self.sink[blade] * self.turn**-0.3 / self.opened[blade] ** 0.3
                self.rises[blade] += (rise - self.rises[blade]) * (1.0 - math.exp(-span / 40.0))
                self.cores[blade] += (core - self.cores[blade]) * (1.0 - math.exp(-span / 25.0))

    def watts(self) -> list[float]:
        return [self.power(blade, self.time) if self.on[blade] else 7.0 for blade in range(BLADES)]

    def values(self) -> list[float]:
        """In the order of the layout."""
        watts = self.watts()
        told: list[float] = []
        for blade in range(BLADES):
            inlet = self.room + self.warmer[blade]
            told += [
                _round(inlet + self.chance.gauss(0.0, 0.15), 0.5),
                _round(inlet + self.rises[blade] + self.chance.gauss(0.0, 0.2), 0.5),
                _round(watts[blade] * self.chance.gauss(1.0, 0.005), 1.0),
                _round(inlet + self.cores[blade] + self.chance.gauss(0.0, 0.4), 1.0),
                _round(12.1 + self.chance.gauss(0.0, 0.02), 0.01),
            ]
        told += [_round(self.room, 0.5), _round(sum(watts) + 40.0, 1.0)]
        if self.fans:
            told += [_round(100.0 * self.turn * self.chance.gauss(1.0, 0.005), 0.1) for _ in range(2)]
        return told

    def inventory(self) -> Inventory:
        sled = f"{self.name}:/Sled"
        place = Location(site="Q", row="A", rack="R01", sled="1")
        parts = [_part(self, sled, Kind.SLED, "Sled", None, place)]
        sensors: list[Sensor] = []
        for number in range(BLADES):
            blade, cpu = f"{self.name}:/Blade{number}", f"{self.name}:/Blade{number}/Cpu"
            parts.append(_part(self, blade, Kind.BLADE, f"Blade {number + 1}", sled, place))
            parts.append(_part(self, cpu, Kind.PROCESSOR, f"Blade {number + 1} CPU", blade, place))
            sensors += [
                _sensor(self, blade, Kind.BLADE, "inlet", Quantity.TEMPERATURE, "Intake", 35.0),
                _sensor(self, blade, Kind.BLADE, "outlet", Quantity.TEMPERATURE, "Exhaust"),
                _sensor(self, blade, Kind.BLADE, "input power", Quantity.POWER, None, 500.0),
                _sensor(self, cpu, Kind.PROCESSOR, "temperature", Quantity.TEMPERATURE, "CPU", 95.0),
                _sensor(self, blade, Kind.BLADE, "voltage", Quantity.VOLTAGE, "Board"),
            ]
        sensors += [
            _sensor(self, sled, Kind.SLED, "inlet", Quantity.TEMPERATURE, "Intake", 35.0),
            _sensor(self, sled, Kind.SLED, "input power", Quantity.POWER, None, 2000.0),
        ]
        if self.fans:
            for number in range(2):
                fan = f"{self.name}:/Fan{number}"
                parts.append(_part(self, fan, Kind.FAN, f"Fan {number + 1}", sled, place))
                sensors.append(_sensor(self, fan, Kind.FAN, "speed", Quantity.SPEED_RATIO, "Fan"))
        return Inventory(
            controller=self.name,
            time=self.time,
            parts=tuple(parts),
            links=(),
            layout=Layout(self.name, tuple(sensors)),
            statuses={},
            frame=self.frame(),
        )

    def frame(self, changes: Mapping[int, float] | None = None) -> Frame:
        values = self.values()
        for column, value in (changes or {}).items():
            values[column] = value
        return Frame(self.time, array("d", values), bytes(len(values)))

    def run(
        self, look: Look, minutes: float, every: float = 60.0, changes: Mapping[int, float] | None = None
    ) -> dict[SignKey, Observation]:
        """Let rounds pass; all that was seen at any time in them."""
        seen: dict[SignKey, Observation] = {}
        for _ in range(round(minutes * 60.0 / every)):
            self.step(every)
            look.round(
                Seen(
                    time=self.time,
                    frame=self.frame(changes),
                    statuses={},
                    idle=frozenset(f"{self.name}:/Blade{b}/Cpu" for b in range(BLADES) if not self.on[b]),
                    outcome=Outcome.OK,
                )
            )
            seen.update(look.present)
        return seen


def _round(value: float, step: float) -> float:
    return round(value / step) * step


def _part(rig: Rig, id_: str, kind: Kind, name: str, parent: str | None, place: Location) -> Part:
    return Part(
        id=id_,
        controller=rig.name,
        uri=id_.partition(":")[2],
        kind=kind,
        name=name,
        parent=parent,
        location=place,
        identity=Identity(part_number=f"PN-{kind}"),
    )


def _sensor(
    rig: Rig, part: str, kind: Kind, name: str, quantity: Quantity, context: str | None, critical: float | None = None
) -> Sensor:
    return Sensor(
        sensor=name,
        controller=rig.name,
        part=part,
        kind=kind,
        quantity=quantity,
        unit="",
        source=f"{part}/{name}",
        context=context,
        thresholds=Thresholds(upper_critical=None if critical is None else Limit(value=critical)),
    )
