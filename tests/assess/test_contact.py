"""Controllers that can't be read, and readings that stop coming."""

from __future__ import annotations

import pytest

from collector.assess.watch import Watch
from collector.model import Health, Kind, Lamps, LampState, Outcome, PowerState, State, Status, Subject
from tests.assess.fleet import FINE, NAME, NAN, PARTS, RUNNING, bad, frame, good, inventory, part, pid
from tests.assess.test_watch import only, rounds

INTERVAL = 30.0
BLANK = dict.fromkeys(("inlet", "speed", "cpu1", "rail1", "cpu2", "drive_temperature"), NAN)


@pytest.fixture
def watch() -> Watch:
    watch = Watch(NAME, INTERVAL)
    watch.inventory(inventory(), 0.0)
    return watch


def test_one_failed_round_is_an_event_only(watch: Watch) -> None:
    told = rounds(watch, bad(30.0))
    assert (told.opened, told.rolled, told.lamps) == ((), {}, {})
    assert [(event.subject, event.text) for event in told.events] == [("controller unreachable", "connection refused")]
    back = rounds(watch, good(60.0))
    assert [event.subject for event in back.events] == ["controller answers"]
    assert (back.opened, back.closed, back.rolled) == ((), (), {})


@pytest.mark.parametrize(
    ("outcome", "severity"),
    [
        (Outcome.UNREACHABLE, Health.CRITICAL),
        (Outcome.UNTRUSTED, Health.CRITICAL),
        (Outcome.TIMED_OUT, Health.WARNING),
        (Outcome.LOGIN_REFUSED, Health.WARNING),
        (Outcome.MALFORMED, Health.WARNING),
        (Outcome.UNAVAILABLE, Health.WARNING),
    ],
)
def test_two_failed_rounds_are_a_condition(watch: Watch, outcome: Outcome, severity: Health) -> None:
    condition = only(rounds(watch, bad(30.0, outcome), bad(60.0, outcome)).opened)
    assert (condition.subject, condition.part, condition.severity) == (Subject.CONTROLLER, None, severity)
    assert condition.opened == 29.0, "the start of the first failed round"
    assert condition.evidence[0].text == f"{outcome.value}: connection refused"


def test_a_partial_round_is_no_failed_one(watch: Watch) -> None:
    assert rounds(watch, *(bad(30.0 * n, Outcome.PARTIAL, "one resource failed") for n in (1, 2))).opened == ()


def test_while_it_cannot_be_read_no_part_is_ok_and_nothing_else_opens_or_closes(watch: Watch) -> None:
    hot = only(rounds(watch, good(30.0, cpu1=50.0)).opened)
    told = rounds(watch, bad(60.0), bad(90.0))
    assert only(told.opened).subject is Subject.CONTROLLER
    assert told.closed == ()
    assert {name: told.rolled[pid(name)].own for name in ("sled", "fan", "blade2", "host2", "drive")} == dict.fromkeys(
        ("sled", "fan", "blade2", "host2", "drive"), Health.UNKNOWN
    )
    assert pid("blade1") not in told.rolled or told.rolled[pid("blade1")].own is Health.CRITICAL
    assert told.rolled[pid("bmc")].own is Health.CRITICAL, "the condition stands on the controller part"
    assert told.rolled[pid("sled")].worst is Health.CRITICAL
    assert told.rolled[pid("sled")].open_conditions == 2
    assert told.rolled[pid("blade2")].at_risk_through == (pid("bmc"),)
    unknown = Lamps(LampState.UNKNOWN, LampState.UNKNOWN)
    assert told.lamps[pid("fan")] == unknown
    assert told.lamps[pid("blade2")] == unknown
    for n in range(4, 20):
        assert rounds(watch, bad(30.0 * n)).opened == ()
    back = rounds(watch, good(600.0, cpu1=50.0))
    assert only(back.closed).subject is Subject.CONTROLLER
    assert back.opened == ()
    assert back.rolled[pid("fan")].own is Health.OK
    assert back.rolled[pid("sled")].open_conditions == 1
    assert only(rounds(watch, good(630.0)).closed).id == hot.id


def test_another_way_of_failing_changes_the_condition(watch: Watch) -> None:
    opened = only(rounds(watch, bad(30.0), bad(60.0)).opened)
    changed = only(rounds(watch, bad(90.0, Outcome.LOGIN_REFUSED, "401 for the session")).changed)
    assert (changed.id, changed.severity, changed.text) == (
        opened.id,
        Health.WARNING,
        "controller refuses the login",
    )


def test_a_controller_that_never_answered_has_a_condition_without_parts() -> None:
    watch = Watch(NAME, INTERVAL)
    told = rounds(watch, bad(0.0), bad(30.0))
    assert only(told.opened).subject is Subject.CONTROLLER
    assert (told.rolled, told.lamps) == ({}, {})
    walked = watch.inventory(inventory(60.0), 60.0)
    assert only(walked.closed).subject is Subject.CONTROLLER
    assert walked.rolled[pid("sled")].worst is Health.OK


def test_it_stays_lost_over_a_restart(watch: Watch) -> None:
    lost = rounds(watch, bad(30.0), bad(60.0)).opened
    after = Watch(NAME, INTERVAL, lost)
    assert rounds(after, bad(90.0)).opened == ()
    told = after.inventory(inventory(120.0), 120.0)
    assert only(told.closed).id == lost[0].id


def test_without_a_controller_part_it_shows_on_every_outermost_part_and_counts_once() -> None:
    watch = Watch(NAME, INTERVAL)
    watch.inventory(inventory(parts=[part("left", Kind.SLED), part("right", Kind.SLED)], sensors=(), links=()), 0.0)
    told = rounds_without_frames(watch)
    assert {rolled.own for rolled in told.rolled.values()} == {Health.CRITICAL}
    assert sum(rolled.open_conditions for rolled in told.rolled.values()) == 1


def rounds_without_frames(watch: Watch):  # type: ignore[no-untyped-def]
    return rounds(watch, bad(30.0), bad(60.0))


# Readings that stop coming


def test_a_reading_gone_for_three_intervals_is_stale_and_comes_back(watch: Watch) -> None:
    for now in (30.0, 60.0):
        assert rounds(watch, good(now, cpu1=NAN)).opened == ()
    condition = only(rounds(watch, good(90.0, cpu1=NAN)).opened)
    assert (condition.subject, condition.part, condition.sensor) == (Subject.STALE, pid("blade1"), "cpu1")
    assert condition.opened == 0.0, "when its last value came"
    assert rounds(watch, good(120.0, cpu1=NAN)).opened == ()
    assert only(rounds(watch, good(150.0)).closed).id == condition.id


def test_several_of_one_part_are_one_condition(watch: Watch) -> None:
    told = rounds(watch, *(good(30.0 * n, cpu1=NAN, rail1=NAN) for n in range(1, 5)))
    assert told.opened == ()
    told = watch.round(good(150.0, cpu1=NAN, rail1=NAN), 150.0)
    assert told.empty
    condition = only(rounds(watch, good(180.0, cpu1=NAN)).changed)
    assert condition.text == "blade1: cpu1 no longer told"


def test_none_coming_at_all_is_one_condition_about_the_controller(watch: Watch) -> None:
    condition = only(tuple(each for n in range(1, 6) for each in rounds(watch, good(30.0 * n, **BLANK)).opened))
    assert (condition.subject, condition.part) == (Subject.STALE, None)
    assert condition.text == "none of 6 readings comes any more"


def test_a_partial_round_without_any_frame_counts_as_no_readings(watch: Watch) -> None:
    opened = [each for n in range(1, 6) for each in rounds(watch, bad(30.0 * n, Outcome.PARTIAL)).opened]
    assert [each.subject for each in opened] == [Subject.STALE]


def test_a_sensor_that_never_had_a_value_is_not_missed() -> None:
    watch = Watch(NAME, INTERVAL)
    watch.inventory(inventory(first=frame(0.0, cpu1=NAN)), 0.0)
    for n in range(1, 9):
        assert rounds(watch, good(30.0 * n, cpu1=NAN)).empty
    assert rounds(watch, good(300.0)).empty
    opened = [each for n in range(11, 16) for each in rounds(watch, good(30.0 * n, cpu1=NAN)).opened]
    assert [each.sensor for each in opened] == ["cpu1"], "from its first value on it is"


def test_no_value_is_expected_of_a_part_that_is_off(watch: Watch) -> None:
    off = Status(state=State.ENABLED, health=Health.OK, power=PowerState.OFF)
    for n in range(1, 9):
        assert rounds(watch, good(30.0 * n, None, {"host1": off}, cpu1=NAN)).opened == ()
    told = rounds(watch, good(270.0, None, {"host1": RUNNING}, cpu1=NAN), good(300.0, cpu1=NAN))
    assert told.opened == (), "missed only from when it is on"
    opened = [each for n in range(11, 16) for each in rounds(watch, good(30.0 * n, cpu1=NAN)).opened]
    assert [each.sensor for each in opened] == ["cpu1"]


def test_time_in_which_the_controller_did_not_answer_does_not_count(watch: Watch) -> None:
    rounds(watch, good(30.0, cpu1=NAN))
    rounds(watch, *(bad(30.0 * n) for n in range(2, 40)))
    assert not any(each.subject is Subject.STALE for each in rounds(watch, good(1200.0, cpu1=NAN)).opened)
    assert rounds(watch, good(1230.0, cpu1=NAN)).opened == ()
    assert only(rounds(watch, good(1260.0, cpu1=NAN)).opened).subject is Subject.STALE


def test_staleness_goes_on_over_a_restart(watch: Watch) -> None:
    told = [rounds(watch, good(30.0 * n, cpu1=NAN)) for n in range(1, 5)]
    stale = only(tuple(each for one in told for each in one.opened))
    after = Watch(NAME, INTERVAL, [stale])
    told_after = after.inventory(inventory(150.0, first=frame(150.0, cpu1=NAN)), 150.0)
    assert (told_after.opened, told_after.closed) == ((), ())
    assert only(rounds(after, good(180.0)).closed).id == stale.id


def test_no_value_neither_closes_nor_opens_a_threshold(watch: Watch) -> None:
    opened = only(rounds(watch, good(30.0, cpu1=50.0)).opened)
    assert rounds(watch, good(60.0, cpu1=NAN)).closed == ()
    assert only(rounds(watch, good(90.0)).closed).id == opened.id


def test_everything_that_a_condition_says_can_be_traced(watch: Watch) -> None:
    """Own health is never OK for a part with an open condition, whatever the controller says of it."""
    told = rounds(watch, good(30.0, None, {"blade1": FINE}, cpu1=43.0))
    assert told.rolled[pid("blade1")].own is Health.WARNING
    assert {each.id for each in PARTS} >= told.rolled.keys()


def test_a_reading_first_missed_after_an_outage_is_missed_from_then_on(watch: Watch) -> None:
    rounds(watch, good(30.0), *(bad(30.0 * n) for n in range(2, 40)))
    for now in (1200.0, 1230.0, 1260.0):
        assert not any(each.subject is Subject.STALE for each in rounds(watch, good(now, cpu1=NAN)).opened)
    assert only(rounds(watch, good(1290.0, cpu1=NAN)).opened).opened == 1200.0
