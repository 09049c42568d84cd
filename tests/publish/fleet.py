"""Invented controllers in a live state, fed through the real assessment; any number of them, any names."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from typing import Any

from msgspec import Struct, structs

from collector.assess.watch import Watch
from collector.model import (
    CANONICAL_UNIT,
    Assessment,
    Figure,
    FigureKind,
    Frame,
    Health,
    Identity,
    Inventory,
    Kind,
    Layout,
    Limit,
    Link,
    Location,
    Margin,
    MarginKind,
    Outcome,
    Part,
    PowerState,
    Quantity,
    Round,
    Sensor,
    State,
    Status,
    Suspect,
    Thresholds,
    Trouble,
    Update,
    Urgency,
    Why,
    WorkOrder,
)
from collector.store.feed import Feed
from collector.store.live import Live

NOON = 1_750_000_000.0
INTERVAL = 30.0
RUNNING = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON, locate=False)
FINE = Status(state=State.ENABLED, health=Health.OK)


class Registered(Struct, frozen=True):
    name: str
    url: str = "https://192.0.2.1"
    location: Location = Location(site="Quellmark", row="A", rack="R02")
    insecure: bool = False


def pid(controller: str, name: str) -> str:
    return f"{controller}:/redfish/v1/{name}"


def part(controller: str, name: str, kind: Kind, parent: str | None = None, *, shown: str | None = None) -> Part:
    return Part(
        id=pid(controller, name),
        controller=controller,
        uri=f"/redfish/v1/{name}",
        kind=kind,
        name=shown or name,
        parent=None if parent is None else pid(controller, parent),
        location=Location(site="Quellmark", row="A", rack="R02", offset=10.0, slot=name),
        identity=Identity(model="Brae 4", serial=f"{controller}-{name}"),
    )


def sensor(
    controller: str, of: str, name: str, quantity: Quantity = Quantity.TEMPERATURE, kind: Kind = Kind.BLADE
) -> Sensor:
    hot = Thresholds(upper_caution=Limit(value=42.0), upper_critical=Limit(value=45.0))
    return Sensor(
        sensor=name,
        controller=controller,
        part=pid(controller, of),
        kind=kind,
        quantity=quantity,
        unit=CANONICAL_UNIT.get(quantity, "[furlong]"),
        source=f"/redfish/v1/{of}/Sensors/{name}",
        thresholds=hot if quantity is Quantity.TEMPERATURE else Thresholds(),
    )


def sled(
    controller: str, time: float = NOON, blades: int = 2, sensors: Sequence[Sensor] | None = None, value: float = 25.0
) -> Inventory:
    """A sled with a shared fan and some blades, a temperature and a power each, unless told other sensors."""
    parts = [part(controller, "Sled", Kind.SLED), part(controller, "Fan1", Kind.FAN, "Sled")]
    statuses = {pid(controller, "Sled"): FINE, pid(controller, "Fan1"): FINE}
    links = []
    told = [sensor(controller, "Fan1", "Speed", Quantity.ROTATION, Kind.FAN)]
    for number in range(1, blades + 1):
        blade = f"Blade{number}"
        parts.append(part(controller, blade, Kind.BLADE, "Sled"))
        statuses[pid(controller, blade)] = RUNNING
        links.append(Link(pid(controller, blade), pid(controller, "Fan1"), Why.COOLED_BY))
        told += [sensor(controller, blade, "Inlet"), sensor(controller, blade, "Power", Quantity.POWER)]
    columns = tuple(told if sensors is None else sensors)
    return Inventory(
        controller=controller,
        time=time,
        parts=tuple(parts),
        links=tuple(links),
        layout=Layout(controller, columns),
        statuses=statuses,
        frame=Frame(time=time, values=array("d", [value]) * len(columns), healths=bytes([1]) * len(columns)),
        product="Invented",
        redfish_version="1.18.0",
    )


def trouble(home: str, name: str, *, probability: float = 0.9, **more: Any) -> Trouble:
    """A trouble that accuses a part of a controller."""
    suspect = Suspect(
        part=pid(home, name), controller=home, kind=Kind.FAN, name=name, fault="seized", probability=probability
    )
    given: dict[str, Any] = {"opened": NOON, "changed": NOON, "severity": Health.CRITICAL, "suspects": (suspect,)}
    return Trouble(id=f"{home}.trouble.{name}", **{**given, **more})


def order(of: Trouble, **more: Any) -> WorkOrder:
    """A work order for the first suspect of a trouble."""
    first = of.suspects[0]
    given: dict[str, Any] = {"opened": NOON, "changed": NOON, "urgency": Urgency.TODAY, "task": "t", "reason": "r"}
    given |= {"part": first.part, "controller": first.controller, "kind": first.kind, "name": first.name}
    return WorkOrder(id=f"{of.id}|{first.part}", trouble=of.id, **{**given, **more})


def margin(controller: str, name: str, kind: MarginKind = MarginKind.HEAT, left: float = 8.0, **more: Any) -> Margin:
    """What is left at a part, up to 90."""
    unit = "Cel" if kind in (MarginKind.HEAT, MarginKind.AIR) else "W"
    told = {"time": NOON, "value": 90.0 - left, "limit": 90.0, "left": left, "unit": unit}
    return Margin(controller=controller, part=pid(controller, name), kind=kind, **{**told, **more})


def worked(controller: str, name: str, kind: FigureKind, value: float = 4.0, **more: Any) -> Figure:
    """A figure of a part."""
    return Figure(
        controller=controller, part=pid(controller, name), kind=kind, time=NOON, value=value, unit="1", **more
    )


class Fleet:
    """Live state, feed and a watch a controller, tied together as the collector ties them."""

    def __init__(self, *names: str) -> None:
        self.live = Live([Registered(name) for name in names])
        self.feed = Feed()
        self._watches = {name: Watch(name, INTERVAL) for name in names}
        self.inventories: dict[str, Inventory] = {}

    def walk(self, inventory: Inventory) -> None:
        name = inventory.controller
        self.inventories[name] = inventory
        assessment = self._watches[name].inventory(inventory, inventory.time)
        self._tell(Update(controller=name, inventory=inventory, assessment=assessment))

    def poll(
        self,
        name: str,
        time: float,
        values: Sequence[float] | None = None,
        statuses: dict[str, Status] | None = None,
        outcome: Outcome = Outcome.OK,
        error: str = "",
    ) -> None:
        frame = None
        if values is not None:
            frame = Frame(time=time, values=array("d", values), healths=bytes([1]) * len(values))
        done = Round(
            controller=name,
            started=time - 1.5,
            finished=time,
            outcome=outcome,
            error=error,
            frame=frame,
            statuses={pid(name, part): status for part, status in (statuses or {}).items()},
            requests=3,
            bytes_received=17_000,
        )
        self._tell(Update(controller=name, round=done, assessment=self._watches[name].round(done, time)))

    def without_part(self, name: str, gone: str, time: float) -> None:
        """Walk again and find a part and its sensors gone."""
        before = self.inventories[name]
        sensors = tuple(each for each in before.layout.sensors if each.part != pid(name, gone))
        frame = Frame(time=time, values=array("d", [25.0]) * len(sensors), healths=bytes([1]) * len(sensors))
        self.walk(
            structs.replace(
                before,
                time=time,
                parts=tuple(each for each in before.parts if each.id != pid(name, gone)),
                layout=Layout(name, sensors),
                statuses={of: status for of, status in before.statuses.items() if of != pid(name, gone)},
                frame=frame,
            )
        )

    def answer(self, name: str, time: float, **answers: Any) -> None:
        """Troubles, orders and margins, as a round of a controller brings them."""
        self._tell(Update(controller=name, assessment=Assessment(controller=name, time=time, **answers)))

    def _tell(self, update: Update) -> None:
        self.live.apply(update)
        self.feed.publish(update)
