"""Odd bodies: each oddity changes what it says that it changes and nothing else."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from simulators.service import both, odd
from simulators.service.dialects import tree
from simulators.service.odd import ODDITIES
from simulators.service.places import Plan
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.service.tree import Tree
from tests.simulators.service_kit import PASSWORD, USER, Asker, Sledge, asker, sled_of, still_world

DESIGNS = pytest.mark.parametrize("design", ["quad", "duo", "liquid"])


def told(tree_: Tree, design: str) -> dict[str, Any]:
    """Every body of a tree as a client gets it."""
    sled = sled_of(design, "modern")
    world = still_world()
    service = Service(sled, tree_, Sledge(world, sled.name), Account(USER, PASSWORD))
    one = Asker(service, world, sled)
    return {path: one.get(path) for path in tree_.resources}


def at(body: Any, pointer: str) -> Any:
    """RFC 6901; "nothing" where there is none."""
    for step in pointer.split("/")[1:]:
        step = step.replace("~1", "/").replace("~0", "~")
        try:
            body = body[int(step)] if isinstance(body, list) else body[step]
        except (KeyError, IndexError):
            return "nothing"
    return body


@DESIGNS
@pytest.mark.parametrize("name", sorted(ODDITIES))
def test_an_oddity_changes_what_it_says_and_no_other_resource(design: str, name: str) -> None:
    sled = sled_of(design, "modern")
    right, wrong = both.build(sled), both.build(sled)
    (spots,) = odd.commit(wrong, Plan(sled), [name]).values()
    before, after = told(right, design), told(wrong, design)
    assert spots
    changed = {path for path in before if before[path] != after[path]}
    assert changed == {spot.resource for spot in spots}
    for spot in spots:
        assert at(before[spot.resource], spot.pointer) != at(after[spot.resource], spot.pointer), spot


@DESIGNS
def test_the_odd_dialect_has_all_of_them_and_still_tells(design: str) -> None:
    base = sled_of(design, "modern")
    everything = told(tree(replace(base, dialect="odd")), design)
    some = told(tree(replace(base, dialect="odd:unit-c,wrong-count")), design)
    assert some["/redfish/v1/Chassis/Sled/Sensors/SledInlet"]["ReadingUnits"] == "C"
    chassis = some["/redfish/v1/Chassis"]
    assert chassis["Members@odata.count"] == len(chassis["Members"]) + 2
    assert some["/redfish/v1/Chassis/Sled/Sensors/Adapter"]["Reading"] is not None
    assert everything["/redfish/v1/Chassis/Sled/Sensors/Adapter"]["Reading"] is None
    spots = odd.commit(both.build(base), Plan(base), ODDITIES)
    assert set(spots) == set(ODDITIES)
    for path, body in everything.items():
        assert json.loads(json.dumps(body)) == body, path


def test_spots_of_oddities_do_not_hide_each_other() -> None:
    """Each stays to be seen when all are on."""
    sled = sled_of("quad", "modern")
    all_spots = odd.commit(both.build(sled), Plan(sled), ODDITIES)
    places = [spot for spots in all_spots.values() for spot in spots]
    assert len(places) == len(set(places))


def test_what_is_odd_is_still_live() -> None:
    sled = sled_of("duo", "modern")
    wrong = both.build(sled)
    odd.commit(wrong, Plan(sled), ["text-number", "percent-fans", "strange-state"])
    bodies = told(wrong, "duo")
    points = asker("duo", "modern").world.telemetry(sled.name)
    assert (
        float(bodies["/redfish/v1/Chassis/Sled/Sensors/SledExhaust"]["Reading"]) == points.sensors["SledExhaust"].value
    )
    for index, row in enumerate(bodies["/redfish/v1/Chassis/Sled/Thermal"]["Fans"], 1):
        rpm = points.sensors[f"Fan{index}Tach"].value
        assert rpm is not None
        assert row["ReadingUnits"] == "Percent"
        assert row["Reading"] == pytest.approx(100.0 * rpm / sled.design.fan.rated_rpm, abs=0.51)
        assert row["LowerThresholdCritical"] < row["LowerThresholdNonCritical"] < 100
    supply = bodies["/redfish/v1/Chassis/Sled/PowerSubsystem/PowerSupplies/Psu1"]
    assert supply["Status"] == {"State": "Offline", "Health": "OK", "HealthRollup": "OK"}


def test_every_oddity_has_a_sentence_and_a_kind_of_defect_or_none() -> None:
    assert all(oddity.text.endswith(".") for oddity in ODDITIES.values())
    assert sum(oddity.defect is None for oddity in ODDITIES.values()) >= 8
