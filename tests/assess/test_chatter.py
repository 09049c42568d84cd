"""What comes and goes, and the load that conditions put on people, on the figures of ISA-18.2 / IEC 62682."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.assess.chatter import ROUNDS, Chatter, chattering
from collector.assess.load import Burden, burden, floods, load_of
from collector.assess.watch import Watch
from collector.model import Condition, Health, Subject
from tests.assess.fleet import NAME, bad, good, inventory

INTERVAL = 30.0


@pytest.mark.parametrize(
    ("raises", "so"),
    [
        ([0.0, 20.0, 40.0], True),
        ([0.0, 31.0, 62.0], False),
        ([0.0, 30.0, 60.0], True),
        ([0.0, 1.0], False),
        ([], False),
    ],
)
def test_three_raises_in_a_minute(raises: list[float], so: bool) -> None:
    """ISA-18.2-2016: three or more in 60 s chatter (check-values.md §6 has the first two)."""
    assert chattering(raises) is so


def watch() -> Watch:
    made = Watch(NAME, INTERVAL)
    made.inventory(inventory(), 0.0)
    return made


def test_a_reading_that_comes_and_goes_is_one_condition_that_says_how_often() -> None:
    watched, opened, closed = watch(), [], []
    for number in range(1, 41):
        told = watched.round(good(number * INTERVAL, cpu1=43.0 if number % 2 else 40.0), number * INTERVAL)
        opened += told.opened
        closed += told.closed
    assert len(opened) == 3, "the third time it is known to chatter and held"
    assert len(closed) == 2
    held = watched.find(opened[-1].id)
    assert held is not None
    assert held.raised >= 3
    assert "comes and goes" in held.text
    steady = [watched.round(good(t, cpu1=40.0), t) for t in (1200.0 + n * INTERVAL for n in range(1, 30))]
    over = [each.time for each in steady if each.closed]
    assert over == [1170.0 + INTERVAL + ROUNDS * INTERVAL], "steady for as long as raises count"
    assert steady[-1].empty
    assert not watched.find(opened[-1].id)


def test_a_link_that_fails_every_second_round_is_seen_though_no_two_fail_in_a_row() -> None:
    watched, told = watch(), []
    for number in range(1, 8):
        now = number * INTERVAL
        told.append(watched.round(bad(now) if number % 2 else good(now), now))
    opened = [each for one in told for each in one.opened]
    assert [(each.subject, each.raised) for each in opened] == [(Subject.CONTROLLER, 3)]
    assert "comes and goes" in opened[0].text


def test_a_trouble_that_stays_is_told_as_before() -> None:
    watched = watch()
    assert [each.raised for each in watched.round(good(30.0, cpu1=43.0), 30.0).opened] == [1]
    assert len(watched.round(good(60.0), 60.0).closed) == 1


def test_held_goes_on_after_a_restart() -> None:
    watched, now = watch(), 0.0
    for number in range(1, 7):
        now = number * INTERVAL
        watched.round(good(now, cpu1=43.0 if number % 2 else 40.0), now)
    held = [each for each in (watched.find(one.id) for one in watched.round(good(now), now).changed) if each]
    standing = watched._book.all()
    assert len(standing) == 1
    again = Watch(NAME, INTERVAL, standing)
    first = again.inventory(inventory(now + INTERVAL), now + INTERVAL)
    assert (first.opened, first.closed) == ((), ()), held
    later = now + INTERVAL + ROUNDS * INTERVAL
    assert [each.id for each in again.round(good(later), later).closed] == [standing[0].id]


@given(st.lists(st.tuples(st.sampled_from("ab"), st.booleans(), st.floats(-1e6, 1e6)), max_size=60))
def test_clocks_that_jump_hold_nothing_for_ever(story: list[tuple[str, bool, float]]) -> None:
    chatter = Chatter(INTERVAL)
    for name, present, now in story:
        if present:
            chatter.seen(name, Health.WARNING, now)
        else:
            chatter.gone(name, now)
    last = max((now for *_, now in story), default=0.0)
    for name in "ab":
        chatter.gone(name, last)
        assert chatter.often(name, last + chatter.within) == 0


def test_memory_of_raises_is_bounded() -> None:
    chatter = Chatter(INTERVAL)
    for number in range(5000):
        chatter.seen(f"c{number}", Health.WARNING, 1000.0 * number)
        chatter.gone(f"c{number}", 1000.0 * number + 1)
    assert len(chatter._raises) < 300


# ISA-18.2-2016 metrics, per operator (check-values.md §6)


@pytest.mark.parametrize(
    ("raises", "over", "so"),
    [
        (144, 86400.0, Burden.ACCEPTABLE),
        (6, 3600.0, Burden.ACCEPTABLE),
        (1, 600.0, Burden.ACCEPTABLE),
        (145, 86400.0, Burden.MANAGEABLE),
        (288, 86400.0, Burden.MANAGEABLE),
        (12, 3600.0, Burden.MANAGEABLE),
        (2, 600.0, Burden.MANAGEABLE),
        (289, 86400.0, Burden.TOO_MUCH),
        (13, 3600.0, Burden.TOO_MUCH),
    ],
)
def test_how_many_a_person_can_bear(raises: int, over: float, so: Burden) -> None:
    """144 a day, 6 an hour, 1 in ten minutes acceptable; 288, 12 and 2 at most manageable."""
    assert burden(raises, over) is so
    assert burden(2 * raises, over, operators=2) is so


def test_a_flood_begins_at_ten_in_ten_minutes_and_ends_below_five() -> None:
    assert floods([60.0 * n for n in range(9)]) == []
    assert floods([60.0 * n for n in range(10)]) == [(540.0, 300.0 + 600.0)]
    assert floods([61.0 * 10 * n for n in range(20)]) == []
    two = [1.0 * n for n in range(10)] + [5000.0 + n for n in range(10)]
    assert [start for start, _ in floods(two)] == [9.0, 5009.0]


def opened(at: float, closed: float | None = None, name: str = "x", severity: Health = Health.WARNING) -> Condition:
    return Condition(
        id=name,
        controller="c",
        part=None,
        sensor=None,
        subject=Subject.STATUS,
        severity=severity,
        text="t",
        opened=at,
        changed=at,
        closed=closed,
    )


def test_the_load_of_a_day() -> None:
    """Twenty in one ten-minute stretch, one chatterer, one open for over 24 h (stale by ISA-18.2)."""
    day = [opened(1000.0 + 20.0 * n, 50000.0, f"c{n % 10}") for n in range(17)]
    day += [opened(1100.0 + 10.0 * n, 50000.0, "chatters", Health.CRITICAL) for n in range(3)]
    load = load_of([*day, opened(-10.0, None, "old")], 0.0, 86400.0)
    assert (load.raises, load.per_day, load.peak, load.chattering, load.stale) == (20, 20.0, 20, 1, 1)
    assert load.busy_stretches == pytest.approx(1 / 144)
    assert load.busy_hours == 0.0
    assert load.burden is Burden.ACCEPTABLE
    assert load.severities == {"Warning": 17 / 20, "Critical": 3 / 20}
    assert 0.0 < load.flood_share < 0.02
