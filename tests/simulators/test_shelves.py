"""Power shelves: they carry what their racks draw, and say so."""

from __future__ import annotations

import numpy as np
import pytest

from simulators.faults import FaultError
from simulators.power import BUSBAR_OPEN
from simulators.shelves import POWER_FACTOR, loss
from simulators.site import demo_site, scaled_site
from simulators.telemetry import Mode
from simulators.world import World
from tests.simulators.service_kit import NOW, SITE, Sledge


def values(world: World, shelf: str) -> dict[str, float]:
    told = {}
    for id_, point in world.telemetry(shelf).sensors.items():
        assert point.value is not None
        told[id_] = point.value
    return told


def test_a_shelf_carries_the_sum_of_its_racks_sleds() -> None:
    """Hour by hour: what it delivers is what the sleds take in, and what 9 mohm of busbar and their clips lose."""
    world = World(demo_site(), seed=3, step=10.0)
    for _ in range(12):
        world.advance(600.0)
        for rack in world.site.racks:
            assert rack.shelf is not None
            drawn = sum(world.truth(sled.name).electrical_in for sled in rack.sleds)
            told = values(world, rack.shelf.name)
            assert 1.0 < told["BusPower"] / drawn < 1.035  # I R / U at 60 A an enclosure is 1.1 %, and sensors err
            outputs = [told[f"Outlet{k}Power"] for k in range(1, len(rack.enclosures) + 1)]
            assert sum(outputs) == pytest.approx(told["BusPower"], rel=0.011, abs=4.0)
            for enclosure, output in zip(rack.enclosures, outputs, strict=True):
                share = sum(world.truth(sled.name).electrical_in for sled in enclosure.sleds)
                assert 0.99 < output / share < 1.04


def test_power_in_is_power_out_and_loss() -> None:
    world = World(demo_site(), seed=3, step=10.0)
    world.advance(3600.0)
    shelves = world._shelves
    assert shelves.output.sum(axis=0) == pytest.approx(shelves.power() + 6.0)
    assert shelves.input == pytest.approx(shelves.output + loss(shelves.output))
    efficiency = shelves.output.sum(axis=0) / shelves.input.sum(axis=0)
    assert ((efficiency > 0.955) & (efficiency < 0.985)).all()  # of such rectifiers: common practice, no source
    # six supplies share, none more than a few percent beside the others
    assert (np.ptp(shelves.output, axis=0) < 0.06 * shelves.output.mean(axis=0)).all()
    amps = shelves.input_current()
    assert (amps * shelves.mains[[0, 1] * 3] * POWER_FACTOR) == pytest.approx(shelves.input)
    # steady: temperature rise is loss over conductance
    assert shelves.rectifier == pytest.approx(shelves.inlet + loss(shelves.output) / 2.4, abs=1.0)


def test_one_supply_may_fail_at_full_load() -> None:
    """N+1: five supplies carry the rating, and the rating carries every sled at its worst."""
    for rack in SITE.racks:
        assert rack.shelf is not None
        design = rack.shelf.design
        assert design.needed == design.supplies - 1
        assert design.capacity == design.needed * design.supply.capacity
        assert sum(sled.design.power_supplies[0].capacity for sled in rack.sleds) <= design.capacity


def test_what_a_shelf_tells_is_within_its_ranges_and_limits_for_a_day() -> None:
    world = World(demo_site(), seed=5, step=30.0)
    for _ in range(24):
        world.advance(3600.0)
        for shelf in world.site.shelves:
            report = world.telemetry(shelf.name)
            for point in report.sensors.values():
                assert point.value is not None
                assert point.spec.low <= point.value <= point.spec.high
                assert (point.health, point.state) == ("OK", "Enabled"), point
            assert {part.rollup for part in report.parts.values()} == {"OK"}
    assert values(world, "r01-ps")["BusVoltage"] == pytest.approx(BUSBAR_OPEN, rel=0.002)


def test_energy_is_the_sum_of_power() -> None:
    world = World(demo_site(), seed=2, step=1.0)
    taken = 0.0
    for _ in range(60):
        world.advance(1.0)
        taken += float(world._shelves.input[:, 0].sum())
    energy = world.telemetry("r01-ps").parts["r01-ps"].metrics["energy_joules"]
    assert energy == pytest.approx(taken, rel=1e-6)


def test_faults_that_befall_a_shelf() -> None:
    world = World(demo_site())
    world.inject("controller-hung", "r02-ps/controller")
    assert world.telemetry("r02-ps").controller.mode is Mode.HUNG
    assert world.telemetry("r01-ps").controller.mode is Mode.SERVING
    world.clear("controller-hung", "r02-ps/controller")
    assert world.telemetry("r02-ps").controller.mode is Mode.SERVING
    world.inject("sensor-stuck", "r02-ps/psu2", value=90.0)
    world.advance(5.0)
    report = world.telemetry("r02-ps")
    assert report.sensors["Psu2"].value == 90.0
    assert report.parts["r02-ps/psu2"].health == "Warning"
    assert report.parts["r02-ps"].rollup == "Warning"
    assert "90" in report.parts["r02-ps/psu2"].reasons[0]
    for fault, path in (("fan-seized", "r02-ps/psu2"), ("blade-power-lost", "r02-ps"), ("fan-seized", "r02-ps/fan1")):
        with pytest.raises(FaultError):
            world.inject(fault, path)


def test_lamps_of_a_shelf() -> None:
    world = World(demo_site())
    source = Sledge(world, "r03-ps")
    source.set_locate("r03-ps/psu4", True)
    parts = source.telemetry().parts
    assert (parts["r03-ps/psu4"].locate, parts["r03-ps/psu3"].locate) == (True, False)
    assert parts["r03-ps/outlet1"].locate is None
    with pytest.raises(ValueError, match="no locate lamp"):
        source.set_locate("r03-ps/outlet1", True)
    assert source.acquired() == NOW


def test_a_site_without_shelves_has_none() -> None:
    world = World(scaled_site(4))
    world.advance(10.0)
    assert world.site.shelves == ()
    with pytest.raises(KeyError, match="no sled named 'r001-ps'"):
        world.telemetry("r001-ps")
