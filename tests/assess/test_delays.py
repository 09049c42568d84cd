"""Delays and deadbands where the service tells none, and the service's own where it does."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.crossing import Side, sides
from collector.assess.delays import HABITS, Habit, habits_with, sound, treated
from collector.assess.watch import Watch
from collector.model import Health, Kind, Limit, Quantity, Sensor, Thresholds
from collector.settings.conditions import LimitSettings
from tests.assess.fleet import NAME, frame, good, inventory, sensor


def sensed(quantity: Quantity, low: float | None, high: float | None, **limits: Limit) -> Sensor:
    plain = sensor("s", "blade1", Kind.BLADE, Thresholds(**limits))
    return structs.replace(plain, quantity=quantity, range_min=low, range_max=high)


@pytest.mark.parametrize(
    ("quantity", "percent", "seconds"),
    [
        (Quantity.AIR_FLOW, 5.0, 15.0),
        (Quantity.LIQUID_FLOW, 5.0, 15.0),
        (Quantity.LEVEL, 5.0, 60.0),
        (Quantity.PRESSURE, 2.0, 15.0),
        (Quantity.TEMPERATURE, 1.0, 60.0),
    ],
)
def test_starting_values_by_signal(quantity: Quantity, percent: float, seconds: float) -> None:
    """EEMUA 191 / ISA-18.2 annex: deadband in percent of range and delay by signal (check-values.md §6)."""
    given_ = sensed(quantity, 0.0, 100.0, upper_caution=Limit(value=80.0))
    limit = treated(given_, HABITS).upper_caution
    assert limit is not None
    assert limit.hysteresis == pytest.approx(percent)
    assert (limit.on_delay, limit.off_delay) == (seconds, seconds)


@pytest.mark.parametrize("told", [{"on_delay": 5.0}, {"off_delay": 5.0}, {"hysteresis": 2.0}])
def test_what_the_service_tells_counts_first(told: dict[str, float]) -> None:
    limit = Limit(value=80.0, **told)
    assert treated(sensed(Quantity.TEMPERATURE, 0.0, 100.0, upper_caution=limit), HABITS).upper_caution == limit


def test_the_published_threshold_case_is_left_as_it_is() -> None:
    """DSP2043 rackmount1 CPU1Temp, check-values.md §5: Warning after 5 min at 44 °C; at 40 °C it ends after 10 min."""
    cpu = sensed(
        Quantity.TEMPERATURE,
        0.0,
        200.0,
        upper_caution=Limit(value=42.0, on_delay=300.0, hysteresis=2.0, off_delay=60.0),
        upper_caution_user=Limit(value=40.0, on_delay=300.0, off_delay=600.0),
        upper_critical=Limit(value=45.0, on_delay=60.0),
    )
    assert treated(cpu, HABITS) == cpu.thresholds
    watch = Watch(NAME, 30.0, habits=HABITS)
    watch.inventory(inventory(sensors=[cpu], first=frame(0.0, sensors=[cpu])), 0.0)
    opened, closed = [], []
    for time in range(30, 2400, 30):
        value = 44.0 if time <= 600 else 40.0
        told = structs.replace(good(float(time)), frame=frame(float(time), sensors=[cpu], s=value))
        assessment = watch.round(told, float(time))
        opened += assessment.opened
        closed += assessment.closed
    assert [(each.severity, each.opened) for each in opened] == [(Health.WARNING, 30.0)]
    assert [each.changed for each in opened] == [330.0], "once 5 min have passed"
    assert [each.closed for each in closed] == [630.0 + 600.0], "the user's threshold is the last"


def test_a_hard_status_waits_for_no_delay() -> None:
    hot = sensed(Quantity.TEMPERATURE, 0.0, 100.0, upper_caution=Limit(value=80.0))
    watch = Watch(NAME, 30.0, habits=HABITS)
    watch.inventory(inventory(sensors=[hot], first=frame(0.0, sensors=[hot])), 0.0)
    quiet = structs.replace(good(30.0), frame=frame(30.0, sensors=[hot], s=90.0))
    assert watch.round(quiet, 30.0).opened == ()
    loud = structs.replace(good(60.0), frame=frame(60.0, {"s": Health.CRITICAL}, [hot], s=90.0))
    assert [each.severity for each in watch.round(loud, 60.0).opened] == [Health.CRITICAL]


def test_beyond_a_fatal_limit_nothing_is_waited_for() -> None:
    limit = treated(sensed(Quantity.TEMPERATURE, 0.0, 100.0, upper_fatal=Limit(value=90.0)), HABITS).upper_fatal
    assert limit is not None
    assert limit.on_delay == 0.0


def test_a_wide_range_makes_no_deadband_that_never_clears() -> None:
    """A fan that may read up to 30,000 rpm, too slow below 500, is well again before 551."""
    limit = treated(sensed(Quantity.ROTATION, 0.0, 30000.0, lower_critical=Limit(value=500.0)), HABITS).lower_critical
    assert limit is not None
    assert 0.0 < limit.hysteresis <= 50.0


def test_wishes_of_the_fleet_file_change_one_figure_only() -> None:
    habits = habits_with({Quantity.TEMPERATURE: LimitSettings(on_delay=5.0), Quantity.COUNT: LimitSettings()})
    assert habits[Quantity.TEMPERATURE] == Habit(0.01, 5.0, 60.0)
    assert habits[Quantity.COUNT] == Habit()
    assert habits_with({}, {}) == {}


anything = st.floats(allow_nan=True, allow_infinity=True)
limits = st.none() | st.builds(Limit, value=anything, hysteresis=anything, on_delay=anything, off_delay=anything)


@given(
    st.sampled_from(list(Quantity)),
    st.none() | anything,
    st.none() | anything,
    limits,
    limits,
    limits,
    st.lists(st.tuples(st.floats(-1e9, 1e9) | st.just(math.nan), st.floats(-1e9, 1e9)), max_size=30),
)
def test_nothing_that_is_told_breaks_it(
    quantity: Quantity,
    low: float | None,
    high: float | None,
    caution: Limit | None,
    critical: Limit | None,
    lower: Limit | None,
    readings: list[tuple[float, float]],
) -> None:
    """Delays and deadbands stay finite and not negative; clocks that jump and NaN neither raise nor open on nothing."""
    told = structs.replace(
        sensed(quantity, low, high),
        thresholds=Thresholds(upper_caution=caution, upper_critical=critical, lower_critical=lower),
    )
    thresholds = treated(told, HABITS)
    for name in Thresholds.__struct_fields__:
        limit = getattr(thresholds, name)
        if limit is not None:
            assert all(0.0 <= each < math.inf for each in (limit.hysteresis, limit.on_delay, limit.off_delay))
            assert sound(limit) == limit or limit.value != limit.value
    for side in sides(thresholds):
        if side is not None:
            step_through(side, readings)


def step_through(side: Side, readings: list[tuple[float, float]]) -> None:
    seen_beyond = False
    for value, now in readings:
        side.step(value, now)
        seen_beyond |= side.violated_by(value) is not None
        assert seen_beyond or side.quiet
        assert (side.first_seen is None) == side.quiet


@given(st.lists(st.floats(79.0, 81.0), min_size=1, max_size=200))
def test_trembling_within_the_deadband_opens_once(values: list[float]) -> None:
    """Whatever a reading does within 1 K of its limit, a limit with delay and deadband opens at most once."""
    limit = Limit(value=80.0)
    upper, _ = sides(treated(sensed(Quantity.TEMPERATURE, 0.0, 150.0, upper_caution=limit), HABITS))
    assert upper is not None
    changes, before = 0, Health.OK
    for number, value in enumerate(values):
        upper.step(value, 30.0 * number)
        changes += before is Health.OK and upper.severity is not Health.OK
        before = upper.severity
    assert changes <= 1
