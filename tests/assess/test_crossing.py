"""Thresholds as the standard means them: the published case, its definitions, and what holds for any readings."""

from __future__ import annotations

import json
import math
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.assess.crossing import Side, quiet_bands, sides
from collector.model import Health, Limit, Thresholds
from tests.assess.fleet import sensor
from tests.conftest import standard


def seconds(duration: str | None) -> float:
    """``PT5M`` -> 300; enough of ISO 8601 for the published sensor."""
    match = re.fullmatch(r"PT(?:(\d+)M)?(?:(\d+)S)?", duration or "PT0S")
    assert match is not None
    return 60.0 * int(match[1] or 0) + float(match[2] or 0)


def published(name: str) -> Limit | None:
    """One threshold of DSP2043 public-rackmount1 CPU1Temp, read here independently of the normaliser."""
    body: Any = json.loads(
        standard("redfish/mockups/public-rackmount1/Chassis/1U/Sensors/CPU1Temp/index.json").read_text()
    )
    threshold = body["Thresholds"].get(name)
    return threshold and Limit(
        value=threshold["Reading"],
        hysteresis=abs(threshold.get("HysteresisReading", 0)),
        on_delay=seconds(threshold.get("DwellTime")),
        off_delay=seconds(threshold.get("HysteresisDuration")),
    )


@pytest.fixture
def cpu1temp() -> Side:
    """The thresholds that check-values.md section 5 works through: 44 °C is above two cautions, below critical."""
    upper, lower = sides(
        Thresholds(
            upper_caution=published("UpperCaution"),
            upper_caution_user=published("UpperCautionUser"),
            upper_critical=published("UpperCritical"),
            upper_critical_user=published("UpperCriticalUser"),
            upper_fatal=published("UpperFatal"),
        )
    )
    assert upper is not None
    assert lower is None
    return upper


def active(side: Side) -> set[str]:
    return {latch.name for latch in side.latches if latch.active}


def test_published_case_turns_warning_once_five_minutes_have_passed(cpu1temp: Side) -> None:
    """check-values.md section 5, DSP2043 rackmount1 CPU1Temp at its published 44 °C."""
    for now in range(0, 300, 30):
        cpu1temp.step(44.0, float(now))
        assert cpu1temp.severity is Health.OK
    cpu1temp.step(44.0, 300.0)
    assert cpu1temp.severity is Health.WARNING
    assert active(cpu1temp) == {"upper_caution", "upper_caution_user"}
    assert cpu1temp.first_seen == 0.0


def test_published_case_dropping_to_40_clears_after_one_and_ten_minutes(cpu1temp: Side) -> None:
    """check-values.md section 5: 'UpperCaution clears after 60 s, the user threshold after 10 min'."""
    for now in range(0, 301, 30):
        cpu1temp.step(44.0, float(now))
    dropped = 330.0
    cpu1temp.step(40.0, dropped)
    cpu1temp.step(40.0, dropped + 59)
    assert active(cpu1temp) == {"upper_caution", "upper_caution_user"}
    cpu1temp.step(40.0, dropped + 60)
    assert active(cpu1temp) == {"upper_caution_user"}
    assert cpu1temp.severity is Health.WARNING
    cpu1temp.step(40.0, dropped + 599)
    assert cpu1temp.severity is Health.WARNING
    cpu1temp.step(40.0, dropped + 600)
    assert cpu1temp.severity is Health.OK
    assert cpu1temp.quiet


def test_published_case_at_41_neither_clears(cpu1temp: Side) -> None:
    """check-values.md section 5: 'at 41 neither clears'."""
    for now in range(0, 301, 30):
        cpu1temp.step(44.0, float(now))
    for now in range(330, 330 + 3600, 30):
        cpu1temp.step(41.0, float(now))
    assert active(cpu1temp) == {"upper_caution", "upper_caution_user"}


def test_published_case_at_exactly_45_is_not_critical(cpu1temp: Side) -> None:
    """check-values.md section 5: '"Above" is strict'; UpperCritical and UpperCriticalUser stand at 45."""
    for now in range(0, 3600, 30):
        cpu1temp.step(45.0, float(now))
    assert cpu1temp.severity is Health.WARNING
    cpu1temp.step(45.1, 3600.0)
    cpu1temp.step(45.1, 3610.0)  # UpperCriticalUser: DwellTime PT10S
    assert cpu1temp.severity is Health.CRITICAL
    assert active(cpu1temp) == {"upper_caution", "upper_caution_user", "upper_critical_user"}


def test_duration_counts_from_the_end_of_the_violation() -> None:
    """Sensor schema, HysteresisDuration: 'the duration the sensor value no longer violates the threshold'."""
    upper, _ = sides(Thresholds(upper_caution=Limit(value=42.0, hysteresis=2.0, off_delay=60.0)))
    assert upper is not None
    upper.step(43.0, 0.0)
    upper.step(41.0, 30.0)  # no longer violates, not back by the hysteresis
    upper.step(41.0, 100.0)
    assert upper.severity is Health.WARNING
    upper.step(40.0, 101.0)  # both conditions are met now
    assert upper.severity is Health.OK


def test_a_new_violation_starts_the_off_delay_again() -> None:
    upper, _ = sides(Thresholds(upper_caution=Limit(value=42.0, off_delay=60.0)))
    assert upper is not None
    for now, value in ((0.0, 43.0), (10.0, 41.0), (60.0, 43.0), (70.0, 41.0), (129.0, 41.0)):
        upper.step(value, now)
        assert upper.severity is Health.WARNING
    upper.step(41.0, 130.0)
    assert upper.severity is Health.OK


def test_an_interrupted_violation_starts_the_on_delay_again() -> None:
    upper, _ = sides(Thresholds(upper_caution=Limit(value=42.0, on_delay=60.0)))
    assert upper is not None
    for now, value in ((0.0, 43.0), (30.0, 42.0), (60.0, 43.0), (119.0, 43.0)):
        upper.step(value, now)
        assert upper.severity is Health.OK
    upper.step(43.0, 120.0)
    assert upper.severity is Health.WARNING
    assert upper.first_seen == 60.0


def test_a_clock_that_jumps_back_restarts_a_delay_instead_of_freezing_it() -> None:
    upper, _ = sides(Thresholds(upper_caution=Limit(value=42.0, on_delay=60.0)))
    assert upper is not None
    upper.step(43.0, 1_000_000.0)
    upper.step(43.0, 0.0)
    assert upper.first_seen == 0.0
    upper.step(43.0, 60.0)
    assert upper.severity is Health.WARNING


def test_decimal_hysteresis_clears_on_the_point() -> None:
    """12.6 V with 0.1 V hysteresis clears at 12.5 V, which binary fractions would miss: 12.6 - 12.5 < 0.1."""
    assert 12.6 - 12.5 < 0.1
    upper, _ = sides(Thresholds(upper_caution=Limit(value=12.6, hysteresis=0.1)))
    assert upper is not None
    upper.step(12.7, 0.0)
    upper.step(12.5, 1.0)
    assert upper.severity is Health.OK


def test_quiet_band_is_between_the_innermost_limits() -> None:
    thresholds = Thresholds(
        upper_caution=Limit(value=42.0),
        upper_caution_user=Limit(value=40.0),
        upper_fatal=Limit(value=60.0),
        lower_caution=Limit(value=5.0),
        lower_critical=Limit(value=0.0),
    )
    lows, highs = quiet_bands([sensor("a", "sled", thresholds=thresholds), sensor("b", "sled")])
    assert list(lows) == [5.0, -math.inf]
    assert list(highs) == [40.0, math.inf]


steps = st.lists(st.tuples(st.floats(-100, 100) | st.just(math.nan), st.floats(0.0, 100.0)), min_size=1, max_size=60)
limits = st.builds(
    Limit,
    value=st.floats(-50, 50),
    hysteresis=st.floats(0, 20),
    on_delay=st.sampled_from([0.0, 30.0, 300.0]),
    off_delay=st.sampled_from([0.0, 30.0, 300.0]),
)


@given(limits, steps)
def test_one_latch_follows_the_written_definition(limit: Limit, readings: list[tuple[float, float]]) -> None:
    """Against the schema's sentences, recomputed from the whole history at each reading instead of incrementally."""
    upper, _ = sides(Thresholds(upper_caution=limit))
    assert upper is not None
    now, history, expected = 0.0, [], False
    for value, gap in readings:
        now += gap
        upper.step(value, now)
        if not math.isnan(value):
            history.append((now, value))
            run = _trailing(history, violating=not expected, limit=limit.value)
            if run:
                lasted = now - run[0][0]
                if not expected:
                    expected = lasted >= limit.on_delay
                else:
                    slack = 1e-9 * max(1.0, abs(limit.value))
                    expected = not (lasted >= limit.off_delay and value <= limit.value - limit.hysteresis + slack)
        assert (upper.severity is Health.WARNING) == expected


def _trailing(history: list[tuple[float, float]], *, violating: bool, limit: float) -> list[tuple[float, float]]:
    """The unbroken run at the end of a history that violates a limit, or doesn't."""
    run: list[tuple[float, float]] = []
    for when, value in reversed(history):
        if (value > limit) != violating:
            break
        run.insert(0, (when, value))
    return run


@given(limits, steps)
def test_lower_is_upper_mirrored(limit: Limit, readings: list[tuple[float, float]]) -> None:
    mirrored = Limit(
        value=-limit.value, hysteresis=limit.hysteresis, on_delay=limit.on_delay, off_delay=limit.off_delay
    )
    upper, _ = sides(Thresholds(upper_critical=limit))
    _, lower = sides(Thresholds(lower_critical=mirrored))
    assert upper is not None
    assert lower is not None
    now = 0.0
    for value, gap in readings:
        now += gap
        upper.step(value, now)
        lower.step(-value, now)
        assert upper.severity is lower.severity
        assert upper.first_seen == lower.first_seen


@given(st.floats(-50, 50), st.floats(0.5, 20), st.lists(st.floats(0, 1), min_size=1, max_size=50))
def test_no_chatter_within_the_hysteresis(limit: float, hysteresis: float, wiggles: list[float]) -> None:
    """A reading that stays inside the band of the hysteresis changes a threshold at most once."""
    upper, _ = sides(Thresholds(upper_caution=Limit(value=limit, hysteresis=hysteresis)))
    assert upper is not None
    upper.step(limit + 1.0, 0.0)
    for number, wiggle in enumerate(wiggles):
        upper.step(limit - 0.99 * hysteresis + 1.9 * hysteresis * wiggle, 1.0 + number)
        assert upper.severity is Health.WARNING


@given(steps)
def test_quiet_means_that_nothing_is_kept(readings: list[tuple[float, float]]) -> None:
    """A side that calls itself quiet behaves from there on as one that saw nothing."""
    limit = Limit(value=10.0, hysteresis=3.0, on_delay=60.0, off_delay=90.0)
    side, _ = sides(Thresholds(upper_caution=limit))
    assert side is not None
    now = 0.0
    for value, gap in readings:
        now += gap
        if side.quiet:
            fresh, _ = sides(Thresholds(upper_caution=limit))
            assert fresh is not None
            assert [latch.active for latch in side.latches] == [latch.active for latch in fresh.latches]
            assert [latch.since for latch in side.latches] == [latch.since for latch in fresh.latches]
        side.step(value, now)
