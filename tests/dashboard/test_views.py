"""What the pages say of the invented fleet."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from collector.model import (
    CollectorState,
    Health,
    Kind,
    LampState,
    Size,
    State,
    Status,
)
from collector.store.overview import Chosen
from collector.store.reader import Reader
from dashboard.drawings.things import Standing
from dashboard.queries import SledFacts, Source
from dashboard.views.floor import standing
from dashboard.views.places import Places, label, without_name
from dashboard.views.readings import first_to_show, key_of, sections, troubled_keys
from dashboard.views.sled import front_of, lamp_lines, name_plates, shared_parts, status_facts
from dashboard.views.telemetry import Running, running, said
from tests.dashboard.invented import DRIVE, FAN, GONE, HOT, SEIZED, UNPOWERED
from tests.dashboard.test_floor import chassis


def facts_of(source: Source, name: str) -> SledFacts:
    found = source.sled(name)
    assert found is not None
    return found


# --- hands first ---


def test_hands_first_is_worst_first_one_line_a_part(source: Source) -> None:
    found = source.glance.rounds(Chosen()).wrong.tasks
    assert [(task.part, task.severity) for task in found] == [
        (FAN, Health.CRITICAL),
        (UNPOWERED, Health.CRITICAL),
        (DRIVE, Health.WARNING),
        ("r03-s1:/redfish/v1/Systems/3/Processors/1", Health.WARNING),
    ]
    fan = found[0]
    assert (fan.name, fan.place, fan.more, fan.puts_at_risk) == (
        "Fan 2",
        "Quellmark / A / R01 / U5 / E1 / Sled 2",
        1,
        4,
    )
    assert fan.text == "speed 0 rpm is below lower critical 1000 rpm"


def test_a_drive_is_placed_by_what_contains_it(source: Source) -> None:
    drive = next(task for task in source.glance.rounds(Chosen()).wrong.tasks if task.part == DRIVE)
    assert drive.place == "Quellmark / A / R02 / U3 / E1 / Sled 1 / Drive 2"


def test_a_silent_controller_is_listed_apart(source: Source) -> None:
    (found,) = source.glance.rounds(Chosen()).silent
    assert (found.controller, found.outcome) == (GONE, "timed out")
    assert found.place == "Quellmark / A / R02 / U5 / E1 / Sled 2"
    assert found.last_good is not None
    assert found.error.startswith("/redfish/v1/Chassis: no answer")


# --- telemetry ---


def collector(**more: object) -> CollectorState:
    told: dict[str, object] = {
        "pid": 7,
        "version": "0.1.0",
        "started": 0.0,
        "heartbeat": 100.0,
        "stopped": None,
        "poll_interval": 30.0,
        "listen": "127.0.0.1:9460",
        **more,
    }
    return CollectorState(**told)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "now", "how", "words"),
    [
        (collector(), 114.0, Running.YES, "The collector is running, since 1 min."),
        (collector(), 116.0, Running.GONE, "nothing has been heard of process 7 for 16 s"),
        (collector(stopped=100.0), 103.0, Running.STOPPED, "it was stopped 3 s ago"),
        (None, 103.0, Running.NEVER, "No collector has run"),
    ],
)
def test_whether_a_collector_runs_is_said_plainly(
    state: CollectorState | None, now: float, how: Running, words: str
) -> None:
    assert running(state, now) is how
    assert words in said(state, now)


def test_telemetry_counts_who_is_heard(filled: tuple[Path, float], source: Source) -> None:
    with Reader(filled[0]) as reader:
        told = reader.overview.totals(filled[1] - 60.0)
        later = reader.overview.totals(filled[1] + 30.0)
    assert (told.controllers, told.answering, told.failing, told.waiting, told.behind) == (12, 10, 1, 1, 0)
    assert told.sensors - told.valued == 2  # CPU temperature and power of the absent blade
    assert (told.defects, told.unchecked) == (1, 1)
    assert told.newest is not None
    assert 0 <= filled[1] - told.newest <= 30
    assert later.behind == 10


# --- one sled ---


def test_the_front_holds_blades_lamps_and_drives(source: Source) -> None:
    facts = facts_of(source, "r02-s1")
    front = front_of("r02-s1", facts.places, facts.rolled, facts.statuses, facts.lamps, False)
    assert front is not None
    assert front.told
    assert front.lamps is not None
    assert front.lamps.amber is LampState.BLINK
    assert [blade.label for blade in front.blades] == ["Blade 1", "Blade 2"]
    assert [drive.standing.health for drive in front.blades[0].drives] == [
        Health.OK,
        Health.OK,
        Health.WARNING,
        Health.OK,
    ]


def test_lamps_stand_beside_what_is_reported(source: Source) -> None:
    facts = facts_of(source, "r02-s1")
    front = front_of("r02-s1", facts.places, facts.rolled, facts.statuses, facts.lamps, False)
    assert front is not None
    lines = lamp_lines("r02-s1", front, facts.places, facts.statuses, Standing())
    assert [line.label for line in lines] == ["Sled 1", "Blade 1", "Blade 2"]
    assert lines[0].reported == "health OK, Enabled, power On, locate on, IndicatorLED Blinking"
    assert lines[1].reported == "health OK, Enabled, locate off, IndicatorLED Off; host: power On"


def test_a_silent_sled_keeps_its_front_with_unknown_health(source: Source) -> None:
    facts = facts_of(source, GONE)
    front = front_of(GONE, facts.places, facts.rolled, facts.statuses, facts.lamps, True)
    assert front is not None
    assert {blade.standing.health for blade in front.blades} == {Health.UNKNOWN}


def test_without_any_size_the_front_is_not_called_to_scale(source: Source) -> None:
    facts = facts_of(source, SEIZED)
    bare = Places([msgspec.structs.replace(part, size=Size()) for part in facts.places.of_controller[SEIZED]])
    front = front_of(SEIZED, bare, facts.rolled, facts.statuses, facts.lamps, False)
    assert front is not None
    assert not front.told
    assert len(front.blades) == 4


def test_shared_parts_say_what_each_does_for_which_blade(source: Source) -> None:
    facts = facts_of(source, SEIZED)
    found = shared_parts(SEIZED, facts.places, facts.links, facts.rolled, facts.statuses, False)
    assert [label(each.part) for each in found] == [
        "Fan 2",
        "Fan 1",
        "Fan 3",
        "Fan 4",
        "Converter 1",
        "Converter 2",
        "Network adapter",
        "Sled controller",
    ]
    assert {ways for each in found for ways in each.leans.values()} == {
        ("cooled by",),
        ("powered by",),
        ("connected through",),
        ("managed by",),
    }
    assert all(len(each.leans) == 4 for each in found)
    assert found[0].standing.health is Health.CRITICAL


def test_readings_have_limit_and_margin_and_the_troubled_part_stands_first(source: Source) -> None:
    facts = facts_of(source, "r03-s1")
    groups = sections(facts.readings, facts.places, "r03-s1")
    first = groups[0].lines[0]
    assert [group.name for group in groups] == [
        "Blade 3",
        "Sled 1 and what its blades share",
        "Blade 1",
        "Blade 2",
        "Blade 4",
    ]
    assert (first.part, groups[0].worst, groups[0].closest) == ("CPU 1", Health.WARNING, first)
    assert first.crossed is Health.WARNING
    assert first.limit == "upper caution 80.0 °C"
    assert first.margin.endswith("K beyond")
    silent = next(line for group in groups for line in group.lines if line.value is None)
    assert (silent.words, silent.margin) == ("no value", "")


def test_the_closest_reading_is_told_by_share_of_its_scale(source: Source) -> None:
    shared = sections(facts_of(source, "r01-s1").readings, facts_of(source, "r01-s1").places, "r01-s1")[0]
    # air 24.5 of 5..35: 0.35 of the scale; bus 48.3 of 40..60: 0.42; fans 7200 over 2000: 2.6 times the limit
    assert shared.closest is not None
    assert shared.closest.sensor.sensor == "inlet air"
    assert shared.closest.closeness == pytest.approx(10.5 / 30, abs=0.03)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Fan 2: stands still.", "stands still"),
        ("FAN 2: stands still", "stands still"),
        ("Fan 2 stands still", "Fan 2 stands still"),
        ("stands still: no turn", "stands still: no turn"),
    ],
)
def test_a_text_does_not_repeat_the_name_before_it(text: str, left: str) -> None:
    assert without_name(text, chassis("a", kind=Kind.FAN, name="Fan 2")) == left
    assert without_name(text, None) == text.removesuffix(".")


def test_history_opens_on_the_sensor_in_trouble_unless_another_is_asked_for(source: Source) -> None:
    facts = facts_of(source, SEIZED)
    groups = sections(facts.readings, facts.places, SEIZED)
    keys = troubled_keys(facts.conditions, facts.readings)
    opened = first_to_show(groups, None, keys)
    assert opened is not None
    assert (opened.sensor.part, opened.sensor.sensor) == (FAN, "speed")
    power = next(reading.sensor for reading in facts.readings if reading.sensor.sensor == "power")
    asked = first_to_show(groups, key_of(power), keys)
    assert asked is not None
    assert asked.sensor == power
    assert first_to_show((), None, ()) is None


def test_a_history_has_the_samples_of_its_time(filled: tuple[Path, float], source: Source) -> None:
    facts = facts_of(source, SEIZED)
    sensor = next(reading.sensor for reading in facts.readings if reading.sensor.part == FAN)
    found = source.history(sensor, filled[1] - 900, filled[1])
    assert 28 <= len(found.times) <= 31
    assert found.values[0] > 6000
    assert found.values[-1] == 0


def test_name_plates_stand_in_the_order_of_containment(source: Source) -> None:
    plates = name_plates("r02-s1", facts_of(source, "r02-s1").places)
    assert plates[0].identity.part_number == "MD-70420"
    drive = next(plate for plate in plates if plate.part.id == DRIVE)
    assert drive.place == "Sled 1 / Blade 1 / Drive 2"
    assert drive.identity.serial == "D12R02-S1"


def test_a_controller_that_is_not_there_is_none(source: Source) -> None:
    assert source.sled("nope") is None


def test_an_unknown_part_is_unknown() -> None:
    assert standing("x", {}, {}) == Standing(Health.UNKNOWN)


def test_hot_is_the_blade_that_contains_the_hot_processor(source: Source) -> None:
    facts = facts_of(source, "r03-s1")
    assert facts.rolled[HOT].worst is Health.WARNING
    assert facts.rolled[HOT].own is Health.OK


def test_a_status_without_words_tells_nothing() -> None:
    assert status_facts(Status()) == []
    assert status_facts(Status(state=State.ABSENT, failure_predicted=True)) == ["Absent", "failure predicted"]
