"""What sleds should hold against what they hold; firmware against that of its like."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs
from packaging.version import Version

from collector.assess.diagnosis import Diagnosis
from collector.assess.fit import is_behind, misfits
from collector.assess.looks.fit import Firmware, FitLook
from collector.assess.tree import Tree
from collector.assess.watch import Watch
from collector.model import Assessment, Design, Holding, Kind, Misfitting, Part, Sign, Size, State, Status
from tests.assess.inventories import at, part, walk

SLED = part("S", Kind.SLED, "S-1", model="QM-4")


def blade(slot: int, number: str = "BD-7", **more: Any) -> Part:
    made = part(f"B{slot}", Kind.BLADE, f"B-{slot}", parent="S", location=at(slot=f"BAY {slot}"), part_number=number)
    return structs.replace(made, **more)


def design(*holds: Holding) -> Design:
    return Design(name="quad", sleds=("QM-4",), holds=holds)


def told(*parts: Part, holds: tuple[Holding, ...], **statuses: Status) -> list[tuple[Misfitting, str | None]]:
    found = misfits(Tree(parts), {f"c1:/redfish/v1/Chassis/{k}": v for k, v in statuses.items()}, [design(*holds)])
    return [(each.how, each.slot) for each in found]


IN_BAY = tuple(Holding(kind=Kind.BLADE, slot=f"BAY {n}", part_numbers=("BD-7",)) for n in (0, 1))


def test_a_sled_as_designed_differs_in_nothing() -> None:
    assert told(SLED, blade(0), blade(1), holds=IN_BAY) == []


def test_wrong_missing_extra_and_misplaced_are_told_apart() -> None:
    assert told(SLED, blade(0), blade(1, "XX-1"), holds=IN_BAY) == [(Misfitting.WRONG, "BAY 1")]
    assert told(SLED, blade(0), holds=IN_BAY) == [(Misfitting.MISSING, "BAY 1")]
    assert told(SLED, blade(0), blade(1), holds=IN_BAY, B1=Status(state=State.ABSENT)) == [
        (Misfitting.MISSING, "BAY 1")
    ]
    two_kinds = (IN_BAY[0], structs.replace(IN_BAY[1], part_numbers=("BD-9",)))
    assert told(SLED, blade(0, "BD-9"), blade(1, "BD-7"), holds=two_kinds) == [
        (Misfitting.MISPLACED, "BAY 0"),
        (Misfitting.MISPLACED, "BAY 1"),
    ]
    counted = (Holding(kind=Kind.BLADE, count=1),)
    assert told(SLED, blade(0), blade(1), holds=counted) == [(Misfitting.EXTRA, "BAY 1")]


def test_a_part_that_tells_no_number_is_not_called_wrong() -> None:
    silent = part("B0", Kind.BLADE, parent="S", location=at(slot="BAY 0"))
    assert told(SLED, silent, blade(1), holds=IN_BAY) == []


def test_height_and_parts_within_a_slot() -> None:
    tall = (structs.replace(IN_BAY[0], height=41.0),)
    assert told(SLED, blade(0, size=Size(height=41.4)), holds=tall) == []
    assert told(SLED, blade(0, size=Size(height=62.0)), holds=tall) == [(Misfitting.WRONG, "BAY 0")]
    drives = (Holding(kind=Kind.DRIVE, count=2, within="BAY 0"),)
    parts = [part(f"D{n}", Kind.DRIVE, f"D-{n}", parent=f"B{n // 2}") for n in range(3)]
    assert told(SLED, blade(0), blade(1), *parts, holds=drives) == []
    assert told(SLED, blade(0), blade(1), *parts[1:], holds=drives) == [(Misfitting.MISSING, None)]


def test_a_sled_of_no_design_differs_in_nothing() -> None:
    other = part("S", Kind.SLED, model="other")
    assert told(other, blade(0, "XX"), holds=IN_BAY) == []


@given(st.lists(st.integers(0, 99), min_size=1, max_size=4), st.lists(st.integers(0, 99), min_size=1, max_size=4))
def test_versions_of_plain_numbers_compare_as_the_python_packaging_library_compares_them(
    first: list[int], second: list[int]
) -> None:
    """Source: PyPA version specifiers, as the ``packaging`` library has them."""
    have, least = ".".join(map(str, first)), ".".join(map(str, second))
    assert is_behind(have, least) == (Version(have) < Version(least))


@pytest.mark.parametrize("strange", ["", "unknown", "v" * 10_000, "9" * 10_000])
def test_a_strange_version_is_not_behind(strange: str) -> None:
    assert not is_behind(strange, "1.0")


def fleet(versions: list[str]) -> list[FitLook]:
    firmware, looks = Firmware(), []
    for number, version in enumerate(versions):
        name = f"c{number}"
        looks.append(FitLook(name, (), firmware))
        part_ = part("M", Kind.CONTROLLER, controller=name, model="MC-1", firmware=version)
        looks[-1].inventory(walk(part_, controller=name), 5.0)
    return looks


def test_firmware_behind_nearly_all_of_its_like_is_a_sign_and_among_too_few_it_is_not() -> None:
    looks = fleet(["2.4"] * 6 + ["2.3"])
    assert [sign for _, sign, _ in looks[-1].present] == [Sign.OLD_FIRMWARE]
    assert not fleet(["2.4"] * 3 + ["2.3"])[-1].present
    assert not fleet(["2.4"] * 6 + ["2.5"])[-1].present
    assert not fleet(["2.4", "2.3"] * 4)[-1].present


def test_a_misfit_is_a_sign_of_its_part_and_known_since_it_was_seen_first() -> None:
    look = FitLook("c1", [design(*IN_BAY)], Firmware())
    look.inventory(walk(SLED, blade(0), blade(1, "XX-1")), 5.0)
    look.inventory(walk(SLED, blade(0), blade(1, "XX-1")), 9.0)
    (seen,) = look.present.values()
    assert (seen.part, seen.sign, seen.since) == (blade(1).id, Sign.WRONG_PART, 5.0)
    look.inventory(walk(SLED, blade(0), blade(1)), 12.0)
    assert not look.present


def test_a_ward_tells_misfits_after_the_first_walk_and_when_they_change() -> None:
    designed = Diagnosis([design(*IN_BAY)])
    ward = designed.ward(Watch("c1", 30.0))

    def walked(number: str, time: float) -> Assessment:
        return ward.inventory(walk(SLED, blade(0), blade(1, number), time=time), time)

    assert walked("BD-7", 0.0).misfits == ()
    assert walked("BD-7", 60.0).misfits is None
    wrong = walked("XX-1", 120.0).misfits
    assert wrong is not None
    assert [each.how for each in wrong] == [Misfitting.WRONG]
    assert walked("BD-7", 180.0).misfits == ()
