"""Times, ages, values and limits in words."""

from __future__ import annotations

import math
from zoneinfo import ZoneInfo

import pytest

from collector.model import Health, Kind, Limit, Quantity, Sensor, Thresholds
from dashboard.views.words import age, clock, count, figure, limits, nearest, threshold_words

NOON = 1_795_608_000.0
"""2026-11-25T12:00:00Z."""


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (-3, "0 s"),
        (14.9, "14 s"),
        (60, "1 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (7500, "2 h 5 min"),
        (86400, "1 d"),
        (93600, "1 d 2 h"),
    ],
)
def test_ages_are_short(seconds: float, said: str) -> None:
    assert age(seconds) == said


def test_times_are_the_viewers_own_with_utc_beside_them() -> None:
    assert clock(NOON, NOON) == "12:00:00 UTC"
    assert clock(NOON, NOON, ZoneInfo("UTC")) == "12:00:00 UTC"
    assert clock(NOON, NOON, ZoneInfo("Europe/Helsinki")) == "14:00:00 (12:00:00 UTC)"
    assert clock(NOON - 86400, NOON) == "2026-11-24 12:00 UTC"


@pytest.mark.parametrize(
    ("value", "quantity", "unit", "said"),
    [
        (61.04, Quantity.TEMPERATURE, "Cel", "61.0 °C"),
        (0.0, Quantity.ROTATION, "{rev}/min", "0 rpm"),
        (16000.0, Quantity.ROTATION, "{rev}/min", "16000 rpm"),
        (None, Quantity.POWER, "W", "no value"),
        (math.nan, Quantity.POWER, "W", "no value"),
        (48.3, Quantity.VOLTAGE, "V", "48.30 V"),
        (0.01234, Quantity.AIR_FLOW, "m3/s", "0.01234 m³/s"),
        (3.6e9, Quantity.ENERGY, "J", "1000 kWh"),
        (1_728_720.0, Quantity.ENERGY, "J", "0.4802 kWh"),
        (0.0004, Quantity.VOLTAGE, "V", "0.0004 V"),
        (0.97, Quantity.POWER_FACTOR, "1", "0.97"),
        (7.0, Quantity.OTHER, "furlong", "7 furlong"),
    ],
)
def test_values_read_well(value: float | None, quantity: Quantity, unit: str, said: str) -> None:
    assert figure(value, quantity, unit) == said


def sensor(**thresholds: Limit) -> Sensor:
    return Sensor(
        sensor="t",
        controller="c",
        part="c:p",
        kind=Kind.PROCESSOR,
        quantity=Quantity.TEMPERATURE,
        unit="Cel",
        source="/s",
        thresholds=Thresholds(**thresholds),
    )


@pytest.mark.parametrize(
    ("value", "line", "distance"),
    [
        (60.0, "upper caution", 20.0),
        (80.0, "upper caution", 0.0),  # strictly above is crossed, equal is not
        (85.0, "upper caution", -5.0),
        (95.0, "upper critical", -3.0),
        (8.0, "lower caution", 3.0),
        (4.0, "lower caution", -1.0),
    ],
)
def test_the_limit_that_matters_is_the_worst_crossed_or_else_the_closest(
    value: float, line: str, distance: float
) -> None:
    told = sensor(upper_caution=Limit(value=80), upper_critical=Limit(value=92), lower_caution=Limit(value=5))
    found = nearest(value, limits(told))
    assert found is not None
    assert (found[0].words, found[1]) == (line, pytest.approx(distance))


def test_without_value_or_limits_there_is_no_margin() -> None:
    assert nearest(None, limits(sensor(upper_caution=Limit(value=80)))) is None
    assert nearest(math.nan, limits(sensor(upper_caution=Limit(value=80)))) is None
    assert nearest(20.0, ()) is None


def test_every_threshold_of_the_model_has_its_line() -> None:
    names = Thresholds.__struct_fields__
    told = limits(sensor(**{name: Limit(value=float(place)) for place, name in enumerate(names)}))
    assert len(told) == len(names)
    for name in names:
        assert threshold_words(name).split(" ")[0] == name.split("_")[0]
    assert {line.health for line in told} == {Health.WARNING, Health.CRITICAL}


def test_counts_have_their_noun() -> None:
    assert [count(number, "blade") for number in (0, 1, 4)] == ["0 blades", "1 blade", "4 blades"]
