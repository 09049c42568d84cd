"""What is left at places: a rack's watts from what its sleds draw, and how fast the air may still change."""

from __future__ import annotations

import math

from msgspec import structs

from collector.assess.looking import Seen
from collector.assess.margins.places import FeedRating, Place
from collector.assess.margins.racks import RackPower, Racks
from collector.assess.margins.swing import AirSwing
from collector.model import Kind, Location, Margin, MarginKind
from tests.assess.margins.rig import Rig
from tests.assess.margins.test_tracker import seen

RACK = Location(site="Q", row="A", rack="R01")


def test_sleds_add_up_in_their_rack_and_what_feeds_others_is_not_counted_twice() -> None:
    racks = Racks([Place(RACK, feeds=(FeedRating("A", 6000.0), FeedRating("B", 5000.0)))])
    told: list[Margin] = []
    drawn = 0.0
    for name in ("s1", "s2"):
        rig = Rig(name=name)
        one = RackPower(name, racks, RACK)
        one.inventory(rig.inventory(), rig.time)
        told += one.round(seen(rig))
        figures = racks.figures(RACK, rig.time)
        assert figures is not None
        assert figures.power > drawn
        drawn = figures.power
    assert {margin.kind for margin in told} == {MarginKind.POWER, MarginKind.REDUNDANCY}
    assert {(margin.controller, margin.part) for margin in told} == {(None, RACK.text)}
    assert told[-1].limit - told[-1].left == told[-1].value
    shelf, rig = RackPower("ps", racks, RACK), Rig(name="ps")
    without = [part for part in rig.inventory().parts if part.kind not in (Kind.BLADE, Kind.HOST)]
    shelf.inventory(structs.replace(rig.inventory(), parts=tuple(without)), rig.time)
    assert shelf.round(seen(rig)) == ()


def test_air_that_changes_by_five_and_a_half_kelvin_in_a_quarter_of_an_hour_is_too_fast() -> None:
    """ASHRAE TC 9.9, 2021 (limits from memory): the worked series of the check values, 24.0, 26.0, 28.5, 29.5 Cel."""
    rig = Rig()
    inventory = rig.inventory()
    columns = [
        column
        for column, sensor in enumerate(inventory.layout.sensors)
        if "inlet" in sensor.sensor.lower() or sensor.context == "Intake"
    ]
    swing = AirSwing(rig.name, [Place(Location(), air_class="A2")])
    swing.inventory(inventory, 0.0)
    left = []
    for minute, degrees in ((0, 24.0), (5, 26.0), (10, 28.5), (15, 29.5)):
        told = swing.round(at(seen(rig, dict.fromkeys(columns, degrees)), 60.0 * minute))
        left.append(told[0].left)
        assert told[0].kind is MarginKind.SWING
    assert left == [5.0, 3.0, 0.5, -0.5]
    assert swing.round(at(seen(rig, dict.fromkeys(columns, 29.5)), 930.0))[0].left == 1.5
    assert swing.round(at(seen(rig, dict.fromkeys(columns, 29.5)), 945.0)) == []
    assert swing.round(at(seen(rig, dict.fromkeys(columns, math.nan)), 960.0)) == []
    unknown = AirSwing(rig.name)
    unknown.inventory(inventory, 0.0)
    assert unknown.round(seen(rig)) == []


def at(one: Seen, time: float) -> Seen:
    return structs.replace(one, time=time)
