"""Pairs of faults in drills: neither hides the other, and what is drawn beside a fault is near it.

What is hidden is worked out here from the layout of the invented site, case by case.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from collector.cli.drilling.hiding import hides
from collector.cli.drilling.stage import small_site
from collector.cli.drilling.trial import NO_FAULTS, UNSEEN, Planted, draw
from simulators.faults import CATALOGUE
from simulators.network import Joint
from simulators.site import Part, Site

SITE = small_site()
SLED, NEXT, OTHER = "r01-e2-s1", "r01-e2-s2", "r03-e1-s1"
"""Two sleds of one enclosure, and one of another rack."""
SWITCH, PORT = "~r01-data", "~r01-data/port5"
DATA_CABLE = f"~{SLED}/adapter/port1|r01-data/port5"
BLADE_CABLE, DRIVE_CABLE = f"~{SLED}/blade1|{SLED}", f"~{SLED}/blade1/drive0|{SLED}/blade1"


@pytest.mark.parametrize(
    ("fault", "part", "hidden", "seen"),
    [
        # who is cut off tells nothing: of its own sled, of its rack, of a switch that only its rack hears
        (
            "controller-hung",
            f"{SLED}/controller",
            (f"{SLED}/fan1", f"{SLED}/blade1/drive0", SLED, DATA_CABLE, DRIVE_CABLE),
            (f"{NEXT}/fan1", "r01-ps/psu1", SWITCH, "~r01-mgmt", f"{OTHER}/fan1"),
        ),
        (
            "controller-hung",
            "r01-ps/controller",
            ("r01-ps/psu1", "r01-ps/outlet1"),
            (f"{SLED}/fan1", SWITCH, "r03-ps/psu1"),
        ),
        (
            "management-switch-lost",
            "~r01-mgmt",
            (f"{SLED}/fan1", f"{NEXT}/controller", "r01-ps/psu1", SWITCH, PORT, DATA_CABLE, BLADE_CABLE),
            (f"{OTHER}/fan1", "r03-ps/psu1", "~r03-data", "~r03-data/port1"),
        ),
        # what has no power shows nothing of what is in it
        *(
            (
                fault,
                f"{SLED}/blade1",
                (f"{SLED}/blade1/drive0", f"{SLED}/blade1/cpu0", f"{SLED}/blade1/dimm0", DRIVE_CABLE),
                (f"{SLED}/blade2", f"{SLED}/blade2/drive0", SLED, f"{SLED}/fan1", DATA_CABLE, f"{NEXT}/blade1/drive0"),
            )
            for fault in ("blade-dead", "blade-power-lost")
        ),
        (
            "cable-half-seated",
            BLADE_CABLE,
            (f"{SLED}/blade1/drive0", f"{SLED}/blade1/cpu0", DRIVE_CABLE),
            (f"{SLED}/blade1", f"{SLED}/blade2/drive0", f"{SLED}/adapter", DATA_CABLE),
        ),
        ("cable-half-seated", DRIVE_CABLE, (), (f"{SLED}/blade1/drive0", f"{SLED}/blade1", f"{SLED}/blade1/drive1")),
        # where nothing has a link, no single one is missed
        (
            "switch-lost",
            SWITCH,
            (PORT, DATA_CABLE, "~r01-data/port6"),
            (f"{SLED}/adapter", f"{SLED}/fan1", BLADE_CABLE, DRIVE_CABLE, "~r01-mgmt", "~r03-data", "~r03-data/port1"),
        ),
        (
            "network-adapter-dead",
            f"{SLED}/adapter",
            (PORT, DATA_CABLE),
            (SWITCH, "~r01-mgmt", f"{SLED}/fan1", DRIVE_CABLE, f"~{NEXT}/adapter/port1|r01-data/port7"),
        ),
        ("switch-port-lost", PORT, (DATA_CABLE,), (SWITCH, "~r01-data/port6", f"{SLED}/adapter", BLADE_CABLE)),
    ],
)
def test_what_a_fault_leaves_to_be_seen(fault: str, part: str, hidden: tuple[str, ...], seen: tuple[str, ...]) -> None:
    of = SITE.part(part)
    for other in hidden:
        assert hides(SITE, fault, of, SITE.part(other)), other
    for other in seen:
        assert not hides(SITE, fault, of, SITE.part(other)), other


def test_what_is_in_a_dark_or_silent_thing_hides_nothing_of_it() -> None:
    """The other way round: the small fault leaves the large one in full view."""
    for fault, part, large in (
        ("drive-dead", f"{SLED}/blade1/drive0", f"{SLED}/blade1"),
        ("cable-half-seated", DRIVE_CABLE, f"{SLED}/blade1"),
        ("fan-seized", f"{SLED}/fan1", f"{SLED}/controller"),
        ("fan-seized", f"{SLED}/fan1", "~r01-mgmt"),
        ("cable-half-seated", DATA_CABLE, PORT),
        ("switch-port-lost", PORT, SWITCH),
        ("switch-port-lost", PORT, f"{SLED}/adapter"),
        ("controller-hung", f"{SLED}/controller", "~r01-mgmt"),
        ("network-adapter-dead", f"{SLED}/adapter", SWITCH),
    ):
        assert not hides(SITE, fault, SITE.part(part), SITE.part(large)), (fault, large)


def test_faults_that_hide_nothing_hide_nothing() -> None:
    hiding = {
        *("management-switch-lost", "controller-hung", "blade-dead", "blade-power-lost", "cable-half-seated"),
        *("switch-lost", "network-adapter-dead", "switch-port-lost"),
    }
    assert hiding <= CATALOGUE.keys()
    others = [SITE.part(path) for path in (SLED, f"{SLED}/fan1", f"{SLED}/blade1/drive0", SWITCH, PORT, DATA_CABLE)]
    for fault in CATALOGUE.values():
        if fault.name not in hiding:
            targets = fault.targets(SITE)
            for part in (targets[0], targets[-1]):
                assert not any(hides(SITE, fault.name, part, other) for other in others), fault.name


# What is drawn


def rack_of(site: Site, part: Part) -> set[str]:
    return {unit.name.partition("-")[0] for unit in site.reached(part.path)}


def test_no_pair_is_drawn_of_which_one_hides_the_other() -> None:
    rng = random.Random(101)
    kinds = set()
    for _ in range(600):
        first = draw(SITE, rng)
        second = draw(SITE, rng, near=first)
        assert first.part.path != second.part.path
        assert not hides(SITE, first.fault.name, first.part, second.part), (first, second)
        assert not hides(SITE, second.fault.name, second.part, first.part), (first, second)
        assert second.fault.name not in NO_FAULTS | UNSEEN
        if first.fault.name != "management-switch-lost":
            assert rack_of(SITE, first.part) == rack_of(SITE, second.part), (first, second)
        kinds.add(first.fault.name)
    assert kinds == CATALOGUE.keys() - NO_FAULTS - UNSEEN, "each of them was there"


@pytest.mark.parametrize(
    ("fault", "path"), [("switch-port-lost", PORT), ("switch-lost", SWITCH), ("cable-half-seated", DATA_CABLE)]
)
def test_beside_a_fault_of_the_network_all_sorts_of_parts_of_its_rack_are_drawn(fault: str, path: str) -> None:
    rng = random.Random(102)
    near = Planted(CATALOGUE[fault], SITE.part(path), {})
    drawn = [draw(SITE, rng, near=near).part for _ in range(120)]
    assert all(rack_of(SITE, part) == {"r01"} for part in drawn)
    assert any(not isinstance(part, Joint) for part in drawn), "not the network's alone"
    if fault != "switch-lost":
        assert any(isinstance(part, Joint) for part in drawn)
    units = {SITE.unit(part.path).name for part in drawn if not isinstance(part, Joint)}
    assert len(units) >= 4


def test_beside_a_fault_in_a_sled_cables_of_that_sled_are_drawn_and_half_of_all_in_it() -> None:
    rng = random.Random(103)
    near = Planted(CATALOGUE["fan-seized"], SITE.part(f"{SLED}/fan1"), {})
    drawn = [draw(SITE, rng, near=near).part for _ in range(300)]
    assert any(part.path.startswith(f"~{SLED}/") for part in drawn)
    assert any(part.path.startswith("~r01-data") for part in drawn)
    inside = sum(part.path.removeprefix("~").startswith(SLED) for part in drawn)
    assert 0.4 * len(drawn) < inside < 0.75 * len(drawn)


def test_what_hides_all_of_its_rack_is_drawn_beside_another_rack_or_refused() -> None:
    rng = random.Random(104)
    near = Planted(CATALOGUE["management-switch-lost"], SITE.part("~r01-mgmt"), {})
    assert {rack for _ in range(20) for rack in rack_of(SITE, draw(SITE, rng, near=near).part)} == {"r03"}
    small = replace(SITE, rows=SITE.rows[:1])
    with pytest.raises(ValueError, match=r"too small.*management-switch-lost"):
        draw(small, rng, near=near)


def test_of_lamps_both_are_what_only_a_person_sees() -> None:
    rng = random.Random(105)
    first = draw(SITE, rng, of_lamps=True)
    assert {first.fault.name, draw(SITE, rng, near=first, of_lamps=True).fault.name} <= UNSEEN
