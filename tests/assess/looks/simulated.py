"""Looks fed with simulated sleds in fast time: walked once for real, then straight from the telemetry."""

from __future__ import annotations

import asyncio
import math
from array import array
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from collector.assess.looking import Look, Seen
from collector.assess.tree import Tree
from collector.model import Frame, Inventory, Observation, Outcome, PowerState, Seconds, Sign, Status
from simulators.service.dialects import tree
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.site import Site, Sled, scaled_site
from simulators.telemetry import Quantity
from simulators.world import World
from tests.simulators.reading import read
from tests.simulators.service_kit import PASSWORD, USER, Sledge

_CANONICAL = {Quantity.HEAT: 1000.0, Quantity.PRESSURE: 1000.0, Quantity.AIR_FLOW: 1.0 / 60.0}
"""From the simulated sensors' units to the canonical ones."""


def modern_site(controllers: int) -> Site:
    """A site whose sleds all tell of themselves in the newer model."""
    site = scaled_site(controllers)
    rows = tuple(
        replace(
            row,
            racks=tuple(
                replace(
                    rack,
                    enclosures=tuple(
                        replace(one, sleds=tuple(replace(sled, dialect="modern") for sled in one.sleds))
                        for one in rack.enclosures
                    ),
                )
                for rack in row.racks
            ),
        )
        for row in site.rows
    )
    return replace(site, rows=rows)


class Fleet:
    """Sleds with the looks that follow them; ``make`` makes those of one controller."""

    def __init__(self, controllers: int, make: Callable[[str], Mapping[str, Look]], *, seed: int, step: float = 20.0):
        self.world = World(modern_site(controllers), seed=seed, step=step)
        self.looks: dict[str, Mapping[str, Look]] = {}
        self._controllers: dict[str, _Controller] = {}
        for sled in self.world.site.sleds:
            account = Account(USER, PASSWORD)
            got = asyncio.run(read(Service(sled, tree(sled), Sledge(self.world, sled.name), account)))
            self._controllers[sled.name] = _Controller(sled, got.inventory)
            self.looks[sled.name] = make(sled.name)
            for look in self.looks[sled.name].values():
                look.inventory(got.inventory, self.world.time)

    def rounds(self, count: int, interval: Seconds) -> None:
        """Let so many rounds pass."""
        for _ in range(count):
            self.world.advance(interval)
            for name, controller in self._controllers.items():
                seen = controller.seen(self.world)
                for look in self.looks[name].values():
                    look.round(seen)

    def shown(self) -> Iterator[Observation]:
        """All that is seen now."""
        for looks in self.looks.values():
            for look in looks.values():
                yield from look.present.values()

    def signs(self, part: str) -> set[Sign]:
        """What is seen of a part, by the end of its id."""
        return {one.sign for one in self.shown() if one.part.endswith(part)}


class _Controller:
    def __init__(self, sled: Sled, inventory: Inventory) -> None:
        self._sled, self._inventory = sled, inventory
        self._tree = Tree(inventory.parts, inventory.links)
        self._ids = [sensor.source.rpartition("/")[2] for sensor in inventory.layout.sensors]

    def seen(self, world: World) -> Seen:
        """The round that a controller would tell of now."""
        telemetry = world.telemetry(self._sled.name)
        values = array("d", (self._value(telemetry.sensors.get(id_)) for id_ in self._ids))
        statuses: dict[str, Status] = dict(self._inventory.statuses)
        for blade in self._sled.blades:
            on = telemetry.parts[blade.host].power_state
            host = f"{self._sled.name}:/redfish/v1/Systems/Blade{blade.number}"
            statuses[host] = Status(power=PowerState(on) if on else PowerState.UNKNOWN)
        marks = self._tree.idle(statuses)
        idle = frozenset(part.id for part, mark in zip(self._tree.parts, marks, strict=True) if mark)
        frame = Frame(world.time, values, bytes(len(values)))
        return Seen(time=world.time, frame=frame, statuses=statuses, idle=idle, outcome=Outcome.OK)

    @staticmethod
    def _value(point: object) -> float:
        value = getattr(point, "value", None)
        if value is None:
            return math.nan
        spec = point.spec  # type: ignore[attr-defined]
        if spec.rated:
            return float(100.0 * value / spec.rated)
        return float(value * _CANONICAL.get(spec.quantity, 1.0))
