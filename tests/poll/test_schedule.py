"""When to ask next."""

from __future__ import annotations

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.poll.schedule import (
    FIRST_LOGIN_WAIT,
    LAST_LOGIN_WAIT,
    LONGEST_RETRY_AFTER,
    MOST_INTERVALS,
    Grid,
    back_off,
    login_back_off,
    obeyed,
)

INTERVALS = st.floats(1.0, 3600.0)
MOMENTS = st.floats(1.0e9, 3.0e9)
CHANCES = st.floats(0.0, 1.0, exclude_max=True)


def test_a_fleet_starts_spread_evenly() -> None:
    """1,000 controllers over 30 s: no second gets more than twice its share, and names alone decide."""
    phases = [Grid.spread(f"n{index}", 30.0, "round").phase for index in range(1000)]
    shares = [sum(second <= phase < second + 1 for phase in phases) for second in range(30)]
    assert sum(shares) == 1000
    assert max(shares) < 2 * 1000 / 30
    assert min(shares) > 0
    assert statistics.mean(phases) == pytest.approx(15.0, abs=1.0)
    assert Grid.spread("n1", 30.0) == Grid.spread("n1", 30.0)
    assert Grid.spread("n1", 30.0, "round").phase != Grid.spread("n1", 30.0, "walk").phase


@given(st.text(max_size=20), INTERVALS, MOMENTS)
def test_due_times_stand_on_the_grid(name: str, interval: float, moment: float) -> None:
    grid = Grid.spread(name, interval)
    assert 0 <= grid.phase <= interval
    due = grid.at_or_after(moment)
    assert moment - 1e-5 <= due <= moment + interval + 1e-5
    steps = (due - grid.phase) / interval
    assert steps == pytest.approx(round(steps), abs=1e-3)


@given(st.text(max_size=20), INTERVALS, MOMENTS)
def test_no_drift(name: str, interval: float, moment: float) -> None:
    """A thousand rounds, each ending somewhat later than it was due, are a thousand intervals."""
    grid = Grid.spread(name, interval)
    due = first = grid.at_or_after(moment)
    for index in range(1000):
        due = grid.following(due, due + interval * (index % 10) / 20)
    assert due - first == pytest.approx(1000 * interval, abs=1e-3)


def test_a_round_that_overran_a_little_is_followed_late_and_one_that_overran_a_lot_skips() -> None:
    grid = Grid(30.0, 10.0)
    assert grid.following(100.0, 101.0) == 130.0
    assert grid.following(100.0, 144.0) == 130.0, "14 s late is told as late"
    assert grid.following(100.0, 146.0) == 160.0
    assert grid.following(100.0, 1000.0) == 1000.0


@given(st.integers(1, 10_000), INTERVALS, CHANCES)
def test_back_off_is_bounded_and_jittered_fully(failures: int, interval: float, chance: float) -> None:
    wait = back_off(failures, interval, lambda: chance)
    bound = interval * min(2.0 ** (failures - 1), MOST_INTERVALS) if failures < 30 else interval * MOST_INTERVALS
    assert wait == pytest.approx(bound * chance)
    assert wait < bound or chance == 0


@given(st.integers(1, 10_000), CHANCES)
def test_refused_logins_wait_longer_each_time(refusals: int, chance: float) -> None:
    wait, after = login_back_off(refusals, lambda: chance), login_back_off(refusals + 1, lambda: chance)
    assert FIRST_LOGIN_WAIT <= wait <= LAST_LOGIN_WAIT * 1.25
    assert after >= wait
    assert login_back_off(1, lambda: 0.999) < login_back_off(2, lambda: 0.0)


def test_how_often_a_wrong_password_is_tried_in_a_day() -> None:
    """Few enough for a person to notice before the account suffers: fewer than 30 tries."""
    time, tries = 0.0, 0
    while time < 86400:
        tries += 1
        time += login_back_off(tries, lambda: 0.0)
    assert tries < 30


@pytest.mark.parametrize(("asked", "wait"), [(None, 0), (0, 0), (120, 120), (1e9, LONGEST_RETRY_AFTER), (-5, 0)])
def test_retry_after_is_obeyed_within_reason(asked: float | None, wait: float) -> None:
    assert obeyed(asked) == wait
