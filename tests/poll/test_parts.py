"""Parts swapped, pulled and carried about in simulated sleds, followed by keepers, store and restarts."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest
from pydantic import SecretStr

from collector.assess.place_tree import place_trees
from collector.assess.rollup import Place
from collector.model import Event, Health, Kind, Location, Update
from collector.poll.fleet import Fleet
from collector.settings import CollectorSettings, ControllerSettings, Credential, Settings, StoreSettings
from collector.store.reader import Reader
from collector.store.writer import Writer
from simulators.parts import Equipment
from simulators.service import dialects
from simulators.service.inprocess import InProcess
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.world import World
from tests.poll.doubles import QuickClock
from tests.simulators.service_kit import PASSWORD, SITE, USER, Sledge

DESIGN = "quad"
BOTH_DIALECTS = pytest.mark.parametrize("dialect", ["modern", "classic"])


class Site:
    """Some simulated controllers in this process, and a collector that is started anew for each look at them."""

    def __init__(self, state: Path, *units: Equipment) -> None:
        self.state, self.clock = state, QuickClock()
        self.world = World(SITE, step=5.0)
        self.sleds = {unit.name: unit for unit in units}
        self.settings = Settings(
            path=state / "fleet.toml",
            collector=CollectorSettings(poll_interval=30.0),
            store=StoreSettings(),
            mqtt=None,
            mqtt_password=None,
            controllers=tuple(
                ControllerSettings(
                    name=name,
                    url=f"https://{name}.example",
                    credential=Credential(username=USER, password=SecretStr(PASSWORD)),
                    location=_place(name),
                )
                for name in self.sleds
            ),
        )
        self._transports = {name: self._transport(sled) for name, sled in self.sleds.items()}

    def _transport(self, unit: Equipment) -> httpx.AsyncBaseTransport:
        service = Service(unit, dialects.tree(unit), Sledge(self.world, unit.name), Account(USER, PASSWORD))
        return InProcess(service, self.clock.now)

    async def look(self) -> list[Event]:
        """A collector's whole run, a walk and a round of each sled, on what earlier runs left; the parts' events."""
        self.world.advance(5.0)
        self.clock.time += 900.0
        events: list[Event] = []
        async with Writer(self.state, self.settings.store, now=self.clock.now) as writer:
            writer.controllers(self.settings.controllers)
            with Reader(self.state) as reader:
                stays, conditions = reader.stays.all(), reader.conditions()

            async def tell(update: Update) -> None:
                await writer.put(update)
                if update.assessment is not None:
                    events.extend(update.assessment.events)

            fleet = Fleet(
                self.settings,
                tell,
                stays=stays,
                open_conditions={name: [c for c in conditions if c.controller == name] for name in self.sleds},
                clock=self.clock,
                chance=lambda: 0.5,
                transport_for=lambda controller: self._transports[controller.name],
            )
            reports = await fleet.once()
            await writer.flush()
        assert [report.error for report in reports if report.error] == []
        return [event for event in events if "part" in event.subject or "changed" in event.subject]

    def history(self, serial: str) -> list[tuple[str, str, str | None]]:
        """Where a serial number was, how it came there and how it went."""
        with Reader(self.state) as reader:
            return [
                (stay.controller, stay.began.value, stay.ended.value if stay.ended else None)
                for stay in reader.stays.of_serial(serial)
            ]


def _place(name: str) -> Location:
    """What a fleet file would say of a controller."""
    at = SITE.place(name)
    return Location(site=at.site, row=at.row, rack=at.rack, offset=at.offset, enclosure=at.enclosure)


@pytest.fixture
def site(tmp_path: Path, request: pytest.FixtureRequest) -> Site:
    """Two sleds of one design that speak one dialect."""
    spoken = (DESIGN, request.getfixturevalue("dialect"))
    return Site(tmp_path, *[sled for sled in SITE.sleds if (sled.design.name, sled.dialect) == spoken][:2])


@BOTH_DIALECTS
async def test_a_drive_is_swapped_pulled_and_put_back(site: Site, dialect: str) -> None:
    _, two = site.sleds
    drive = f"{two}/blade1/drive0"
    delivered = site.world.site.part(drive).serial
    assert await site.look() == []
    assert await site.look() == [], "nothing happened in between"

    site.world.inject("part-swapped", drive, serial="SWAPPED-0001")
    (swapped,) = await site.look()
    assert (swapped.subject, swapped.controller) == ("part swapped", two)
    assert f"serial SWAPPED-0001, was {delivered}" in swapped.text
    with Reader(site.state) as reader:
        place = next(part.location.text for part in reader.parts(two) if part.id == swapped.part)
    assert place in swapped.text
    assert "SLED" in place

    site.world.inject("part-pulled", drive)
    (pulled,) = [event for event in await site.look() if event.subject.startswith("part")]
    assert (pulled.subject, pulled.severity) == ("part missing", Health.WARNING)
    assert "SWAPPED-0001" in pulled.text
    with Reader(site.state) as reader:
        assert [condition.part for condition in reader.conditions(controller=two)] == [pulled.part]

    site.world.clear("part-pulled", drive)
    (back,) = [event for event in await site.look() if event.subject.startswith("part")]
    assert back.subject == "part returned"
    with Reader(site.state) as reader:
        assert reader.conditions(controller=two) == []
    assert site.history(delivered) == [(two, "first seen", "swapped")]
    assert site.history("SWAPPED-0001") == [(two, "swapped", "missing"), (two, "returned", None)]


@BOTH_DIALECTS
async def test_a_blade_swapped_is_one_event_and_a_blade_pulled_another(site: Site, dialect: str) -> None:
    one, _ = site.sleds
    await site.look()
    with Reader(site.state) as reader:
        told = {part.identity.serial for part in reader.parts(one)}
    inside = sum(
        path.startswith(f"{one}/blade2/") and part.serial in told for path, part in site.sleds[one].parts.items()
    )
    assert inside > 8, "what the dialect tells a serial number of"
    site.world.inject("part-swapped", f"{one}/blade2")
    (swapped,) = await site.look()
    assert swapped.subject == "part swapped"
    assert swapped.text.endswith(f"; with {inside} parts in it")

    site.world.inject("part-pulled", f"{one}/blade2")
    (pulled,) = [event for event in await site.look() if event.subject.startswith("part")]
    assert pulled.subject == "part missing"
    assert "parts in it" in pulled.text


@BOTH_DIALECTS
async def test_a_drive_carried_to_another_sled_is_followed(site: Site, dialect: str) -> None:
    one, two = site.sleds
    here, there = f"{one}/blade1/drive0", f"{two}/blade2/drive0"
    serial, displaced = (site.world.site.part(path).serial for path in (here, there))
    await site.look()
    site.world.inject("part-pulled", here)
    assert [event.subject for event in await site.look() if event.subject.startswith("part")] == ["part missing"]
    site.world.inject("part-swapped", there, serial=serial)
    events = [event for event in await site.look() if event.subject.startswith("part")]
    (moved,) = events
    assert (moved.subject, moved.controller) == ("part moved", two)
    assert serial in moved.text
    assert displaced in moved.text
    assert site.history(serial) == [(one, "first seen", "missing"), (two, "moved", None)]


@BOTH_DIALECTS
async def test_a_fan_pulled_is_missing(site: Site, dialect: str) -> None:
    one, _ = site.sleds
    await site.look()
    site.world.inject("part-pulled", f"{one}/fan2")
    missing = [event for event in await site.look() if event.subject == "part missing"]
    assert len(missing) == 1
    assert site.world.site.part(f"{one}/fan2").serial in missing[0].text


async def test_a_racks_controllers_tell_one_tree(tmp_path: Path) -> None:
    """Its sleds' and its power shelf's, as the layout (simulators.site) has them."""
    rack = SITE.racks[2]
    assert rack.shelf is not None
    site = Site(tmp_path, *rack.sleds, rack.shelf)
    await site.look()
    with Reader(site.state) as reader:
        trees = place_trees(reader.parts(), reader.links())
        told = {part.id for part in reader.parts()}
    row = next(row for row in SITE.rows if rack in row.racks)
    assert list(trees) == [Place(SITE.name, row.label, rack.label)]
    (tree,) = trees.values()
    tellers = [teller.id for node in tree.nodes.values() for teller in node.tellers]
    assert sorted(tellers) == sorted(told), "every part stands in it, once"
    assert tree.contradictions == ()
    sleds = [node for node in tree.nodes.values() if node.kind is Kind.SLED]
    assert len(sleds) == len(rack.sleds)
    for enclosure in rack.enclosures:
        (node,) = [
            node for node in tree.nodes.values() if node.location.enclosure == enclosure.label and not node.tellers
        ]
        assert node.id in tree.roots
        assert [tree.nodes[child].location.sled for child in node.children] == [sled.label for sled in enclosure.sleds]
    (shelf,) = [tree.nodes[root] for root in tree.roots if tree.nodes[root].tellers]
    assert (shelf.identity.serial, shelf.location.offset) == (rack.shelf.serial, rack.shelf.offset)
    assert {link.part for link in tree.links} | {link.on for link in tree.links} <= tree.nodes.keys()
    assert len(tree.links) > 100
