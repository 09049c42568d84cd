"""The collector on every dialect and oddity: the same sled read rightly, what is wrong named, nothing invented."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from pydantic import SecretStr

from collector.assess.watch import Watch
from collector.model import DefectKind, Kind, Location, Outcome, Subject, Thresholds
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import ControllerSettings, Credential
from simulators.parts import Shelf
from simulators.service import both, odd, shelf
from simulators.service.dialects import DIALECTS, tree
from simulators.service.inprocess import InProcess
from simulators.service.odd import ODDITIES
from simulators.service.places import Plan
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.service.tree import Tree
from simulators.site import OLDER_MODEL, Sled, demo_site
from simulators.telemetry import Quantity
from simulators.world import World
from tests.poll.doubles import QuickClock
from tests.simulators.reading import read
from tests.simulators.service_kit import NOW, PASSWORD, SITE, USER, Sledge, still_world

SLEDS = {sled.design.name: sled for sled in SITE.sleds if sled.dialect not in OLDER_MODEL}
DESIGNS = pytest.mark.parametrize("design", sorted(SLEDS))
CONFORMING = sorted(name for name, one in DIALECTS.items() if one.conforming)
_KELVIN_FREE = {Quantity.HEAT: 1000.0, Quantity.PRESSURE: 1000.0, Quantity.AIR_FLOW: 1.0 / 60.0}
"""From the sensors' units to the collector's canonical ones: kW, kPa, m3/min to W, Pa, m3/s."""


def service_of(tree_: Tree, sled: Sled | Shelf, world: World | None = None) -> Service:
    return Service(sled, tree_, Sledge(world or still_world(), sled.name), Account(USER, PASSWORD))


@cache
def told_by_the_newer_model(design: str) -> dict[str, float]:
    """Every sensor's value in canonical units, by the last step of its URI, from the telemetry itself."""
    told = {}
    for id_, point in still_world().telemetry(SLEDS[design].name).sensors.items():
        assert point.value is not None
        told[id_] = point.value * _KELVIN_FREE.get(point.spec.quantity, 1.0)
        if point.spec.rated:
            told[id_] = 100.0 * point.value / point.spec.rated
    return told


@DESIGNS
@pytest.mark.parametrize("dialect", CONFORMING)
async def test_conforming_dialects_are_read_without_a_defect(design: str, dialect: str) -> None:
    sled = replace(SLEDS[design], dialect=dialect)
    got = await read(service_of(tree(sled), sled))
    assert got.defects == ()
    assert got.round.outcome is Outcome.OK
    kinds = [part.kind for part in got.inventory.parts]
    assert kinds.count(Kind.BLADE) == len(sled.blades)
    assert kinds.count(Kind.FAN) == sled.design.fans
    assert kinds.count(Kind.POWER_SUPPLY) == len(sled.design.power_supplies)
    assert kinds.count(Kind.DRIVE) == len(sled.blades) * sled.design.blade.drives
    assert all(value is not None for value in got.values().values())
    newer = {
        uri.rpartition("/")[2]: value for uri, value in got.values().items() if "/Sensors/" in uri and "#" not in uri
    }
    if dialect in OLDER_MODEL:
        assert newer == {}
    else:
        assert newer == pytest.approx(told_by_the_newer_model(design), abs=0.06)


@DESIGNS
async def test_limits_are_the_same_whether_sensors_or_triggers_tell_them(design: str) -> None:
    limits = {}
    for dialect in ("modern", "reports"):
        sled = replace(SLEDS[design], dialect=dialect)
        got = await read(service_of(tree(sled), sled))
        limits[dialect] = {sensor.source: sensor.thresholds for sensor in got.inventory.layout.sensors}
    assert limits["reports"] == limits["modern"]
    own = tree(replace(SLEDS[design], dialect="reports")).resources
    by_trigger = {
        uri for uri, told in limits["reports"].items() if told != Thresholds() and "Thresholds" not in own[uri].body
    }
    assert len(by_trigger) > 10


async def test_a_round_that_only_a_metric_report_tells_of_is_judged_by_triggers() -> None:
    sled = replace(SLEDS["quad"], dialect="reports")
    world = World(SITE)
    one = Sledge(world, sled.name)
    service = Service(sled, tree(sled), one, Account(USER, PASSWORD))
    client = Client(
        ControllerSettings(
            name="bmc", url="https://192.0.2.7", credential=Credential(username=USER, password=SecretStr(PASSWORD))
        ),
        transport=InProcess(service, lambda: NOW),
    )
    async with client:
        first = interpret(await walk(client, clock=lambda: NOW), Location())
        assert any("MetricReports" in fetch.path for fetch in first.fetches)
        watch = Watch("bmc", 30.0)
        watch.inventory(first.inventory, NOW)
        rounds = Rounds(client, first, QuickClock(NOW))
        world.inject("fan-seized", f"{sled.name}/fan1")
        opened = []
        for step in range(1, 12):
            world.advance(30.0)
            done = (await rounds.run(60.0)).round
            opened += watch.round(done, NOW + 30.0 * step).opened
    fan = [one for one in opened if one.subject is Subject.THRESHOLD and one.sensor and "Fan 1" in one.sensor]
    assert fan, [one.text for one in opened]


async def test_a_shelf_is_read_with_its_feeds_supplies_and_outputs() -> None:
    one = SITE.shelves[2]
    got = await read(service_of(shelf.build(one), one))
    assert got.defects == ()
    kinds = [part.kind for part in got.inventory.parts]
    assert (kinds.count(Kind.POWER_SUPPLY), kinds.count(Kind.CIRCUIT), kinds.count(Kind.OUTLET)) == (6, 2, 3)
    points = still_world().telemetry(one.name).sensors
    told = {
        uri.rpartition("/")[2]: value for uri, value in got.values().items() if "/Sensors/" in uri and "#" not in uri
    }
    assert told == {id_: point.value for id_, point in points.items()}


async def test_a_liquid_cooled_sled_shows_its_loop_and_its_detectors() -> None:
    sled = SLEDS["liquid"]
    got = await read(service_of(tree(sled), sled))
    kinds = [part.kind for part in got.inventory.parts]
    assert kinds.count(Kind.LEAK_DETECTOR) == 2
    sensors = {uri.rpartition("/")[2]: sensor for uri, sensor in got.sensors().items()}
    connector = "/redfish/v1/Chassis/Sled/ThermalSubsystem/CoolantConnectors/Water"
    assert {sensors[f"Coolant{what}"].unit for what in ("Supply", "Return")} == {"Cel"}
    assert (sensors["CoolantFlow"].unit, sensors["CoolantDrop"].unit, sensors["CoolantHeat"].unit) == (
        "L/min",
        "Pa",
        "W",
    )
    assert {sensor.part for name, sensor in sensors.items() if name.startswith("Coolant")} == {
        f"{sled.name}:{connector}"
    }


@pytest.mark.parametrize("name", sorted(ODDITIES))
@DESIGNS
async def test_an_oddity_is_named_where_it_is_or_read_in_spite_of_it(design: str, name: str) -> None:
    sled, oddity = SLEDS[design], ODDITIES[name]
    wrong = both.build(sled)
    (spots,) = odd.commit(wrong, Plan(sled), [name]).values()
    got = await read(service_of(wrong, sled))
    named = {(defect.resource, defect.property, defect.kind) for defect in got.defects}
    wanted = set()
    if oddity.defect is not None:
        kind = DefectKind(oddity.defect)
        wanted = {(spot.resource, spot.pointer, kind) for spot in spots}
        if name == "thresholds-crossed":
            wanted = {(spots[0].resource, "/Thresholds", kind)}
    assert named == wanted
    right = await read(service_of(both.build(sled), sled))
    expected = right.values()
    if oddity.silent:
        expected |= {spot.resource: None for spot in spots}
    if name == "no-members":  # who tells of no memory can't be asked for its errors
        expected = {uri: value for uri, value in expected.items() if "/Systems/Blade1/Memory/" not in uri}
    assert got.values() == expected


async def test_all_oddities_at_once_cost_no_reading_that_can_be_had() -> None:
    sled = replace(SLEDS["quad"], dialect="odd")
    got = await read(service_of(tree(sled), sled))
    lost = {uri for uri, value in got.values().items() if value is None}
    spots = odd.commit(both.build(sled), Plan(sled), ODDITIES)
    assert lost == {spot.resource for name, told in spots.items() if ODDITIES[name].silent for spot in told}
    kinds = {defect.kind.value for defect in got.defects}
    assert kinds == {oddity.defect for oddity in ODDITIES.values() if oddity.defect is not None}


async def test_the_two_models_told_at_once_are_one_sensor_each() -> None:
    """No sensor twice: the same physical ones as from the newer model alone, the older rows at ``also_at``."""
    world = World(demo_site())
    for design, sled in SLEDS.items():
        newer = await read(service_of(tree(replace(sled, dialect="modern")), sled, world))
        beside = await read(service_of(tree(replace(sled, dialect="both")), sled, world))
        extra = set(beside.sensors()) - set(newer.sensors())
        # an average is told by the older model only
        assert all(uri.endswith(("LastPowerOutputWatts",)) for uri in extra), (design, extra)
