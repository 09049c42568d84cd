"""When life is used up and how fast errors come: known truths, published limits, and no date that isn't carried."""

from __future__ import annotations

import math
import random

import pytest

from collector.assess.looks.wear import DAILY
from collector.assess.margins.wearing import errors, life

DAY = 86_400.0


def test_a_life_that_falls_steadily_ends_when_it_does() -> None:
    """A point each two days from 40 %: nothing is left after 80 days."""
    points = [(n * DAY / 4.0, 40.0 - math.floor(n / 8.0)) for n in range(120)]
    told = life(points)
    assert told is not None
    assert told.left == 26.0
    assert told.falls == 14
    assert told.end is not None
    assert told.end.at == pytest.approx(80.0 * DAY, rel=0.03)
    assert told.end.earliest <= told.end.at <= told.end.latest


@pytest.mark.parametrize("falls", [0, 1, 3, 5])
def test_few_falls_carry_no_date(falls: int) -> None:
    told = life([(n * DAY, 90.0 - min(n, falls)) for n in range(20)])
    assert told is not None
    assert (told.falls, told.end) == (falls, None)


def test_a_new_drive_begins_its_own_life_and_absurd_values_are_passed_over() -> None:
    old = [(n * DAY, 30.0 - n) for n in range(20)]
    told = life([*old, (20.0 * DAY, 100.0), (21.0 * DAY, math.nan), (22.0 * DAY, -5.0), (23.0 * DAY, 99.0)])
    assert told is not None
    assert (told.left, told.falls, told.since, told.end) == (99.0, 1, 20.0 * DAY, None)
    assert life([(0.0, math.nan), (1.0, 250.0)]) is None
    assert life([]) is None


@pytest.mark.parametrize(("number", "low", "high"), [(0, 0.0, 3.689), (3, 0.619, 8.767)])
def test_errors_of_a_day_have_the_published_limits(number: int, low: float, high: float) -> None:
    """Exact 95 % for 3 events and for none: check-values section 4."""
    told = errors([(0.0, 10.0), (DAY / 2.0, 10.0 + number), (DAY, 10.0 + number)])
    assert told is not None
    assert told.number == number
    assert told.low == pytest.approx(low, abs=1e-3)
    assert told.high == pytest.approx(high, abs=1e-3)
    assert told.many is None


def test_a_counter_that_falls_was_reset_and_counts_on() -> None:
    told = errors([(0.0, 100.0), (3600.0, 104.0), (7200.0, 2.0), (10_800.0, 5.0), (14_400.0, math.nan)])
    assert told is not None
    assert told.number == 9
    assert errors([(0.0, 3.0)]) is None
    assert errors([(5.0, 3.0), (5.0, 4.0)]) is None


def test_a_rate_that_rises_meets_many_a_day_and_a_steady_one_does_not() -> None:
    """The rate rises by two a day each hour: 46 a day now, 48 in an hour; 2 t^2 / 48 errors after t hours."""
    rising = [(n * 600.0, math.floor(n * n / 36.0 / 24.0 + 1e-9)) for n in range(138 + 1)]
    told = errors(rising)
    assert told is not None
    assert told.many is not None
    assert told.many.at == pytest.approx(24.0 * 3600.0, rel=0.12), "twice 24 is DAILY"
    assert DAILY == 48.0
    chance = random.Random(4)
    counts = [0.0]
    for _ in range(144):
        counts.append(counts[-1] + (chance.random() < 0.14))
    steady = errors([(n * 600.0, value) for n, value in enumerate(counts)])
    assert steady is not None
    assert steady.many is None
    assert steady.low < 20.0 < steady.high
