"""Wear: errors counted, lives that end, parts that expect to fail."""

from __future__ import annotations

from msgspec import structs

from collector.assess.looks.wear import WearLook
from collector.model import (
    Identity,
    Inventory,
    Kind,
    Sensor,
    Sign,
    Status,
)
from tests.assess.fleet import NAME, inventory, part, pid
from tests.assess.looks.seeing import ECC, LIFE, UECC, seen, signs, with_sensors


def wear(*sensors: Sensor) -> WearLook:
    look = WearLook(NAME)
    look.inventory(with_sensors(*sensors), 0.0)
    return look


def test_few_corrected_errors_are_normal_and_many_are_not() -> None:
    look = wear(ECC)
    for hour in range(200):
        look.round(seen(3600.0 * hour, [float(hour // 4)]))
    assert not look.present
    for minute in range(10):
        look.round(seen(720_000 + 60.0 * minute, [50.0 + 5 * minute]))
    assert signs(look) == {("drive", Sign.CORRECTABLE)}
    look.round(seen(720_600, [0.0]))
    assert not look.present, "another module counts from the start"


def test_an_uncorrectable_error_shows_at_once_but_not_one_of_long_ago() -> None:
    look = wear(UECC)
    look.round(seen(0, [3.0]))
    look.round(seen(30, [3.0]))
    assert not look.present
    look.round(seen(60, [4.0]))
    assert signs(look) == {("drive", Sign.UNCORRECTABLE)}


def test_a_drive_that_wears_gets_a_date_with_an_interval() -> None:
    look = wear(LIFE)
    for day in range(40):
        look.round(seen(86_400.0 * day, [60.0 - day]))
    assert signs(look) == {("drive", Sign.WORN)}
    (only,) = look.present.values()
    assert "1970-03-02" in only.text, "60 days after the epoch, at a point a day"
    slow = wear(LIFE)
    for day in range(400):
        slow.round(seen(86_400.0 * day, [90.0 - day // 40]))
    assert not slow.present, "ten more years"


def test_a_drive_near_its_end_or_falling_fast_is_worn_without_a_trend() -> None:
    look = wear(LIFE)
    look.round(seen(0, [9.0]))
    assert signs(look) == {("drive", Sign.WORN)}
    look.round(seen(60, [100.0]))
    assert not look.present, "a new one"
    look.round(seen(120, [80.0]))
    assert signs(look) == {("drive", Sign.WORN)}


def test_what_another_drive_in_its_place_has_lost_is_not_its_own() -> None:
    def stands(serial: str | None) -> Inventory:
        told = structs.replace(part("drive", Kind.DRIVE), identity=Identity(serial=serial))
        return structs.replace(with_sensors(LIFE), parts=(told,))

    look = WearLook(NAME)
    look.inventory(stands("N1"), 0.0)
    look.round(seen(60, [100.0]))
    look.round(seen(120, [80.0]))
    assert signs(look) == {("drive", Sign.WORN)}, "told before anybody knows that it is another"
    look.inventory(stands(None), 150.0)
    assert signs(look) == {("drive", Sign.WORN)}, "without a serial number it may be the same"
    look.inventory(stands("N2"), 180.0)
    assert not look.present
    for turn in range(4, 10):
        look.round(seen(60.0 * turn, [80.0]))
    assert not look.present
    look.round(seen(660, [60.0]))
    assert signs(look) == {("drive", Sign.WORN)}, "its own loss counts"
    again = WearLook(NAME)
    again.inventory(stands("N3"), 700.0)
    again.recall(look.learnt(), 690.0, 700.0)
    again.round(seen(720, [40.0]))
    assert not again.present, "exchanged while nobody looked"
    same = WearLook(NAME)
    same.inventory(stands("N2"), 700.0)
    same.recall(look.learnt(), 690.0, 700.0)
    same.round(seen(720, [40.0]))
    assert signs(same) == {("drive", Sign.WORN)}


def test_a_part_that_expects_to_fail() -> None:
    look = WearLook(NAME)
    look.inventory(inventory(statuses={"drive": Status(failure_predicted=False)}), 0.0)
    assert look.visible[pid("drive")] == {Sign.PREDICTED}
    assert look.round(seen(30, [1.0] * 6, statuses={"drive": Status(failure_predicted=True)}))
    assert signs(look) == {("drive", Sign.PREDICTED)}
    assert look.round(seen(60, [1.0] * 6, statuses={"drive": Status(failure_predicted=False)}))
