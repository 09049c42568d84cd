"""What rounds mean: thresholds, statuses, idle parts, one condition per trouble, restarts."""

from __future__ import annotations

from typing import Any

import pytest

from collector.assess.watch import Watch
from collector.model import (
    Assessment,
    Condition,
    Defect,
    DefectKind,
    Health,
    Kind,
    Lamps,
    LampState,
    PowerState,
    Round,
    State,
    Status,
    Subject,
    Thresholds,
)
from collector.model import Limit as L
from tests.assess.fleet import (
    FINE,
    HOT,
    NAME,
    NAN,
    PARTS,
    RUNNING,
    SENSORS,
    frame,
    good,
    inventory,
    part,
    pid,
    sensor,
)

INTERVAL = 30.0
OFF = Status(state=State.ENABLED, health=Health.OK, power=PowerState.OFF)


@pytest.fixture
def watch() -> Watch:
    """A watch that has seen a walk in which everything was fine."""
    watch = Watch(NAME, INTERVAL)
    first = watch.inventory(inventory(), 0.0)
    assert first.opened == ()
    return watch


def only(conditions: tuple[Condition, ...]) -> Condition:
    assert len(conditions) == 1, [condition.text for condition in conditions]
    return conditions[0]


def rounds(watch: Watch, *each: Round) -> Assessment:
    """The assessment of the last of some rounds."""
    return [watch.round(one, one.finished) for one in each][-1]


def test_first_walk_tells_every_part_and_every_front() -> None:
    told = Watch(NAME, INTERVAL).inventory(inventory(), 0.0)
    assert told.rolled.keys() == {each.id for each in PARTS}
    assert {rolled.worst for rolled in told.rolled.values()} == {Health.OK}
    assert told.lamps.keys() == {pid(name) for name in ("sled", "fan", "blade1", "blade2", "drive")}
    assert told.events == ()


def test_a_round_with_nothing_wrong_is_empty(watch: Watch) -> None:
    assert rounds(watch, good(30.0), good(60.0)).empty


def test_a_walk_that_finds_the_same_is_empty(watch: Watch) -> None:
    assert watch.inventory(inventory(900.0), 900.0).empty


def test_a_threshold_crossed_opens_rises_falls_and_closes_one_condition(watch: Watch) -> None:
    opened = only(rounds(watch, good(30.0, cpu1=43.0)).opened)
    assert (opened.subject, opened.severity, opened.part, opened.sensor) == (
        Subject.THRESHOLD,
        Health.WARNING,
        pid("blade1"),
        "cpu1",
    )
    assert opened.text == "blade1: cpu1 above upper caution, 42 °C"
    assert opened.opened == 30.0
    rises = rounds(watch, good(60.0, cpu1=50.0))
    assert rises.opened == ()
    risen = only(rises.changed)
    assert (risen.id, risen.severity, risen.changed, risen.opened) == (opened.id, Health.CRITICAL, 60.0, 30.0)
    fallen = only(rounds(watch, good(90.0, cpu1=44.0)).changed)
    assert fallen.severity is Health.WARNING
    closes = rounds(watch, good(120.0))
    closed = only(closes.closed)
    assert (closed.id, closed.closed) == (opened.id, 120.0)
    values = [each.value for each in closed.evidence if each.value is not None]
    assert values[0] == 43.0
    assert 50.0 in values
    assert [event.subject for event in closes.events] == ["condition closed"]
    assert rounds(watch, good(150.0)).empty


def test_evidence_names_reading_limit_and_source(watch: Watch) -> None:
    evidence = only(rounds(watch, good(30.0, rail1=11.0)).opened).evidence
    assert [(each.value, each.limit, each.threshold, each.source, each.unit) for each in evidence] == [
        (11.0, 11.4, "lower_critical", "/redfish/v1/blade1/Sensors/rail1", "Cel")
    ]


def test_a_standing_condition_is_not_told_every_round(watch: Watch) -> None:
    rounds(watch, good(30.0, cpu1=43.0))
    told = [rounds(watch, good(30.0 + 30.0 * n, cpu1=43.0 + n / 100)) for n in range(1, 25)]
    assert all(not each.opened and not each.closed for each in told)
    assert [n for n, each in enumerate(told, 1) if each.changed] == [10, 20]


def test_upper_and_lower_are_two_conditions() -> None:
    both = sensor("cpu1", "blade1", Kind.BLADE, Thresholds(upper_caution=L(value=42.0), lower_caution=L(value=10.0)))
    watch = Watch(NAME, INTERVAL)
    watch.inventory(inventory(sensors=[both], first=frame(0.0, sensors=[both])), 0.0)
    high = only(watch.round(good_of(both, 30.0, 50.0), 30.0).opened)
    turned = watch.round(good_of(both, 60.0, 5.0), 60.0)
    assert only(turned.closed).id == high.id
    assert only(turned.opened).id != high.id
    assert only(turned.opened).text.startswith("blade1: cpu1 below lower caution")


def good_of(each, time: float, value: float) -> Round:  # type: ignore[no-untyped-def]
    told = good(time)
    assert told.frame is not None
    told.frame.values = told.frame.values[:1]
    told.frame.values[0] = value
    told.frame.healths = told.frame.healths[:1]
    return told


# What the controller reports, and what we compute


def test_reading_over_its_threshold_and_sensor_not_ok_are_one_condition(watch: Watch) -> None:
    condition = only(rounds(watch, good(30.0, {"cpu1": Health.CRITICAL}, cpu1=43.0)).opened)
    assert condition.subject is Subject.THRESHOLD
    assert condition.severity is Health.CRITICAL, "the worse of computed Warning and reported Critical"
    assert condition.text == "blade1: cpu1 above upper caution, 42 °C; controller reports Critical"
    assert [each.value for each in condition.evidence] == [43.0, None]
    assert condition.evidence[1].text == "cpu1: its Health is Critical"


def test_reported_ok_does_not_silence_a_crossed_threshold(watch: Watch) -> None:
    """redfish-notes.md quirk 10: catfish 'Board Temp' is 35 over 30, yet its Health is OK."""
    assert only(rounds(watch, good(30.0, {"cpu1": Health.OK}, cpu1=50.0)).opened).severity is Health.CRITICAL


def test_reported_warning_does_not_soften_a_critical_threshold(watch: Watch) -> None:
    """redfish-notes.md quirk 10: iiot 'Conveyor' is 9.3 A over critical 6 A, yet its Health is Warning."""
    assert only(rounds(watch, good(30.0, {"cpu1": Health.WARNING}, cpu1=50.0)).opened).severity is Health.CRITICAL


def test_a_sensor_not_ok_within_its_thresholds_is_a_status(watch: Watch) -> None:
    condition = only(rounds(watch, good(30.0, {"cpu1": Health.WARNING})).opened)
    assert (condition.subject, condition.sensor, condition.severity) == (Subject.STATUS, "cpu1", Health.WARNING)
    assert only(rounds(watch, good(60.0)).closed).id == condition.id


def test_a_sensor_without_value_can_be_not_ok(watch: Watch) -> None:
    condition = only(rounds(watch, good(30.0, {"cpu1": Health.CRITICAL}, cpu1=NAN)).opened)
    assert (condition.subject, condition.sensor) == (Subject.STATUS, "cpu1")


def test_the_on_delay_is_not_waited_for_twice() -> None:
    """The controller, which sees every sample, says Warning already; our own DwellTime has only begun."""
    slow = sensor("cpu1", "blade1", Kind.BLADE, Thresholds(upper_caution=L(value=42.0, on_delay=300.0)))
    watch = Watch(NAME, INTERVAL)
    watch.inventory(inventory(sensors=[slow], first=frame(0.0, sensors=[slow])), 0.0)
    quiet = good_of(slow, 30.0, 44.0)
    assert watch.round(quiet, 30.0).opened == ()
    loud = good_of(slow, 60.0, 44.0)
    assert loud.frame is not None
    loud.frame.healths = bytes([Health.WARNING])
    condition = only(watch.round(loud, 60.0).opened)
    assert (condition.subject, condition.opened) == (Subject.THRESHOLD, 30.0)


def test_a_device_not_ok_with_its_sensor_beyond_a_threshold_is_one_condition(watch: Watch) -> None:
    """redfish-notes.md quirks 7 and 11: bladed fan 2 stands at a true 0 and its own Health is Critical."""
    dead = Status(state=State.ENABLED, health=Health.CRITICAL)
    told = rounds(watch, good(30.0, {"speed": Health.CRITICAL}, {"fan": dead}, speed=0.0))
    condition = only(told.opened)
    assert (condition.subject, condition.part, condition.severity) == (
        Subject.THRESHOLD,
        pid("fan"),
        Health.CRITICAL,
    )
    assert {each.text for each in condition.evidence} == {
        "reading 0 °C",
        "speed: its Health is Critical",
        "fan: its Health is Critical",
    }


def test_it_stays_that_condition_while_the_device_is_reported_not_ok(watch: Watch) -> None:
    sick = Status(state=State.ENABLED, health=Health.WARNING)
    opened = only(rounds(watch, good(30.0, None, {"fan": sick}, speed=400.0)).opened)
    still = rounds(watch, good(60.0))
    assert not still.opened
    assert not still.closed
    assert only(still.changed).text == "fan: speed back within its limits, controller still reports Warning"
    assert only(rounds(watch, good(90.0, None, {"fan": FINE})).closed).id == opened.id


def test_a_status_first_and_a_threshold_later_are_never_two_open_conditions(watch: Watch) -> None:
    sick = Status(state=State.ENABLED, health=Health.WARNING)
    first = only(rounds(watch, good(30.0, None, {"fan": sick})).opened)
    assert first.subject is Subject.STATUS
    later = rounds(watch, good(60.0, speed=400.0))
    assert only(later.closed).id == first.id
    assert only(later.opened).subject is Subject.THRESHOLD


def test_a_blade_worse_than_its_sensor_is_a_trouble_of_its_own(watch: Watch) -> None:
    sick = Status(state=State.ENABLED, health=Health.CRITICAL, power=PowerState.ON, reasons=("Main rail failed.",))
    told = rounds(watch, good(30.0, None, {"blade1": sick}, cpu1=43.0))
    assert [(each.subject, each.severity) for each in told.opened] == [
        (Subject.THRESHOLD, Health.WARNING),
        (Subject.STATUS, Health.CRITICAL),
    ]
    assert told.opened[1].text == "blade1: controller reports Critical: Main rail failed."


def test_a_blade_no_worse_than_its_sensor_is_explained_by_it(watch: Watch) -> None:
    sick = Status(state=State.ENABLED, health=Health.WARNING, power=PowerState.ON)
    condition = only(rounds(watch, good(30.0, None, {"blade1": sick}, cpu1=43.0)).opened)
    assert condition.subject is Subject.THRESHOLD
    assert "blade1: its Health is Warning" in [each.text for each in condition.evidence]


def test_rollup_health_is_not_a_condition(watch: Watch) -> None:
    repeats = Status(state=State.ENABLED, health=Health.OK, health_rollup=Health.CRITICAL)
    assert rounds(watch, good(30.0, None, {"sled": repeats})).opened == ()


def test_a_predicted_failure_and_the_drives_health_are_one_condition(watch: Watch) -> None:
    failing = Status(state=State.ENABLED, health=Health.WARNING, failure_predicted=True)
    condition = only(rounds(watch, good(30.0, None, {"drive": failing})).opened)
    assert (condition.subject, condition.severity) == (Subject.FAILURE_PREDICTED, Health.WARNING)
    worse = Status(state=State.ENABLED, health=Health.CRITICAL, failure_predicted=True)
    assert only(rounds(watch, good(60.0, None, {"drive": worse})).changed).severity is Health.CRITICAL
    assert only(rounds(watch, good(90.0, None, {"drive": FINE})).closed).id == condition.id


@pytest.mark.parametrize("state", [State.UNAVAILABLE_OFFLINE, State.DEGRADED])
def test_a_part_that_cannot_be_used_is_a_trouble(watch: Watch, state: State) -> None:
    condition = only(rounds(watch, good(30.0, None, {"drive": Status(state=state, health=Health.OK)})).opened)
    assert (condition.subject, condition.severity) == (Subject.STATUS, Health.WARNING)
    assert condition.text == f"drive: its state is {state.value}"


@pytest.mark.parametrize("state", [State.DISABLED, State.STANDBY_SPARE, State.STANDBY_OFFLINE, State.UPDATING])
def test_states_that_someone_chose_are_none(watch: Watch, state: State) -> None:
    assert rounds(watch, good(30.0, None, {"drive": Status(state=state, health=Health.OK)})).opened == ()


def test_moving_numbers_in_a_reason_are_no_news(watch: Watch) -> None:
    def sick(value: float) -> Status:
        return Status(state=State.ENABLED, health=Health.WARNING, reasons=(f"Reading of {value} is above 42.",))

    rounds(watch, good(30.0, None, {"drive": sick(43.5)}))
    assert rounds(watch, good(60.0, None, {"drive": sick(44)})).changed == ()


# What is off or absent


def test_low_readings_of_a_blade_whose_host_is_off_are_no_alarm(watch: Watch) -> None:
    told = rounds(watch, good(30.0, None, {"host1": OFF}, rail1=0.0), good(60.0, rail1=0.0))
    assert told.opened == ()
    assert told.empty


def test_high_readings_of_a_blade_that_is_off_are(watch: Watch) -> None:
    assert only(rounds(watch, good(30.0, None, {"host1": OFF}, cpu1=50.0)).opened).severity is Health.CRITICAL


def test_sensor_health_that_only_repeats_the_low_reading_is_held_too(watch: Watch) -> None:
    assert rounds(watch, good(30.0, {"rail1": Health.CRITICAL}, {"blade1": OFF}, rail1=0.0)).opened == ()


def test_loss_of_power_that_the_blade_calls_critical_is_one(watch: Watch) -> None:
    lost = Status(state=State.ENABLED, health=Health.CRITICAL, power=PowerState.OFF, reasons=("Input power lost.",))
    condition = only(rounds(watch, good(30.0, None, {"blade1": lost, "host1": OFF}, rail1=0.0)).opened)
    assert (condition.subject, condition.part, condition.severity) == (
        Subject.STATUS,
        pid("blade1"),
        Health.CRITICAL,
    )


def test_a_low_reading_that_came_before_the_power_state_closes_again(watch: Watch) -> None:
    opened = only(rounds(watch, good(30.0, rail1=0.0)).opened)
    assert only(rounds(watch, good(60.0, None, {"host1": OFF}, rail1=0.0)).closed).id == opened.id


def test_it_alarms_again_once_the_blade_is_on(watch: Watch) -> None:
    rounds(watch, good(30.0, None, {"host1": OFF}, rail1=0.0))
    assert only(rounds(watch, good(60.0, None, {"host1": RUNNING}, rail1=0.0)).opened).sensor == "rail1"


def test_a_fan_may_stand_while_all_that_it_cools_is_off(watch: Watch) -> None:
    assert rounds(watch, good(30.0, None, {"host1": OFF, "host2": OFF}, speed=0.0)).opened == ()
    assert only(rounds(watch, good(60.0, None, {"host2": RUNNING}, speed=0.0)).opened).part == pid("fan")


def test_a_blade_that_trips_off_hot_does_not_stay_hot_for_ever(watch: Watch) -> None:
    opened = only(rounds(watch, good(30.0, cpu1=50.0)).opened)
    closed = only(rounds(watch, good(60.0, None, {"host1": OFF}, cpu1=NAN)).closed)
    assert closed.id == opened.id


def test_a_part_that_turns_absent_is_missing_until_it_is_back(watch: Watch) -> None:
    condition = only(rounds(watch, good(30.0, None, {"drive": Status(state=State.ABSENT)})).opened)
    assert (condition.subject, condition.part, condition.severity) == (Subject.MISSING, pid("drive"), Health.WARNING)
    assert only(rounds(watch, good(60.0, None, {"drive": FINE})).closed).id == condition.id


def test_a_place_that_was_always_empty_is_not_missing() -> None:
    watch = Watch(NAME, INTERVAL)
    assert watch.inventory(inventory(statuses={"drive": Status(state=State.ABSENT)}), 0.0).opened == ()


def test_a_drive_that_goes_with_its_hosts_power_is_not_missing(watch: Watch) -> None:
    gone = Status(state=State.ABSENT)
    assert rounds(watch, good(30.0, None, {"host2": OFF, "drive": gone})).opened == ()


def test_a_drive_missed_before_does_not_come_back_with_a_power_button(watch: Watch) -> None:
    missing = only(rounds(watch, good(30.0, None, {"drive": Status(state=State.ABSENT)})).opened)
    assert rounds(watch, good(60.0, None, {"host2": OFF})).closed == ()
    assert rounds(watch, good(90.0, None, {"host2": RUNNING})).closed == ()
    assert only(rounds(watch, good(120.0, None, {"drive": FINE})).closed).id == missing.id


# Restarts


def test_conditions_go_on_after_a_restart_without_being_opened_again(watch: Watch) -> None:
    dead = Status(state=State.ENABLED, health=Health.CRITICAL)
    failing = Status(state=State.ENABLED, health=Health.OK, failure_predicted=True)
    before = rounds(watch, good(30.0, None, {"fan": dead, "drive": failing}, cpu1=50.0, speed=0.0))
    assert len(before.opened) == 3
    after = Watch(NAME, INTERVAL, before.opened)
    told = after.inventory(
        inventory(60.0, statuses={"fan": dead, "drive": failing}, first=frame(60.0, cpu1=50.0, speed=0.0)), 60.0
    )
    assert (told.opened, told.closed) == ((), ())
    assert told.rolled[pid("sled")].open_conditions == 3
    assert told.rolled[pid("sled")].worst is Health.CRITICAL
    closes = rounds(after, good(90.0, None, {"fan": FINE, "drive": FINE}))
    assert {each.id for each in closes.closed} == {each.id for each in before.opened}
    assert {each.opened for each in closes.closed} == {30.0}


def test_what_got_well_during_the_restart_closes_with_the_first_walk(watch: Watch) -> None:
    before = rounds(watch, good(30.0, cpu1=50.0))
    told = Watch(NAME, INTERVAL, before.opened).inventory(inventory(3600.0), 3600.0)
    assert [each.id for each in told.closed] == [each.id for each in before.opened]


def test_hysteresis_holds_over_a_restart() -> None:
    held = sensor("cpu1", "blade1", Kind.BLADE, Thresholds(upper_caution=L(value=42.0, hysteresis=5.0)))
    watch = Watch(NAME, INTERVAL)
    watch.inventory(inventory(sensors=[held], first=frame(0.0, sensors=[held])), 0.0)
    opened = watch.round(good_of(held, 30.0, 43.0), 30.0).opened
    after = Watch(NAME, INTERVAL, opened)
    told = after.inventory(inventory(60.0, sensors=[held], first=frame(60.0, sensors=[held])), 60.0)
    assert told.closed == (), "40 °C is back past 42 °C, but not by 5 K"
    assert only(after.round(good_of(held, 90.0, 37.0), 90.0).closed).id == opened[0].id


# Walks that find something else


def test_thresholds_are_followed_over_a_change_of_layout(watch: Watch) -> None:
    opened = only(rounds(watch, good(30.0, cpu2=43.0)).opened)
    fewer = tuple(each for each in SENSORS if each.sensor != "inlet")
    told = watch.inventory(inventory(60.0, sensors=fewer, first=frame(60.0, sensors=fewer, cpu2=43.0)), 60.0)
    assert (told.opened, told.closed) == ((), ())
    closing = frame(90.0, sensors=fewer)
    told = watch.round(
        Round(controller=NAME, started=89.0, finished=90.0, outcome=good(1.0).outcome, frame=closing), 90.0
    )
    assert only(told.closed).id == opened.id


def test_a_sensor_that_is_gone_takes_its_condition_with_it(watch: Watch) -> None:
    opened = only(rounds(watch, good(30.0, cpu2=43.0)).opened)
    fewer = tuple(each for each in SENSORS if each.sensor != "cpu2")
    told = watch.inventory(inventory(60.0, sensors=fewer, first=frame(60.0, sensors=fewer)), 60.0)
    assert only(told.closed).id == opened.id


def test_a_frame_that_does_not_fit_its_layout_is_refused(watch: Watch) -> None:
    with pytest.raises(ValueError, match="zip"):
        watch.round(good_of(None, 30.0, 1.0), 30.0)
    with pytest.raises(ValueError, match="layout of 6 sensors"):
        watch.inventory(inventory(first=frame(0.0, sensors=SENSORS[:2])), 0.0)


def test_a_sensor_of_an_unlisted_part_is_watched_all_the_same() -> None:
    stray = sensor("odd", "nowhere", Kind.OTHER, HOT)
    watch = Watch(NAME, INTERVAL)
    told = watch.inventory(inventory(sensors=[stray], first=frame(0.0, sensors=[stray], odd=50.0)), 0.0)
    assert only(told.opened).part == pid("nowhere")


def test_parts_that_come_and_go_are_events_and_what_should_be_there_is_missing(watch: Watch) -> None:
    without = tuple(each for each in PARTS if each.name not in ("blade2", "host2", "drive"))
    sensors = SENSORS[:4]
    told = watch.inventory(
        inventory(900.0, parts=without, links=(), sensors=sensors, first=frame(900.0, sensors=sensors)), 900.0
    )
    missing = only(told.opened)
    assert (missing.subject, missing.part) == (Subject.MISSING, pid("sled")), "shown on what held it"
    assert missing.text == "blade2: was there and is no longer listed"
    assert [event.subject for event in told.events] == ["part missing", "condition opened"]
    assert told.rolled[pid("sled")].own is Health.WARNING
    restarted = Watch(NAME, INTERVAL, told.opened)
    again = restarted.inventory(
        inventory(1800.0, parts=without, sensors=sensors, first=frame(1800.0, sensors=sensors)), 1800.0
    )
    assert (again.opened, again.closed) == ((), ())
    back = restarted.inventory(inventory(2700.0), 2700.0)
    assert only(back.closed).id == missing.id
    assert [event.subject for event in back.events] == ["part appeared", "condition closed"], (
        "the restarted watch never knew it"
    )


def test_a_part_whose_resource_could_not_be_fetched_is_not_missing(watch: Watch) -> None:
    defect = Defect(controller=NAME, resource="/redfish/v1/fan", property="", kind=DefectKind.HTTP_ERROR, detail="500")
    rounds(watch, good(30.0, speed=0.0))
    without = tuple(each for each in PARTS if each.name != "fan")
    sensors = tuple(each for each in SENSORS if each.sensor != "speed")
    told = watch.inventory(
        inventory(900.0, parts=without, sensors=sensors, first=frame(900.0, sensors=sensors), defects=(defect,)), 900.0
    )
    assert (told.opened, told.closed) == ((), ()), "what was open on it stays open"


def test_a_service_that_renames_everything_is_told_once() -> None:
    watch = Watch(NAME, INTERVAL)
    empty: dict[str, Any] = {"sensors": (), "first": frame(0.0, sensors=())}
    watch.inventory(inventory(parts=[part(f"a{n}", Kind.FAN) for n in range(500)], **empty), 0.0)
    told = watch.inventory(inventory(parts=[part(f"b{n}", Kind.FAN) for n in range(500)], **empty), 1.0)
    assert only(told.events).subject == "addresses changed"
    assert told.opened == ()


def test_a_service_that_loses_almost_everything_is_bounded() -> None:
    watch = Watch(NAME, INTERVAL)
    empty: dict[str, Any] = {"sensors": (), "first": frame(0.0, sensors=())}
    watch.inventory(inventory(parts=[part(f"a{n}", Kind.FAN) for n in range(500)], **empty), 0.0)
    told = watch.inventory(inventory(parts=[part("a0", Kind.FAN)], **empty), 1.0)
    assert len(told.opened) == 499
    assert len(told.events) == 201
    assert told.events[-1].text == "400 more events at the same time"


# Lamps


def test_a_blades_lamps_follow_its_host(watch: Watch) -> None:
    located = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON, locate=True)
    told = rounds(watch, good(30.0, None, {"host1": located}))
    assert told.lamps == {pid("blade1"): Lamps(LampState.ON, LampState.BLINK)}
    assert told.rolled == {}


def test_lamps_follow_trouble_power_and_locate(watch: Watch) -> None:
    on, off, blink = LampState.ON, LampState.OFF, LampState.BLINK
    told = rounds(watch, good(30.0, cpu1=50.0))
    assert told.lamps == {pid("blade1"): Lamps(on, on), pid("sled"): Lamps(off, on)}
    located = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON, locate=True)
    assert rounds(watch, good(60.0, None, {"blade1": located}, cpu1=50.0)).lamps == {pid("blade1"): Lamps(on, blink)}
    told = rounds(watch, good(90.0, None, {"blade1": OFF, "host1": OFF}))
    assert told.lamps == {pid("blade1"): Lamps(off, off), pid("sled"): Lamps(on, off)}
