"""Dates and durations, right and slipped ones. Sources: ISO 8601; shared/standards/redfish-notes.md section 7.24."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from collector.normalise.times import NEWEST_READING, OLDEST_READING, duration, plausible, seconds


def at(*parts: int) -> float:
    return datetime(*parts, tzinfo=UTC).timestamp()  # type: ignore[misc, arg-type]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("2015-03-13T04:14:33+06:00", at(2015, 3, 12, 22, 14, 33)),  # check-values.md section 8
        ("2025-11-24T15:59:58Z", at(2025, 11, 24, 15, 59, 58)),
        ("2025-11-24T15:59:58.25Z", at(2025, 11, 24, 15, 59, 58) + 0.25),
        ("2025-11-24T15:59:58.123456789Z", at(2025, 11, 24, 15, 59, 58) + 0.123456789),
        ("2025-11-24T15:59Z", at(2025, 11, 24, 15, 59)),
        ("2025-11-24T15:59:58+6:00", at(2025, 11, 24, 9, 59, 58)),
        ("2025-11-24T15:59:58-05:30 ", at(2025, 11, 24, 21, 29, 58)),
        (" 2025-11-24t15:59:58z", at(2025, 11, 24, 15, 59, 58)),
        ("2016-12-31T23:59:60Z", at(2017, 1, 1)),  # the leap second of IERS Bulletin C 52
    ],
)
def test_times_that_can_be_read(told: str, expected: float) -> None:
    assert seconds(told) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    "told",
    [
        "2025-11-24T15:59:58",  # which hour is meant nobody knows
        "2015-03-13T14:44.30-05:00",  # minutes and seconds, or a fraction of a minute?
        "2025-13-01T00:00:00Z",
        "2025-02-30T00:00:00Z",
        "2025-11-24T25:00:00Z",
        "2025-11-24T15:59:58+99:00",
        "24.11.2025 15:59",
        "now",
        "",
        "9999999999",
        "2025-11-24T15:59:58Z" * 50,
    ],
)
def test_times_that_cannot(told: str) -> None:
    assert seconds(told) is None


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("PT1H30M", 5400),  # this, the next and PT0.001S: check-values.md section 8
        ("P3D", 259200),
        ("PT0.001S", 0.001),
        ("PT.001S", 0.001),  # an example's slip
        ("PT5M", 300),
        ("pt10s", 10),
        ("P1DT1S", 86401),
        ("P2W", 1209600),
        (" PT1M ", 60),
        ("PT0S", 0),
    ],
)
def test_durations_that_can_be_read(told: str, expected: float) -> None:
    assert duration(told) == pytest.approx(expected)


@pytest.mark.parametrize("told", ["", "P", "PT", "P1M", "P1Y", "-PT5M", "5 min", "PT5", "300"])
def test_durations_that_cannot(told: str) -> None:
    assert duration(told) is None


def test_a_reading_can_be_a_day_old_and_a_little_ahead() -> None:
    now = at(2025, 11, 24)
    assert plausible(now - OLDEST_READING, now)
    assert plausible(now + NEWEST_READING, now)
    assert not plausible(now - OLDEST_READING - 1, now)
    assert not plausible(now + NEWEST_READING + 1, now)


@pytest.mark.parametrize("told", [f"P{'9' * 400}D", f"P{'9' * 5000}W", f"PT{'9' * 400}S"])
def test_endless_durations_are_none(told: str) -> None:
    assert duration(told) is None
