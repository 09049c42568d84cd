"""Ends of drives' lives as figures: told when a date is known or moves, withdrawn when it is known no more."""

from __future__ import annotations

import pytest

from collector.assess.looks.wear import WearLook
from collector.assess.margins.outlook import Outlook, day
from collector.model import Figure, FigureKind, Inventory
from tests.assess.fleet import NAME, pid
from tests.assess.looks.seeing import LIFE, seen, with_sensors

DAY = 86_400.0


class Bench:
    def __init__(self) -> None:
        self.walked: Inventory = with_sensors(LIFE)
        self.look = WearLook(NAME)
        self.outlook = Outlook(NAME, self.look.lives)
        self.walk()

    def walk(self) -> None:
        self.look.inventory(self.walked, 0.0)
        self.outlook.inventory(self.walked, 0.0)

    def told(self, time: float, left: float) -> list[Figure]:
        self.look.round(seen(time, [left]))
        return list(self.outlook.round(seen(time, [left])))

    def worn(self, until: float, start: float = 0.0, of: float = 80.0) -> list[Figure]:
        """A percent a day."""
        found: list[Figure] = []
        for hour in range(int(start) * 24, int(until) * 24):
            found += self.told(3600.0 * hour, of - hour // 24)
        return found


def test_a_drive_that_loses_a_percent_a_day_ends_when_all_are_lost() -> None:
    bench = Bench()
    found = bench.worn(40)
    first, last = next(each for each in found if not each.gone), found[-1]
    assert first.kind is last.kind is FigureKind.LIFE_ENDS
    assert (last.part, last.of, last.unit) == (pid("drive"), LIFE.sensor, "s")
    # by arithmetic: 80 % at the start, one less at the end of each day
    assert last.value == pytest.approx(80 * DAY, abs=DAY)
    assert last.low is not None
    assert last.high is not None
    assert last.low <= last.value <= last.high
    assert len([each for each in found if not each.gone]) < 5, "the same date is no news"
    assert day(last.value) in ("1970-03-21", "1970-03-22", "1970-03-23"), "80 days after 1970-01-01"
    assert last.basis == "used up at the pace of the samples kept"


def test_without_a_date_nothing_stands_and_what_an_earlier_run_told_goes() -> None:
    bench = Bench()
    (gone,) = bench.told(0.0, 90.0)
    assert gone.gone
    assert gone.key == (pid("drive"), FigureKind.LIFE_ENDS, LIFE.sensor)
    assert bench.told(60.0, 90.0) == []
    bench.walk()
    assert bench.told(120.0, 90.0) == []


def test_another_drive_has_no_date_until_its_own_is_known() -> None:
    bench = Bench()
    bench.worn(40)
    (gone,) = bench.told(40 * DAY, 100.0)
    assert gone.gone
    again = bench.worn(80, start=41, of=140.0)
    assert again[-1].value > 100 * DAY


def test_over_a_restart_the_date_is_told_again() -> None:
    bench, again = Bench(), Bench()
    before = bench.worn(40)[-1]
    again.look.recall(bench.look.learnt(), 40 * DAY, 40 * DAY)
    (after,) = again.told(40 * DAY, 41.0)
    assert (after.value, after.gone) == (pytest.approx(before.value, abs=DAY), False)


def test_a_drive_that_is_taken_out_is_told_of_no_more() -> None:
    bench = Bench()
    bench.worn(40)
    bench.walked = with_sensors()
    bench.walk()
    assert bench.outlook.round(seen(40 * DAY, [])) == []
