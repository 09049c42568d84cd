"""The invented site and its sleds: geometry, names, serials, sensors."""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from simulators.designs import DESIGNS, SHELF, UNIT_MM, SledDesign
from simulators.sensors import layout
from simulators.service.dialects import speech
from simulators.shelves import shelf_layout
from simulators.site import Site, demo_site, scaled_site
from simulators.telemetry import UNIT, Quantity
from tests.conftest import standard

DESIGN = pytest.mark.parametrize("design", DESIGNS.values(), ids=list(DESIGNS))


@pytest.fixture(scope="module")
def site() -> Site:
    return demo_site()


def test_the_demo_site_has_every_design_and_a_mix_of_dialects(site: Site) -> None:
    assert len(site.racks) >= 3
    assert len(site.sleds) == 20
    assert {sled.design.name for sled in site.sleds} == set(DESIGNS)
    assert {sled.dialect for sled in site.sleds} == {"modern", "classic", "both", "small-pages"}
    assert all(speech(unit.dialect).conforming for unit in site.equipment)
    assert [shelf.name for shelf in site.shelves] == ["r01-ps", "r02-ps", "r03-ps"]


def test_a_shelf_stands_below_its_sleds_and_feeds_each_enclosure(site: Site) -> None:
    for rack in site.racks:
        assert rack.shelf is not None
        lowest = min(enclosure.offset for enclosure in rack.enclosures)
        assert rack.shelf.offset >= 0
        assert rack.shelf.offset + rack.shelf.design.units <= lowest
        assert list(rack.shelf.outlets) == [enclosure.label for enclosure in rack.enclosures]
        worst = sum(sled.design.power_supplies[0].capacity for sled in rack.sleds)
        assert worst <= rack.shelf.design.capacity
    place = site.place("r02-ps/psu4")
    assert (place.rack, place.offset, place.enclosure, place.sled, place.slot) == ("R02", 1, None, None, "PSU 4")


def test_sleds_stand_in_their_racks_without_overlap(site: Site) -> None:
    for rack in (*site.racks, *scaled_site(40).racks):
        taken: set[int] = set()
        for enclosure in rack.enclosures:
            inside = range(enclosure.offset, enclosure.offset + enclosure.units)
            assert inside.stop <= rack.units
            for sled in enclosure.sleds:
                units = set(range(sled.offset, sled.offset + sled.design.units))
                assert units <= set(inside)
                assert not units & taken
                taken |= units


@DESIGN
def test_blades_and_drives_fit_where_they_stand(design: SledDesign) -> None:
    # EIA-310: 44.45 mm a rack unit (redfish-notes.md, RackOffsetUnits), 450 mm between the rails (from memory).
    assert design.height <= design.units * UNIT_MM
    assert design.width <= 450.0
    boxes = [(slot.x, slot.y, slot.width, slot.height) for slot in design.slots]
    _no_overlap(boxes, design.width, design.height)
    blade = design.blade
    assert all((slot.width, slot.height) == (blade.width, blade.height) for slot in design.slots)
    assert len(blade.bays) in (0, blade.drives)
    _no_overlap([(bay.x, bay.y, bay.width, bay.height) for bay in blade.bays], blade.width, blade.height)
    radius = design.fan.diameter / 2
    _no_overlap([(x - radius, 0.0, 2 * radius, 80.0) for x in design.fan_x], design.width, design.height)


def _no_overlap(boxes: list[tuple[float, float, float, float]], width: float, height: float) -> None:
    for x, y, w, h in boxes:
        assert x >= 0
        assert x + w <= width
        assert y >= 0
        assert y + h <= height
    for (ax, ay, aw, ah), (bx, by, bw, bh) in combinations(boxes, 2):
        assert ax + aw <= bx or bx + bw <= ax or ay + ah <= by or by + bh <= ay


@DESIGN
def test_one_converter_carries_the_sled_at_its_worst(design: SledDesign) -> None:
    worst = len(design.slots) * design.blade.max_power + design.fans * design.fan.max_power + 50.0
    assert worst <= min(supply.capacity for supply in design.power_supplies)


def test_names_paths_and_serials_are_unique_and_fit_their_use(site: Site) -> None:
    for place in (site, scaled_site(200)):
        names = [unit.name for unit in place.equipment]
        assert len(set(names)) == len(names)
        assert all(re.fullmatch(r"[A-Za-z0-9._-]{1,64}", name) for name in names)
        parts = [part for unit in place.equipment for part in unit.parts.values()]
        assert len({part.path for part in parts}) == len(parts)
        # A host has no sticker of its own: it tells the serial of its blade.
        # Circuits and outlets are none.
        own = [part.serial for part in parts if part.kind not in ("host", "circuit", "outlet")]
        assert len(set(own)) == len(own)


def test_containers_come_before_what_they_contain(site: Site) -> None:
    for sled in site.sleds:
        seen: set[str | None] = {None}
        for part in sled.parts.values():
            assert part.parent in seen
            seen.add(part.path)


def test_the_same_layout_has_the_same_serials() -> None:
    small, large = scaled_site(20), scaled_site(45)
    for sled in small.sleds[:15]:
        assert sled.parts == large.sled(sled.name).parts


def test_ten_thousand_controllers() -> None:
    site = scaled_site(10_000)
    assert len({sled.name for sled in site.sleds}) == 10_000
    assert sum(len(rack.sleds) for rack in site.racks) == 10_000
    for wrong in (0, -1):
        with pytest.raises(ValueError, match="at least one"):
            scaled_site(wrong)


def test_a_part_is_found_by_its_path_with_its_place(site: Site) -> None:
    part = site.part("r02-e1-s3/blade2/drive0")
    assert (part.kind, part.label, part.parent) == ("drive", "DRIVE 0", "r02-e1-s3/blade2")
    place = site.place(part.path)
    assert (place.row, place.rack, place.offset, place.enclosure) == ("A", "R02", 6, "E1")
    assert (place.sled, place.slot, place.ordinal) == ("SLED 3", "BLADE 2", 1)
    assert site.place("r02-e1-s3").slot is None


@pytest.mark.parametrize(
    ("path", "said"),
    [("r99-e1-s1", "no sled named 'r99-e1-s1'"), ("r01-e1-s1/fan9", "has no part 'r01-e1-s1/fan9'")],
)
def test_an_unknown_path_is_named(site: Site, path: str, said: str) -> None:
    with pytest.raises(KeyError, match=said):
        site.part(path)


@DESIGN
def test_sensors_are_told_apart_and_their_limits_are_in_order(design: SledDesign) -> None:
    specs = layout(design.name, flow=True).specs
    assert 40 <= len(specs) <= 70
    assert len({spec.id for spec in specs}) == len(specs)
    for spec in specs:
        limits = spec.thresholds
        rising = [
            limits.lower_fatal,
            limits.lower_critical,
            limits.lower_caution,
            limits.upper_caution,
            limits.upper_critical,
            limits.upper_fatal,
        ]
        told = [limit for limit in rising if limit is not None]
        assert told == sorted(set(told)), spec.id
        assert all(spec.low <= limit <= spec.high for limit in told), spec.id


def test_sensor_words_and_units_are_the_standards() -> None:
    """DMTF DSP8010: PhysicalContext, Sensor.ReadingType, and the ReadingUnits that it prescribes for each type."""
    contexts = standard("redfish", "csdl", "PhysicalContext_v1.xml").read_text("utf-8")
    sensor = standard("redfish", "csdl", "Sensor_v1.xml").read_text("utf-8")
    specs = [spec for design in DESIGNS for spec in layout(design, flow=True).specs]
    specs += shelf_layout(SHELF, 3).specs
    for context in {spec.context for spec in specs}:
        assert f'<Member Name="{context}">' in contexts
    assert {spec.quantity for spec in specs} == set(Quantity)
    for quantity in Quantity:
        text = sensor.partition(f'<Member Name="{quantity}">')[2].partition("</Member>")[0]
        units = re.search(r"`ReadingUnits` property shall contain (?:either )?`([^`]+)`", text)
        assert units is not None, quantity
        assert units[1] == UNIT[quantity]
