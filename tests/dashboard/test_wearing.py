"""Wear in words: dates with their limits, and why there is none."""

from __future__ import annotations

from collector.model import Kind, Quantity, Sensor
from dashboard.queries import Source
from dashboard.views.wearing import is_life, is_wear, wear_words
from tests.dashboard.invented import SEIZED

DAY = 86_400.0
START = 1_790_000_000.0
"""2026-09-21 14:13:20 UTC."""


def sensor(name: str, quantity: Quantity) -> Sensor:
    return Sensor(
        sensor=name, controller="c1", part="c1:/d", kind=Kind.DRIVE, quantity=quantity, unit="%", source="/d#/x"
    )


LEFT = sensor("predicted media life left", Quantity.PERCENT)
USED = sensor("life used", Quantity.PERCENT)
ERRORS = sensor("correctable ECC error count", Quantity.COUNT)


def test_a_drive_says_when_it_is_used_up_whichever_way_it_is_told() -> None:
    """A point each two days from 40 %: used up 80 days from the first, on 2026-12-10."""
    falling = [(START + n * DAY / 4.0, 40.0 - n // 8) for n in range(120)]
    said = wear_words(LEFT, falling)
    assert said.startswith("26 % of its life is left; at its pace used up about 2026-12-")
    assert "(95 %: 2026-1" in said
    assert wear_words(USED, [(time, 100.0 - left) for time, left in falling]) == said


def test_no_date_is_told_and_why() -> None:
    said = wear_words(LEFT, [(START, 90.0), (START + DAY, 89.0)])
    assert said == "89 % of its life is left; no date for its end: 1 fall in the samples kept, 6 are needed"
    assert wear_words(LEFT, []) == ""
    assert wear_words(USED, [(START, 99.0), (START + DAY, 100.0)]) == "all of its life is used up"


def test_errors_say_their_rate_with_limits() -> None:
    said = wear_words(ERRORS, [(START, 10.0), (START + DAY, 13.0)])
    assert said.startswith("3 errors in 1 d 0 h: 3 a day (0.62 to 8.77, 95 %)") or said.startswith(
        "3 errors in 1 d: 3 a day (0.62 to 8.77, 95 %)"
    )
    assert "no date for 48 a day" in said
    assert wear_words(ERRORS, [(START, 9.0), (START + DAY, 9.0)]).endswith(": 3.69 a day at most (95 %)")
    many = wear_words(ERRORS, [(START, 0.0), (START + DAY, 400.0)])
    assert "that is many, more than 48 a day" in many


def test_what_tells_of_no_wear_says_nothing() -> None:
    other = sensor("temperature", Quantity.TEMPERATURE)
    assert not is_wear(other)
    assert wear_words(other, [(START, 3.0), (START + DAY, 4.0)]) == ""
    assert is_life(LEFT)
    assert is_life(USED)
    assert is_wear(ERRORS)
    assert not is_life(ERRORS)


def test_the_last_while_of_a_sensor_is_read_in_stretches(source: Source) -> None:
    facts = source.sled(SEIZED)
    assert facts is not None
    told = next(each for each in facts.readings if each.value is not None)
    points = source.worn(told.sensor, 7200.0)
    assert 1 < len(points) <= 121
    assert list(points) == sorted(points)
    whole = source.history(told.sensor, points[0][0] - 1.0, points[-1][0] + 1.0)
    assert {time for time, _ in points} <= set(whole.times)
    assert source.worn(told.sensor, 7200.0) is points, "kept for a minute"
