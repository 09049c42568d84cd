"""What looks see of small invented controllers, and what they say of it."""

from __future__ import annotations

import math
from array import array
from collections.abc import Mapping

from msgspec import structs

from collector.assess.looking import Look, Seen
from collector.model import (
    Frame,
    Inventory,
    Kind,
    Layout,
    Outcome,
    Quantity,
    Sensor,
    Sign,
    Status,
)
from tests.assess.fleet import NAME, NAN, STATUSES, inventory, part, pid

BMC = pid("bmc")


def seen(
    time: float,
    values: list[float] | None = None,
    *,
    outcome: Outcome = Outcome.OK,
    statuses: Mapping[str, Status] | None = None,
    seconds: float = 0.4,
    requests: int = 1,
    clock: float | None = None,
    idle: frozenset[str] = frozenset(),
) -> Seen:
    told = {pid(name): status for name, status in {**STATUSES, **(statuses or {})}.items()}
    frame = None if values is None else Frame(time, array("d", values), bytes(len(values)))
    return Seen(
        time=time,
        frame=frame,
        statuses=told,
        idle=idle,
        outcome=outcome,
        seconds=seconds,
        requests=requests,
        clock_offset=clock,
    )


def signs(look: Look) -> set[tuple[str, Sign]]:
    return {(key[0].rpartition("/")[2], key[1]) for key in look.present}


def counter(name: str, of: str, kind: Kind, quantity: Quantity = Quantity.COUNT) -> Sensor:
    return Sensor(
        sensor=name,
        controller=NAME,
        part=pid(of),
        kind=kind,
        quantity=quantity,
        unit="%" if quantity is Quantity.PERCENT else "1",
        source=f"/redfish/v1/{of}#{name}",
    )


def with_sensors(*sensors: Sensor) -> Inventory:
    first = Frame(0.0, array("d", [NAN] * len(sensors)), bytes(len(sensors)))
    return structs.replace(inventory(), layout=Layout(NAME, sensors), frame=first)


ECC = counter("lifetime correctable ECC error count", "drive", Kind.MEMORY)
UECC = counter("lifetime uncorrectable ECC error count", "drive", Kind.MEMORY)
LIFE = counter("predicted media life left", "drive", Kind.DRIVE, Quantity.PERCENT)


def blades(count: int) -> Inventory:
    parts = [part("sled", Kind.SLED)]
    sensors = []
    for number in range(count):
        blade = f"blade{number}"
        parts.append(part(blade, Kind.BLADE, "sled"))
        told = (
            ("inlet", Quantity.TEMPERATURE, "Intake"),
            ("power", Quantity.POWER, None),
            ("processor", Quantity.TEMPERATURE, "CPU"),
            ("memory", Quantity.TEMPERATURE, "Memory"),
            ("regulator", Quantity.TEMPERATURE, "VoltageRegulator"),
        )
        for name, quantity, context in told:
            unit = "Cel" if quantity is Quantity.TEMPERATURE else "W"
            sensors.append(
                Sensor(
                    sensor=f"{blade} {name}",
                    controller=NAME,
                    part=pid(blade),
                    kind=Kind.BLADE,
                    quantity=quantity,
                    unit=unit,
                    source=f"/{blade}/{name}",
                    context=context,
                )
            )
    first = Frame(0.0, array("d", [NAN] * len(sensors)), bytes(len(sensors)))
    return structs.replace(inventory(parts=parts, links=()), layout=Layout(NAME, tuple(sensors)), frame=first)


def loads(turn: int, count: int, hot: float = 0.0) -> list[float]:
    """Blades under loads of their own, all with the same rises a watt; the first one's processor hotter."""
    values = []
    for number in range(count):
        power = 200.0 + 80.0 * math.sin(turn / 7.0 + number)
        inlet = 23.0 + 2.0 * math.sin(turn / 50.0)
        extra = hot if number == 0 else 0.0
        values += [inlet, power, inlet + 0.2 * power * (1 + extra), inlet + 0.08 * power, inlet + 0.12 * power]
    return [round(value, 1) for value in values]
