"""A sensor's trend in words: a known line, none, too little, and no forecast that the samples don't carry."""

from __future__ import annotations

import math
import random
from array import array

from collector.model import Health, History
from dashboard.drawings.trace import Line
from dashboard.views.trend import trend

LIMITS = (
    Line("upper caution", 80.0, Health.WARNING, True),
    Line("upper critical", 92.0, Health.CRITICAL, True),
    Line("lower caution", 5.0, Health.WARNING, False),
)


def history(values: list[float], step: float = 30.0) -> History:
    return History(times=array("d", [step * n for n in range(len(values))]), values=array("d", values))


def test_a_rising_line_tells_its_slope_and_when_it_meets_the_next_limit() -> None:
    rng = random.Random(1)
    rise = [70.0 + 6.0 * n / 120 + rng.uniform(-0.05, 0.05) for n in range(120)]  # 6 K in 120 x 30 s: 6 K an hour
    found = trend(history(rise), LIMITS, "°C")
    assert found.says.startswith("rises 6")
    assert "°C an hour" in found.says
    assert "95 %" in found.says
    # From 75.95 at 6 K/h, 80 is 40.5 min away.
    assert found.forecast.startswith("at this rate it meets upper caution 80 °C in 40 min")


def test_a_falling_line_looks_at_lower_limits_only() -> None:
    found = trend(history([70.0 - n * 0.01 for n in range(100)]), LIMITS[:2], "°C")
    assert found.says.startswith("falls 1.2 °C an hour")
    assert found.forecast == ""


def test_a_limit_far_away_gets_no_forecast() -> None:
    found = trend(history([40.0 + n * 0.001 for n in range(100)]), LIMITS, "°C")
    assert found.forecast == "no forecast for upper caution 80 °C: it is further away than these samples carry"


def test_nothing_is_claimed_of_noise_or_of_little() -> None:
    rng = random.Random(2)
    assert trend(history([60 + rng.gauss(0, 1) for _ in range(100)]), LIMITS, "°C").says.startswith("no trend")
    assert trend(history([60.0] * 50), LIMITS, "°C").says.startswith("no trend")
    assert "too few samples" in trend(history([1.0, 2.0, math.nan, 3.0]), LIMITS, "°C").says
    assert "too few samples" in trend(history([]), LIMITS, "").says


def test_a_long_series_is_thinned_and_keeps_its_newest_sample() -> None:
    found = trend(history([72.0 + n * 0.005 for n in range(1000)], step=3.6), LIMITS, "")
    assert found.says.startswith("rises 5 an hour")
    assert "meets upper caution 80 in" in found.forecast
