"""Sensors and peers on simulated sleds: what is ill is seen, what is well is not."""

from __future__ import annotations

import os
import random
from collections.abc import Mapping

import pytest

from collector.assess.looking import Look
from collector.assess.looks.peers import Peers, PeersLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.unsteady import UnsteadyLook
from collector.model import Sign
from tests.assess.looks.simulated import Fleet

DAYS = 30 if os.environ.get("SLEDKEEPER_CAMPAIGN") else 2
WARM = 130


def fleet(controllers: int, seed: int) -> Fleet:
    peers = Peers()

    def make(name: str) -> Mapping[str, Look]:
        return {"sensors": SensorsLook(name), "peers": PeersLook(name, peers), "unsteady": UnsteadyLook(name)}

    return Fleet(controllers, make, seed=seed)


def test_ill_sensors_and_a_hot_part_are_seen_and_nothing_else() -> None:
    one = fleet(4, seed=5)
    one.rounds(WARM, 60.0)
    assert list(one.shown()) == []
    sled, third = [sled for sled in one.world.site.sleds if sled.design.name == "quad"][:2]
    other = next(sled for sled in one.world.site.sleds if sled.design.name == "duo").name
    one.world.inject("sensor-gone", f"{other}/blade1/cpu1")
    one.world.inject("sensor-noisy", f"{third.name}/blade3", sensor="Blade3Outlet", size=1.0)
    one.world.inject("heat-sink-loose", f"{sled.name}/blade2/cpu0")
    one.rounds(20, 60.0)
    assert one.signs("Blade1/Processors/Cpu1") == {Sign.READING_GONE}
    assert Sign.READING_NOISY in one.signs(f"{third.name}:/redfish/v1/Chassis/Blade3")
    assert Sign.HOT in one.signs(f"{sled.name}:/redfish/v1/Systems/Blade2/Processors/Cpu0")
    shown = {seen.part for seen in one.shown()}
    rest = [seen.text for seen in one.shown() if "e1-s3" in seen.part]
    assert len(shown) == 3, rest


def test_a_drift_is_seen_before_it_is_complete() -> None:
    one = fleet(2, seed=6)
    one.rounds(WARM, 60.0)
    sled = one.world.site.sleds[0].name
    one.world.inject("sensor-drifting", f"{sled}/blade1", sensor="Blade1Inlet", size=1.5, over=5400.0)
    one.rounds(100, 60.0)
    assert Sign.READING_DRIFTS in one.signs(f"{sled}:/redfish/v1/Chassis/Blade1")


@pytest.mark.slow
def test_a_rack_in_health_shows_nothing() -> None:
    """Five-minute rounds, loads that swing, hosts that people switch, every day's hot afternoon."""
    one, chance = fleet(8, seed=11), random.Random(11)
    hosts = [blade.host for sled in one.world.site.sleds for blade in sled.blades]
    for _ in range(DAYS * 24):
        if chance.random() < 0.3:
            one.world.set_power(chance.choice(hosts), False, again=chance.choice([300.0, 1800.0, 7200.0]))
        one.rounds(12, 300.0)
        assert list(one.shown()) == []
