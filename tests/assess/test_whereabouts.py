"""Parts followed from walk to walk and from controller to controller."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from msgspec import structs

from collector.assess.whereabouts import Walked, Whereabouts
from collector.model import Event, Health, Identity, Kind, Location, Part, PowerState, State, Status, Stay, Turn
from tests.assess.inventories import ABSENT, part, sled, walk


def subjects(walked: Walked) -> list[str]:
    return [event.subject for event in walked.events]


def only(walked: Walked, subject: str) -> Event:
    assert subjects(walked) == [subject], [event.text for event in walked.events]
    return walked.events[0]


def having(parts: Sequence[Part], path: str, **identity: str | None) -> list[Part]:
    """The same parts, one of which tells something else of itself."""
    return [
        structs.replace(each, identity=structs.replace(each.identity, **identity)) if each.id.endswith(path) else each
        for each in parts
    ]


def without(parts: Sequence[Part], *paths: str) -> list[Part]:
    return [each for each in parts if not any(path in each.id for path in paths)]


class Fleet:
    """Walks a quarter of an hour apart, and what the store would hold of them."""

    def __init__(self, *parts: Part) -> None:
        self.whereabouts = Whereabouts()
        self.stored: dict[tuple[str, str, float], Stay] = {}
        self.time = 0.0
        self.controllers: set[str] | None = None
        if parts:
            assert self.walk(*parts).events == ()

    def walk(self, *parts: Part, controller: str = "c1", **more: Any) -> Walked:
        self.time += 900.0
        walked = self.whereabouts.walked(walk(*parts, controller=controller, time=self.time, **more), self.time)
        for stay in walked.stays:
            self.stored[stay.controller, stay.position, stay.since] = stay
        return walked

    def restart(self) -> None:
        stays = sorted(self.stored.values(), key=lambda stay: stay.since)
        self.whereabouts = Whereabouts(stays, self.controllers)

    def history(self, path: str, controller: str = "c1") -> list[tuple[str | None, str, str | None]]:
        """Serial number, and how each stay began and ended, at one position."""
        return [
            (stay.identity.serial, stay.began.value, stay.ended.value if stay.ended else None)
            for stay in sorted(self.stored.values(), key=lambda stay: stay.since)
            if stay.position.endswith(path) and stay.controller == controller
        ]


SLED = sled()


@pytest.fixture(params=[False, True], ids=["running", "restarted"])
def fleet(request: pytest.FixtureRequest) -> Fleet:
    """A walked sled; also as a collector that has just started again knows it."""
    made = Fleet(*SLED)
    if request.param:
        made.restart()
    return made


def test_the_same_walk_again_is_nothing(fleet: Fleet) -> None:
    walked = fleet.walk(*SLED)
    assert (walked.events, walked.stays) == ((), ())


def test_another_serial_number_in_the_same_position(fleet: Fleet) -> None:
    event = only(fleet.walk(*having(SLED, "Blade1/Drives/0", serial="NEW-1", firmware="1.1")), "part swapped")
    assert event.text == (
        "drive 0 at Quellmark / A / R02 / E1 / SLED 1 / BLADE 1 / BAY 0 was swapped: serial NEW-1, was C1-DR10; "
        "firmware 1.1, was 1.0"
    )
    assert event.part == "c1:/redfish/v1/Chassis/Blade1/Drives/0"
    assert fleet.history("Blade1/Drives/0") == [("C1-DR10", "first seen", "swapped"), ("NEW-1", "swapped", None)]


@pytest.mark.parametrize(
    ("told", "subject", "words"),
    [
        ({"firmware": "2.0"}, "firmware changed", "firmware 2.0, was 1.0"),
        ({"part_number": "PN-X"}, "identity changed", "part number PN-X, was PN-D"),
        ({"serial": None, "part_number": "PN-X"}, "part swapped", "part number PN-X, was PN-D"),
    ],
)
def test_what_differs_is_said(fleet: Fleet, told: dict[str, str | None], subject: str, words: str) -> None:
    assert words in only(fleet.walk(*having(SLED, "Blade1/Drives/0", **told)), subject).text


@pytest.mark.parametrize("junk", [None, "", "N/A", "0", "None", "To be filled by O.E.M."])
def test_a_serial_number_that_is_not_told_is_not_taken_away(fleet: Fleet, junk: str | None) -> None:
    assert fleet.walk(*having(SLED, "Blade1/Drives/0", serial=junk, firmware=None)).events == ()
    assert fleet.walk(*SLED).events == ()
    only(fleet.walk(*having(SLED, "Blade1/Drives/0", serial="NEW-1")), "part swapped")


def test_a_serial_number_told_late_is_learned() -> None:
    fleet = Fleet(*having(SLED, "Blade1/Drives/0", serial=None))
    learned = fleet.walk(*SLED)
    assert learned.events == ()
    assert fleet.history("Blade1/Drives/0") == [("C1-DR10", "first seen", None)]


def test_a_part_pulled_and_put_back(fleet: Fleet) -> None:
    gone = fleet.walk(*without(SLED, "Blade1/Drives/0"))
    event = only(gone, "part missing")
    assert event.severity is Health.WARNING
    assert event.text == (
        "drive 0 (serial C1-DR10, part number PN-D) is no longer listed at "
        "Quellmark / A / R02 / E1 / SLED 1 / BLADE 1 / BAY 0"
    )
    assert fleet.walk(*without(SLED, "Blade1/Drives/0")).events == ()
    assert "is back at" in only(fleet.walk(*SLED), "part returned").text
    assert fleet.history("Blade1/Drives/0") == [("C1-DR10", "first seen", "missing"), ("C1-DR10", "returned", None)]


def test_a_place_that_is_listed_as_empty_holds_nothing(fleet: Fleet) -> None:
    empty = having(SLED, "Blade1/Drives/0", serial=None, part_number=None, firmware=None)
    place = {"c1:/redfish/v1/Chassis/Blade1/Drives/0": ABSENT}
    only(fleet.walk(*empty, statuses=place), "part missing")
    assert fleet.walk(*empty, statuses=place).events == ()
    only(fleet.walk(*SLED), "part returned")


def test_what_is_in_an_empty_place_is_not_there_either(fleet: Fleet) -> None:
    walked = fleet.walk(*SLED, statuses={"c1:/redfish/v1/Chassis/Blade1": ABSENT})
    assert only(walked, "part missing").text.endswith("; with 3 parts in it")


def test_an_empty_place_filled_with_another_part(fleet: Fleet) -> None:
    fleet.walk(*without(SLED, "Blade1/Drives/0"))
    event = only(fleet.walk(*having(SLED, "Blade1/Drives/0", serial="NEW-1")), "part swapped")
    assert "serial NEW-1, was C1-DR10" in event.text


def test_a_part_moved_to_an_empty_place() -> None:
    fleet = Fleet(*without(SLED, "Blade2/Drives/1"))
    moved = having(without(SLED, "Blade1/Drives/0"), "Blade2/Drives/1", serial="C1-DR10")
    event = only(fleet.walk(*moved), "part moved")
    assert event.text == (
        "drive 1 (serial C1-DR10, part number PN-D) is now at Quellmark / A / R02 / E1 / SLED 1 / BLADE 2 / BAY 1, "
        "was at Quellmark / A / R02 / E1 / SLED 1 / BLADE 1 / BAY 0"
    )
    assert fleet.history("Blade1/Drives/0") == [("C1-DR10", "first seen", "moved")]
    assert fleet.history("Blade2/Drives/1") == [("C1-DR10", "moved", None)]


def test_two_parts_exchanged(fleet: Fleet) -> None:
    exchanged = having(having(SLED, "Blade1/Drives/0", serial="C1-DR21"), "Blade2/Drives/1", serial="C1-DR10")
    assert subjects(fleet.walk(*exchanged)) == ["part moved", "part moved"]


def test_a_part_moved_into_anothers_place(fleet: Fleet) -> None:
    moved = having(without(SLED, "Blade1/Drives/0"), "Blade2/Drives/1", serial="C1-DR10")
    assert "in place of drive 1 (serial C1-DR21" in only(fleet.walk(*moved), "part moved").text
    assert fleet.history("Blade2/Drives/1") == [("C1-DR21", "first seen", "swapped"), ("C1-DR10", "moved", None)]
    back = only(fleet.walk(*having(moved, "Blade2/Drives/1", serial="C1-DR21")), "part swapped")
    assert "serial C1-DR21, was C1-DR10" in back.text


def test_a_blade_swapped_with_all_that_is_on_it_is_one_event(fleet: Fleet) -> None:
    other = [
        structs.replace(each, identity=structs.replace(each.identity, serial=f"NEW{index:02}"))
        if "Blade1" in each.id
        else each
        for index, each in enumerate(SLED)
    ]
    event = only(fleet.walk(*other), "part swapped")
    assert event.part == "c1:/redfish/v1/Chassis/Blade1"
    assert event.text.endswith("; with 3 parts in it")


def test_a_blade_swapped_for_one_with_less_on_it_is_one_event(fleet: Fleet) -> None:
    fewer = having(without(SLED, "Blade1/Drives/1"), "Chassis/Blade1", serial="NEW-1")
    assert only(fleet.walk(*fewer), "part swapped").text.endswith("; with 1 part in it")


def test_drives_carried_over_to_the_new_blade_are_no_news(fleet: Fleet) -> None:
    other = having(having(SLED, "Chassis/Blade1", serial="NEW-1"), "Blade1/Host", serial="NEW-1")
    assert only(fleet.walk(*other), "part swapped").text.endswith("; with 1 part in it")


def test_a_blade_pulled_is_one_event(fleet: Fleet) -> None:
    event = only(fleet.walk(*without(SLED, "Blade1")), "part missing")
    assert event.text.endswith("; with 3 parts in it")


def test_a_blade_moved_with_all_that_is_on_it_is_one_event(fleet: Fleet) -> None:
    parts = sled(blades=3)
    at_three = [
        structs.replace(each, identity=was.identity)
        for was, each in zip(
            [each for each in SLED if "Blade1" in each.id], [each for each in parts if "Blade3" in each.id], strict=True
        )
    ]
    event = only(fleet.walk(*without(SLED, "Blade1"), *at_three), "part moved")
    assert event.text.endswith("BLADE 1; with 3 parts in it")


def test_a_drive_from_elsewhere_in_a_moved_blade_is_told_by_itself(fleet: Fleet) -> None:
    parts = sled(blades=3)
    at_three = [
        structs.replace(each, identity=was.identity)
        for was, each in zip(
            [each for each in SLED if "Blade1" in each.id], [each for each in parts if "Blade3" in each.id], strict=True
        )
    ]
    filled = having(without([*SLED, *at_three], "Blade1", "Blade2/Drives/0"), "Blade3/Drives/0", serial="C1-DR20")
    walked = fleet.walk(*filled)
    assert sorted(subjects(walked)) == ["part missing", "part moved", "part moved"]
    assert sum("C1-DR20" in event.text for event in walked.events) == 1


def test_a_blade_carried_to_another_sled_is_one_event_there() -> None:
    fleet = pair()
    fleet.walk(*without(SLED, "Blade1"))
    carried = [
        structs.replace(each, identity=next(was.identity for was in SLED if was.uri == each.uri.replace("2", "1", 1)))
        if "Blade2" in each.id
        else each
        for each in TWO
    ]
    walked = fleet.walk(*carried, controller="c2")
    assert subjects(walked) == ["part moved"], [event.text for event in walked.events]
    assert "with 3 parts in it" in walked.events[0].text


def test_what_is_deeper_in_a_blade_comes_along_too() -> None:
    def deeper(controller: str, blade: int, serial: str) -> list[Part]:
        storage = part(f"Blade{blade}/Storage", Kind.OTHER, controller=controller, parent=f"Blade{blade}")
        inner = part(
            f"Blade{blade}/Storage/X", Kind.DRIVE, serial, controller=controller, parent=f"Blade{blade}/Storage"
        )
        return [storage, inner]

    fleet = Fleet()
    fleet.walk(*SLED, *deeper("c1", 1, "DEEP-1"))
    fleet.walk(*TWO, *deeper("c2", 2, "DEEP-2"), controller="c2")
    fleet.walk(*without(SLED, "Blade1"))
    carried = [*having(TWO, "Chassis/Blade2", serial="C1-BL01"), *deeper("c2", 2, "DEEP-1")]
    assert "with 1 part in it" in only(fleet.walk(*carried, controller="c2"), "part moved").text


def test_a_sled_carried_elsewhere_with_its_controller_is_one_event(fleet: Fleet) -> None:
    event = only(fleet.walk(*sled(number=3)), "location changed")
    assert "is told at Quellmark / A / R02 / E1 / SLED 3, before at Quellmark / A / R02 / E1 / SLED 1" in event.text
    assert event.text.endswith(f"; with {len(SLED) - 1} parts in it")


def test_a_location_told_with_less_is_no_move(fleet: Fleet) -> None:
    assert fleet.walk(*(structs.replace(each, location=Location()) for each in SLED)).events == ()


# What a walk can't know


def test_what_a_walk_missed_is_not_missing(fleet: Fleet) -> None:
    cut = without(SLED, "Blade1/Drives")
    assert fleet.walk(*cut, unread=["/redfish/v1/Systems/Blade1/Storage/Local"]).events == ()
    assert fleet.walk(*cut, unread=["/redfish/v1/Systems/Blade1/Storage/Local"]).events == (), "nor a walk later"
    assert subjects(fleet.walk(*cut)) == ["part missing", "part missing"]


def test_a_resource_that_never_could_be_read_hides_nothing() -> None:
    fleet = Fleet()
    fleet.walk(*SLED, unread=["/redfish/v1/Broken"])
    assert subjects(fleet.walk(*without(SLED, "Blade1/Drives/0"), unread=["/redfish/v1/Broken"])) == ["part missing"]


def test_what_goes_with_its_hosts_power_is_not_missing(fleet: Fleet) -> None:
    off = {"c1:/redfish/v1/Chassis/Blade1/Host": Status(state=State.DISABLED, power=PowerState.OFF)}
    assert fleet.walk(*without(SLED, "Blade1/Drives"), statuses=off).events == ()
    assert fleet.walk(*SLED).events == ()
    fans = part("Sled/Fans/1", Kind.FAN, "FN-0001", parent="Sled")
    fleet.walk(*SLED, fans)
    assert subjects(fleet.walk(*SLED, statuses=off)) == ["part missing"], "a fan is listed whatever is off"


def test_a_service_that_lists_nothing_is_told_once_and_nothing_is_missing(fleet: Fleet) -> None:
    only(fleet.walk(), "parts not told")
    assert fleet.walk().events == ()
    assert fleet.walk(*SLED).events == ()


# Rows, and parts without serial numbers


def rows(*fans: int, serials: bool = False, label: bool = False) -> list[Part]:
    return [
        part(
            f"Sled/Thermal#/Fans/{row}",
            Kind.FAN,
            f"FAN-{fan:04}" if serials else None,
            name=f"Fan {fan}",
            parent="Sled",
            location=structs.replace(SLED[0].location, slot=f"FAN {fan}") if label else SLED[0].location,
        )
        for row, fan in enumerate(fans)
    ]


@pytest.mark.parametrize("serials", [False, True])
def test_rows_that_move_up_are_the_same_fans(serials: bool) -> None:
    fleet = Fleet(*SLED, *rows(1, 2, 3, 4, serials=serials))
    event = only(fleet.walk(*SLED, *rows(1, 3, 4, serials=serials)), "part missing")
    assert "Fan 2" in event.text
    assert "Fan 2" in only(fleet.walk(*SLED, *rows(1, 2, 3, 4, serials=serials)), "part returned").text


def test_rows_named_by_number_that_move_up_are_told_by_their_serial_numbers() -> None:
    def numbered(*fans: int) -> list[Part]:
        return [structs.replace(each, name=f"Fan {row}") for row, each in enumerate(rows(*fans, serials=True))]

    fleet = Fleet(*SLED, *numbered(1, 2, 3, 4))
    walked = fleet.walk(*SLED, *numbered(1, 3, 4))
    assert sorted(subjects(walked)) == ["addresses changed", "part missing"]
    assert "FAN-0002" in next(event.text for event in walked.events if event.subject == "part missing")


def test_parts_without_serial_numbers_come_and_go_without_being_swapped() -> None:
    fleet = Fleet(*SLED, *rows(1, 2))
    assert fleet.walk(*SLED, *rows(1, 2)).events == ()
    assert subjects(fleet.walk(*SLED, *rows(1, 2, 3))) == ["part appeared"]
    assert subjects(fleet.walk(*SLED, *rows(1, 2))) == ["part missing"]


@pytest.mark.parametrize("serial", ["N/A", "0000", None, "SAMESAME1"])
def test_serial_numbers_that_are_shared_make_no_moves(serial: str | None) -> None:
    dimms = [part(f"Sled/Dimm{n}", Kind.MEMORY, serial, parent="Sled", part_number="PN-M") for n in range(4)]
    fleet = Fleet(*SLED, *dimms)
    assert subjects(fleet.walk(*SLED, *dimms[:3])) == ["part missing"]
    assert subjects(fleet.walk(*SLED, *dimms[1:])) == ["part returned", "part missing"]


def test_one_serial_number_of_two_part_numbers_is_two_parts(fleet: Fleet) -> None:
    other = having(without(SLED, "Blade1/Drives/0"), "Blade2/Drives/1", serial="C1-DR10", part_number="PN-OTHER")
    assert sorted(subjects(fleet.walk(*other))) == ["part missing", "part swapped"]


@pytest.mark.parametrize("serials", [("1", "2"), ("42", "43")])
def test_numbers_that_only_count_make_no_moves(serials: tuple[str, str]) -> None:
    one = [part(f"Sled/Psu{n}", Kind.POWER_SUPPLY, serial, parent="Sled") for n, serial in enumerate(serials)]
    fleet = Fleet(*SLED, *one)
    exchanged = [structs.replace(each, identity=other.identity) for each, other in zip(one, one[::-1], strict=True)]
    assert subjects(fleet.walk(*SLED, *exchanged)) == ["part swapped", "part swapped"]


# Renamings


def renamed(parts: Sequence[Part], **words: str) -> list[Part]:
    def other(text: str | None) -> str | None:
        for old, new in words.items():
            text = text.replace(old, new) if text is not None else None
        return text

    return [structs.replace(each, id=other(each.id), uri=other(each.uri), parent=other(each.parent)) for each in parts]


def test_a_tree_under_new_names_is_one_event(fleet: Fleet) -> None:
    event = only(fleet.walk(*renamed(SLED, Sled="Tray", Blade="Node")), "addresses changed")
    assert event.text.startswith(f"{len(SLED)} parts are told under other addresses")
    assert fleet.walk(*renamed(SLED, Sled="Tray", Blade="Node")).events == ()


def test_a_tree_without_serial_numbers_under_new_names_is_one_event() -> None:
    bare = [structs.replace(each, identity=Identity()) for each in (*SLED, *rows(1, 2, 3))]
    fleet = Fleet(*bare)
    only(fleet.walk(*renamed(bare, Sled="Tray", Blade="Node", Thermal="Thermal")), "addresses changed")


def test_a_tree_under_new_names_with_new_labels_is_one_event(fleet: Fleet) -> None:
    other = [
        structs.replace(
            each,
            location=structs.replace(each.location, slot=(each.location.slot or "").replace("BLADE", "NODE") or None),
        )
        for each in renamed(SLED, Sled="Tray", Blade="Node")
    ]
    only(fleet.walk(*other), "addresses changed")


def test_some_of_a_tree_under_new_names_with_new_labels_is_one_event() -> None:
    parts = sled(blades=3)
    fleet = Fleet(*parts)
    other = [
        structs.replace(each, location=structs.replace(each.location, slot=each.location.slot.replace("BLADE", "NODE")))
        if each.location.slot
        else each
        for each in renamed(parts, Blade="Node")
    ]
    event = only(fleet.walk(*other), "addresses changed")
    assert event.text.startswith("12 parts are told under other addresses")


def test_what_tells_no_serial_number_is_not_missing_where_the_tree_was_renamed() -> None:
    fleet = Fleet(*SLED, part("Sled/Odd", Kind.OTHER, parent="Sled"))
    only(fleet.walk(*renamed(SLED, Sled="Tray", Blade="Node")), "addresses changed")
    assert [ended for _, _, ended in fleet.history("Sled/Odd")] == ["address changed"]


def test_a_drive_pulled_while_the_tree_was_renamed_is_missing(fleet: Fleet) -> None:
    walked = fleet.walk(*without(renamed(SLED, Sled="Tray", Blade="Node"), "Node1/Drives/0"))
    assert sorted(subjects(walked)) == ["addresses changed", "part missing"]
    assert "C1-DR10" in next(event.text for event in walked.events if event.subject == "part missing")


@pytest.mark.parametrize("serials", [False, True])
def test_rows_that_become_resources_are_the_same_fans(serials: bool) -> None:
    """As when new firmware leaves Thermal for ThermalSubsystem."""
    fleet = Fleet(*SLED, *rows(1, 2, 3, serials=serials))
    newer = [
        part(f"Sled/ThermalSubsystem/Fans/{fan}", Kind.FAN, f"FAN-{fan:04}" if serials else None, parent="Sled")
        for fan in (1, 2, 3)
    ]
    assert only(fleet.walk(*SLED, *newer), "addresses changed").text.startswith("3 parts")


# Several controllers


def pair() -> Fleet:
    fleet = Fleet()
    fleet.walk(*SLED)
    fleet.walk(*sled("c2", 2), controller="c2")
    return fleet


TWO = sled("c2", 2)
CARRIED = having(TWO, "Blade2/Drives/1", serial="C1-DR10")


@pytest.mark.parametrize("restart", [False, True])
def test_a_drive_carried_to_another_sled_told_missing_there_first(restart: bool) -> None:
    fleet = pair()
    only(fleet.walk(*without(SLED, "Blade1/Drives/0")), "part missing")
    if restart:
        fleet.restart()
    event = only(fleet.walk(*CARRIED, controller="c2"), "part moved")
    assert event.controller == "c2"
    assert "is now at Quellmark / A / R02 / E1 / SLED 2 / BLADE 2 / BAY 1, was at" in event.text
    assert "SLED 1 / BLADE 1 / BAY 0" in event.text
    assert "in place of drive 1 (serial C2-DR21" in event.text


def test_a_drive_carried_to_another_sled_told_there_first() -> None:
    fleet = pair()
    came = only(fleet.walk(*CARRIED, controller="c2"), "part swapped")
    assert came.text.endswith(
        "the same serial number is told at Quellmark / A / R02 / E1 / SLED 1 / BLADE 1 / BAY 0 as well"
    )
    event = only(fleet.walk(*without(SLED, "Blade1/Drives/0")), "part moved")
    assert "is now at Quellmark / A / R02 / E1 / SLED 2" in event.text
    stay = next(stay for stay in fleet.stored.values() if stay.controller == "c2" and stay.identity.serial == "C1-DR10")
    assert (stay.began, stay.came_from) == (Turn.MOVED, "c1:/redfish/v1/Chassis/Blade1/Drives/0")


def test_a_drive_carried_away_and_its_place_filled_is_both() -> None:
    fleet = pair()
    fleet.walk(*CARRIED, controller="c2")
    walked = fleet.walk(*having(SLED, "Blade1/Drives/0", serial="NEW-1"))
    assert subjects(walked) == ["part swapped", "part moved"]


def test_a_drive_that_went_round_and_came_back_moved() -> None:
    fleet = pair()
    fleet.walk(*without(SLED, "Blade1/Drives/0"))
    fleet.walk(*CARRIED, controller="c2")
    fleet.walk(*TWO, controller="c2")
    assert "SLED 2" in only(fleet.walk(*SLED), "part moved").text


def test_a_part_that_two_controllers_tell_is_not_moved_when_one_stops() -> None:
    manager = [structs.replace(part("Slots/1", Kind.SLED, "C1-SL01", controller="em", part_number="PN-S"))]
    fleet = Fleet()
    fleet.walk(*manager, part("Em", Kind.ENCLOSURE, "EM-0001", controller="em"), controller="em")
    fleet.walk(*SLED)
    gone = fleet.walk(part("Em", Kind.ENCLOSURE, "EM-0001", controller="em"), controller="em")
    assert "is told at Quellmark / A / R02 / E1 / SLED 1 as well" in only(gone, "part missing").text


def test_a_part_that_another_controller_told_before_has_not_moved_there() -> None:
    manager = part("Em", Kind.ENCLOSURE, "EM-0001", controller="em")
    slot = part("Slots/1", Kind.SLED, "C1-SL01", controller="em", part_number="PN-S")
    fleet = Fleet()
    fleet.walk(manager, controller="em")
    fleet.walk(manager, slot, controller="em")
    fleet.walk(*SLED, *shared())
    gone = fleet.walk(*shared())
    assert subjects(gone) == ["part missing"], [event.text for event in gone.events]


def shared() -> list[Part]:
    """Something that stays when the sled goes."""
    return [part("Other", Kind.OTHER, "OT-0001"), part("Another", Kind.OTHER, "OT-0002")]


def test_a_part_is_not_moved_from_where_it_was_before_the_last_place() -> None:
    fleet = pair()
    fleet.walk(*having(without(SLED, "Blade1/Drives/0"), "Blade2/Drives/1", serial="C1-DR10"))
    told_twice = fleet.walk(*CARRIED, controller="c2")
    assert only(told_twice, "part swapped").text.endswith("SLED 1 / BLADE 2 / BAY 1 as well")


def test_a_serial_number_that_the_whole_fleet_tells_names_no_other_place() -> None:
    fleet = Fleet()
    for number in range(1, 6):
        drive = part("D", Kind.DRIVE, "SAME-1", controller=f"n{number}", parent="Sled")
        fleet.walk(*sled(f"n{number}", number), drive, controller=f"n{number}")
    one = sled("n1", 1)
    assert "as well" not in only(fleet.walk(*one, controller="n1"), "part missing").text
    assert (
        "as well"
        not in only(fleet.walk(*having(one, "Blade1/Drives/0", serial="SAME-1"), controller="n1"), "part swapped").text
    )


def test_a_controller_under_another_name_in_the_fleet_file_is_one_event() -> None:
    fleet = Fleet(*SLED)
    fleet.controllers = {"new"}
    fleet.restart()
    same = [structs.replace(each, identity=was.identity) for was, each in zip(SLED, sled("new"), strict=True)]
    only(fleet.walk(*same, controller="new"), "addresses changed")
    assert [ended for _, _, ended in fleet.history("Blade1/Drives/0")] == ["address changed"]


def test_a_controller_under_another_name_that_tells_no_places_is_one_event_too() -> None:
    fleet = Fleet(*(structs.replace(each, location=Location()) for each in SLED))
    fleet.controllers = {"new"}
    fleet.restart()
    same = [
        structs.replace(each, identity=was.identity, location=Location())
        for was, each in zip(SLED, sled("new"), strict=True)
    ]
    only(fleet.walk(*same, controller="new"), "addresses changed")


def test_the_first_walk_of_a_controller_is_no_news() -> None:
    assert pair().walk(*sled("c3", 3), controller="c3").events == ()


def test_a_walk_costs_by_its_own_parts_only(monkeypatch: pytest.MonkeyPatch) -> None:
    fleet = Fleet()
    for number in range(50):
        fleet.walk(*sled(f"n{number}", number), controller=f"n{number}")
    looked: list[str] = []
    monkeypatch.setattr(Whereabouts, "_sightings", lambda self, controller, key: looked.append(key) or [])
    fleet.walk(*having(sled("n7", 7), "Blade1/Drives/0", serial="NEW-1"), controller="n7")
    assert len(looked) == 2, "one for what came, one for what left"


def test_a_clock_that_steps_back_keeps_the_order(fleet: Fleet) -> None:
    fleet.time = -5000.0
    fleet.walk(*having(SLED, "Blade1/Drives/0", serial="NEW-1"))
    fleet.walk(*having(SLED, "Blade1/Drives/0", serial="NEW-2"))
    assert [serial for serial, _, _ in fleet.history("Blade1/Drives/0")] == ["C1-DR10", "NEW-1", "NEW-2"]
    for stay in fleet.stored.values():
        assert stay.until is None or stay.until > stay.since
