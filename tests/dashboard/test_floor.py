"""Racks, rows and heights, from what controllers tell and mistell of places and sizes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from collector.assess.rollup import by_rack
from collector.model import (
    ControllerState,
    Health,
    Kind,
    Location,
    Outcome,
    Part,
    Size,
)
from collector.model.places import FrontHealth, front_of
from collector.store.overview import Chosen, FrontRow
from collector.store.reader import Reader
from dashboard.drawings.things import Standing
from dashboard.queries import Source
from dashboard.views.floor import Floor, floor
from dashboard.views.places import Places
from tests.dashboard.invented import GONE, SEIZED


def test_sleds_stand_in_their_racks_rows_and_heights(source: Source) -> None:
    drawn = source.glance.rounds(Chosen()).floor
    assert [(row.name, [rack.name for rack in row.racks]) for row in drawn.rows] == [
        ("Quellmark, row A", ["R01", "R02"]),
        ("Quellmark, row B", ["R03"]),
    ]
    heights = {sled.controller: round(sled.bay.y / 44.45, 6) for sled in drawn.sleds}
    assert heights["r01-s2"] == 4
    assert heights["r03-s1"] == 0
    assert [(each.sled.controller, each.why) for each in drawn.homeless] == [("loose", "no rack told")]


def test_own_trouble_is_told_from_being_at_risk(source: Source) -> None:
    sleds = {sled.controller: sled for sled in source.glance.rounds(Chosen()).floor.sleds}
    assert sleds[SEIZED].standing == Standing(Health.CRITICAL)
    assert [blade.standing for blade in sleds[SEIZED].blades] == [Standing(Health.OK, ("Fan 2",))] * 4
    assert sleds["r02-s1"].standing.health is Health.WARNING
    assert [blade.standing.health for blade in sleds["r02-s1"].blades] == [Health.WARNING, Health.OK]
    assert sleds["r01-s1"].standing.quiet


def test_what_does_not_answer_is_unknown_and_says_why(source: Source) -> None:
    sleds = {sled.controller: sled for sled in source.glance.rounds(Chosen()).floor.sleds}
    assert sleds[GONE].standing == Standing(note="timed out")
    assert {blade.standing.health for blade in sleds[GONE].blades} == {Health.UNKNOWN}
    assert sleds["r03-s4"].standing == Standing(note="not asked yet")


def test_an_absent_blade_is_an_empty_slot(source: Source) -> None:
    sleds = {sled.controller: sled for sled in source.glance.rounds(Chosen()).floor.sleds}
    assert [blade.absent for blade in sleds["r03-s1"].blades] == [False, False, False, True]


def test_the_floor_agrees_with_the_rollup_by_rack(filled: tuple[Path, float], source: Source) -> None:
    """A second opinion: assess.rollup.by_rack on the same records."""
    with Reader(filled[0]) as reader:
        told = {place.rack: health for place, health in by_rack(reader.parts(), reader.rolled()).items()}
    for row in source.glance.rounds(Chosen()).floor.rows:
        for rack in row.racks:
            heard = [sled for sled in rack.sleds if not sled.standing.note]
            if len(heard) == len(rack.sleds):
                assert max(sled.standing.health for sled in rack.sleds) == told[rack.name].worst


def chassis(name: str, /, **more: object) -> Part:
    told: dict[str, object] = {
        "id": f"{name}:/c",
        "controller": name,
        "uri": "/c",
        "kind": Kind.SLED,
        "name": name,
        "size": Size(width=436.0, height=86.0),
        **more,
    }
    return Part(**told)  # type: ignore[arg-type]


def drawn(*parts: Part) -> Floor:
    names = dict.fromkeys(part.controller for part in parts)
    return floor([front_row(name, [part for part in parts if part.controller == name]) for name in names], {})


def front_row(name: str, parts: Sequence[Part], health: Health = Health.OK) -> FrontRow:
    front = front_of(name, parts, Location())
    return FrontRow(name, Outcome.OK, front, FrontHealth(health, (), tuple((health, (), False) for _ in front.slots)))


def invented_state(name: str, **more: object) -> ControllerState:
    told: dict[str, object] = {
        "controller": name,
        "url": f"https://{name}.invalid",
        "location": Location(),
        "insecure": False,
        "outcome": Outcome.OK,
        "error": "",
        "last_round": 100.0,
        "last_good": 100.0,
        "round_seconds": 0.4,
        "rounds": 1,
        "failed_rounds": 0,
        "late_rounds": 0,
        "requests": 1,
        "bytes_received": 1,
        "defects": 0,
        **more,
    }
    return ControllerState(**told)  # type: ignore[arg-type]


def at(offset: float | None, rack: str | None = "R1", **more: object) -> Location:
    return Location(site="S", row="A", rack=rack, offset=offset, **more)  # type: ignore[arg-type]


def test_half_width_sleds_at_one_height_stand_beside_each_other() -> None:
    half = Size(width=215.0, height=86.0)
    found = drawn(chassis("a", location=at(3), size=half), chassis("b", location=at(3), size=half))
    left, right = found.rows[0].racks[0].sleds
    assert left.bay.y == right.bay.y == 3 * 44.45
    assert left.bay.x + left.bay.width <= right.bay.x
    assert left.told


def test_full_width_sleds_that_tell_their_enclosures_height_are_stacked_and_not_called_told() -> None:
    found = drawn(chassis("a", location=at(3)), chassis("b", location=at(3)))
    lower, upper = found.rows[0].racks[0].sleds
    assert upper.bay.y == pytest.approx(lower.bay.y + 2 * 44.45)
    assert not lower.told
    assert not upper.told


@pytest.mark.parametrize(
    ("location", "why"),
    [
        (at(None), "no height in the rack told"),
        (at(2, rack=None), "no rack told"),
        (at(float("nan")), "told to be at Unan"),
        (at(1e9), "told to be at U1e+09"),
        (at(-4), "told to be at U-3"),
    ],
)
def test_a_place_that_cannot_be_drawn_is_said(location: Location, why: str) -> None:
    found = drawn(chassis("a", location=location))
    assert [each.why for each in found.homeless] == [why]


def test_two_sleds_in_one_place_do_not_hide_each_other() -> None:
    found = drawn(chassis("a", location=at(3)), chassis("b", location=at(4)))
    assert [sled.controller for sled in found.rows[0].racks[0].sleds] == ["a"]
    assert [(each.sled.controller, each.why) for each in found.homeless] == [("b", "told to be where another one is")]


def test_open_rack_units_are_higher() -> None:
    found = drawn(chassis("a", location=at(10, offset_unit="OpenU")))
    rack = found.rows[0].racks[0]
    assert (rack.unit, rack.sleds[0].bay.y) == (48.0, 480.0)


def test_a_rack_that_tells_its_height_is_drawn_whole() -> None:
    rack = chassis("a", id="a:/rack", kind=Kind.RACK, name="R1", location=at(None), size=Size(height=42 * 44.45))
    found = drawn(chassis("a", location=at(3), parent="a:/rack"), rack)
    assert (found.rows[0].racks[0].units, found.rows[0].racks[0].told) == (42, True)


def test_racks_stand_in_the_order_people_count() -> None:
    parts = [chassis(f"c{number}", location=at(0, rack=f"R{number}")) for number in (10, 2, 1)]
    assert [rack.name for rack in drawn(*parts).rows[0].racks] == ["R1", "R2", "R10"]


def test_containment_in_a_circle_is_followed_once() -> None:
    one, other = chassis("a", id="a:1", parent="a:2"), chassis("a", id="a:2", parent="a:1", location=at(1))
    places = Places([one, other])
    assert [part.id for part in places.lineage(one)] == ["a:1", "a:2"]
    assert places.location(one).rack == "R1"
