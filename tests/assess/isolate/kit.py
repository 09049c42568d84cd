"""Invented sleds to isolate faults in: four blades, shared fans, supplies, adapter and controller."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping

from collector.assess.isolate import Isolation
from collector.model import (
    Frame,
    Inventory,
    Kind,
    Layout,
    Limit,
    Link,
    Location,
    Neighbour,
    Observation,
    Part,
    Quantity,
    Sensor,
    Sign,
    Thresholds,
    Trouble,
    Why,
)

BLADES, FANS, SUPPLIES, PORTS = 4, 4, 2, 2
_OF_KIND: Mapping[Kind, frozenset[Sign]] = {
    Kind.FAN: frozenset({Sign.FAULTY, Sign.ABSENT, Sign.STANDS, Sign.TURNS_SLOWLY, Sign.READING_GONE}),
    Kind.POWER_SUPPLY: frozenset({Sign.FAULTY, Sign.ABSENT, Sign.NO_POWER, Sign.READING_GONE}),
    Kind.PROCESSOR: frozenset({Sign.FAULTY, Sign.HOT, Sign.READING_GONE}),
    Kind.MEMORY: frozenset({Sign.FAULTY, Sign.CORRECTABLE, Sign.UNCORRECTABLE}),
    Kind.DRIVE: frozenset({Sign.FAULTY, Sign.ABSENT, Sign.PREDICTED, Sign.HOT, Sign.UNSTEADY}),
    Kind.HOST: frozenset({Sign.OFF}),
    Kind.BLADE: frozenset(
        {Sign.NO_POWER, Sign.LOW_VOLTAGE, Sign.HOT, Sign.WARM_AIR, Sign.SHORT_OF_AIR, Sign.UNSTEADY, Sign.READING_GONE}
    ),
    Kind.SLED: frozenset({Sign.WARM_AIR, Sign.SHORT_OF_AIR, Sign.WORKS_HARD, Sign.UNBALANCED, Sign.LOW_VOLTAGE}),
    Kind.PORT: frozenset({Sign.LINK_DOWN, Sign.UNSTEADY}),
    Kind.NETWORK_ADAPTER: frozenset({Sign.FAULTY, Sign.HOT}),
    Kind.CONTROLLER: frozenset({Sign.CUT_OFF, Sign.SILENT, Sign.SLOW, Sign.RESTARTED, Sign.CLOCK_OFF, Sign.UNSTEADY}),
}


def pid(controller: str, path: str) -> str:
    return f"{controller}:/redfish/v1/{path}"


def sled(
    controller: str = "s1", rack: str | None = "R1", enclosure: str | None = None, switch: str | None = None
) -> Inventory:
    """A whole sled; ``switch``: what the switch calls itself that its ports hear."""
    parts: list[Part] = []
    links: list[Link] = []
    sensors: list[Sensor] = []
    where = Location(site="Quellmark", row="A", rack=rack, enclosure=enclosure)

    def add(path: str, kind: Kind, parent: str | None = None, **measured: Quantity) -> str:
        id = pid(controller, path)
        name = path.rpartition("/")[2]
        parts.append(
            Part(
                id=id,
                controller=controller,
                uri=f"/redfish/v1/{path}",
                kind=kind,
                name=name,
                parent=None if parent is None else pid(controller, parent),
                location=where,
            )
        )
        for sensor, quantity in measured.items():
            sensors.append(
                Sensor(
                    sensor=sensor,
                    controller=controller,
                    part=id,
                    kind=kind,
                    quantity=quantity,
                    unit="1",
                    source=f"/redfish/v1/Sensors/{name}{sensor}",
                    thresholds=Thresholds(upper_critical=Limit(value=90.0), lower_critical=Limit(value=10.0)),
                )
            )
        return id

    heat, volts, speed = Quantity.TEMPERATURE, Quantity.VOLTAGE, Quantity.ROTATION
    add("Sled", Kind.SLED, inlet=heat, outlet=heat, bus=volts, power=Quantity.POWER)
    fans = [add(f"Fan{at}", Kind.FAN, "Sled", speed=speed) for at in range(1, FANS + 1)]
    supplies = [add(f"Psu{at}", Kind.POWER_SUPPLY, "Sled", input=volts, heat=heat) for at in range(1, SUPPLIES + 1)]
    adapter = add("Net", Kind.NETWORK_ADAPTER, "Sled", heat=heat)
    ports = [add(f"Net/Port{at}", Kind.PORT, "Net") for at in range(1, PORTS + 1)]
    manager = add("Bmc", Kind.CONTROLLER, "Sled")
    for at in range(1, BLADES + 1):
        blade = add(
            f"Blade{at}",
            Kind.BLADE,
            "Sled",
            supply=volts,
            inlet=heat,
            outlet=heat,
            regulator=heat,
            power=Quantity.POWER,
        )
        host = add(f"Host{at}", Kind.HOST, f"Blade{at}")
        add(f"Cpu{at}", Kind.PROCESSOR, f"Host{at}", heat=heat)
        for dimm in range(4):
            add(f"Dimm{at}-{dimm}", Kind.MEMORY, f"Host{at}", heat=heat, errors=Quantity.COUNT)
        for drive in range(2):
            add(f"Drive{at}-{drive}", Kind.DRIVE, f"Blade{at}", heat=heat)
        links += [Link(blade, fan, Why.COOLED_BY) for fan in fans]
        links += [Link(blade, supply, Why.POWERED_BY) for supply in supplies]
        links += [Link(blade, manager, Why.MANAGED_BY), Link(host, adapter, Why.CONNECTED_THROUGH)]
    neighbours = [Neighbour(part=port, chassis=switch, port=f"{controller}-{port[-1]}") for port in ports if switch]
    return Inventory(
        controller=controller,
        time=0.0,
        parts=tuple(parts),
        links=tuple(links),
        layout=Layout(controller, tuple(sensors)),
        statuses={},
        frame=Frame(time=0.0, values=array("d", [50.0]) * len(sensors), healths=bytes(len(sensors))),
        neighbours=tuple(neighbours),
    )


def visible_of(inventory: Inventory) -> dict[str, frozenset[Sign]]:
    """What looks of average diligence could see of these parts."""
    return {part.id: signs for part in inventory.parts if (signs := _OF_KIND.get(part.kind))}


def sign(inventory: Inventory, path: str, shown: Sign, weight: float = 1.0, since: float = 0.0) -> Observation:
    return Observation(
        controller=inventory.controller,
        part=pid(inventory.controller, path),
        sign=shown,
        since=since,
        weight=weight,
        text=f"{path} {shown.value}",
        condition=f"{inventory.controller}.{path}.{shown.name}",
    )


class Bench:
    """An isolation with some sleds in it, and what it last said of each trouble."""

    def __init__(self, *inventories: Inventory) -> None:
        self.isolation = Isolation()
        self.visible = {each.controller: visible_of(each) for each in inventories}
        self.now = 0.0
        self.told: dict[str, Trouble] = {}
        for each in inventories:
            self.isolation.inventory(each, self.visible[each.controller], self.now)
            self.isolation.observe(each.controller, (), self.visible[each.controller], True, self.now)

    def see(self, controller: str, *seen: Observation, readable: bool = True) -> None:
        self.isolation.observe(controller, seen, self.visible[controller], readable, self.now)

    def round(self, controller: str) -> None:
        self.isolation.round(controller, self.now)

    def solve(self, seconds: float = 0.0) -> tuple[Trouble, ...]:
        self.now += seconds
        told = self.isolation.solve(self.now)
        self.told |= {each.id: each for each in told}
        return told

    def settle(self) -> tuple[Trouble, ...]:
        """Rounds until everything that wants to stand for a while has stood; the last word on each open trouble."""
        for _ in range(11):
            self.solve(30.0)
        return self.open

    @property
    def open(self) -> tuple[Trouble, ...]:
        return tuple(each for each in self.told.values() if each.closed is None)

    def firsts(self) -> list[tuple[str, str]]:
        """Part and fault at first place of every open trouble."""
        return sorted((each.suspects[0].part, each.suspects[0].fault) for each in self.open)


def one_sled(*seen: tuple[str, Sign], **more: Iterable[str]) -> tuple[Bench, Inventory]:
    """A sled that shows some signs, settled."""
    inventory = sled()
    bench = Bench(inventory)
    bench.see(inventory.controller, *(sign(inventory, path, shown) for path, shown in seen))
    bench.settle()
    return bench, inventory
