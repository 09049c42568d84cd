"""What is put in comes out, whatever it is."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from msgspec import structs

from collector.model import (
    CollectorState,
    Contact,
    Defect,
    DefectKind,
    Event,
    EventsBy,
    Evidence,
    Health,
    Lamps,
    LampState,
    Layout,
    LedState,
    Limit,
    Location,
    Login,
    Outcome,
    PowerState,
    Quantity,
    Rolled,
    Setting,
    SettingKind,
    State,
    Status,
    Subject,
    Thresholds,
    Update,
)
from collector.settings import StoreSettings
from collector.store.book import MOST_LEARNT
from collector.store.merge import merged
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from collector.store.writer import Writer
from tests.store.invented import (
    HOSTILE,
    NAN,
    NOON,
    Clock,
    assessed,
    condition,
    done,
    event,
    frame,
    inventory,
    part,
    rich_inventory,
    sensor,
    walk,
    writer,
)


async def keep(state_dir: Path, *updates: Update, names: tuple[str, ...] = ("c1",)) -> Reader:
    """A reader of a directory in which the updates were kept."""
    async with writer(state_dir, *names) as opened:
        for update in updates:
            await opened.put(update)
    return Reader(state_dir)


@pytest.mark.parametrize("word", HOSTILE.values(), ids=HOSTILE)
async def test_an_inventory_comes_back_as_it_was(tmp_path: Path, word: str) -> None:
    found = rich_inventory("c1", word)
    with await keep(tmp_path, Update(controller="c1", inventory=found)) as reader:
        assert tuple(reader.parts()) == found.parts
        assert tuple(reader.parts("c1")) == found.parts
        assert tuple(reader.links("c1")) == found.links
        assert tuple(reader.sensors("c1")) == found.layout.sensors
        (state,) = reader.controllers()
        assert (state.product, state.redfish_version) == (word, word)


@pytest.mark.parametrize("word", HOSTILE.values(), ids=HOSTILE)
async def test_conditions_events_and_defects_come_back_as_they_were(tmp_path: Path, word: str) -> None:
    odd = condition("c1", word, part=word, sensor=word, text=word, evidence=(Evidence(time=NOON, text=word),))
    told = Event(time=NOON, controller="c1", part=word, subject=word, severity=Health.CRITICAL, text=word)
    defect = Defect(controller="c1", resource=word, property=word, kind=DefectKind.NOT_JSON, detail=word)
    updates = walk("c1", NOON, defects=(defect,)), assessed("c1", opened=(odd,), events=(told,))
    with await keep(tmp_path, *updates) as reader:
        assert reader.conditions() == [odd]
        assert reader.open_conditions_of("c1") == [odd]
        assert reader.events() == [told]
        assert reader.defects() == [defect]
        assert reader.controllers()[0].defects == 1


async def test_a_lone_surrogate_is_kept_as_the_replacement_character(tmp_path: Path) -> None:
    """UTF-8 has no form for it (RFC 3629 section 3); U+FFFD is what the Unicode Standard replaces it with."""
    bad = "blade \ud800"
    found = inventory(
        "c1",
        NOON,
        sensor("c1", "inlet", context=bad),
        parts=(part("c1", bad),),
        statuses={part("c1", bad).id: Status(reasons=(bad,))},
    )
    with await keep(tmp_path, Update(controller="c1", inventory=found)) as reader:
        assert [each.name for each in reader.parts()] == ["blade \ufffd"]
        assert reader.sensors()[0].context == "blade \ufffd"
        assert reader.statuses() == {part("c1", "blade \ufffd").id: Status(reasons=("blade \ufffd",))}


async def test_limits_may_be_infinite_and_zero_may_be_negative(tmp_path: Path) -> None:
    limits = Thresholds(upper_fatal=Limit(value=math.inf), lower_fatal=Limit(value=-0.0, hysteresis=5e-324))
    with await keep(tmp_path, walk("c1", NOON, sensor("c1", thresholds=limits))) as reader:
        (found,) = reader.sensors("c1")
    assert found.thresholds == limits
    assert found.thresholds.lower_fatal is not None
    assert math.copysign(1, found.thresholds.lower_fatal.value) == -1


async def test_statuses_lamps_and_rollups_come_back(tmp_path: Path) -> None:
    full = Status(
        state=State.STANDBY_SPARE,
        health=Health.WARNING,
        health_rollup=Health.CRITICAL,
        power=PowerState.POWERING_OFF,
        locate=True,
        led=LedState.BLINKING,
        failure_predicted=False,
        reasons=("one", "two"),
    )
    rolled = Rolled(own=Health.OK, worst=Health.CRITICAL, at_risk_through=("c1:x",), open_conditions=3)
    lamps = Lamps(LampState.BLINK, LampState.UNKNOWN)
    at = part("c1").id
    update = Update(
        controller="c1",
        inventory=inventory("c1", NOON, statuses={at: full}),
        assessment=assessed("c1", rolled={at: rolled}, lamps={at: lamps}).assessment,
    )
    with await keep(tmp_path, update) as reader:
        assert reader.statuses() == reader.statuses("c1") == {at: full}
        assert reader.rolled() == reader.rolled("c1") == {at: rolled}
        assert reader.lamps() == reader.lamps("c1") == {at: lamps}


async def test_readings_tell_no_value_from_zero_and_keep_their_own_times(tmp_path: Path) -> None:
    sensors = [sensor("c1", name) for name in ("a", "b", "c")]
    newest = frame(NOON + 30, 0.0, NAN, -math.inf, times=[NOON + 28, NOON + 29, NAN], healths=bytes([1, 0, 3]))
    with await keep(tmp_path, walk("c1", NOON, *sensors), done("c1", NOON + 30, 0.0, frame=newest)) as reader:
        readings = reader.readings("c1")
        assert reader.readings() == readings
    assert [(each.sensor, each.value, each.health, each.time) for each in readings] == [
        (sensors[0], 0.0, Health.OK, NOON + 28),
        (sensors[1], None, Health.UNKNOWN, NOON + 29),
        (sensors[2], -math.inf, Health.CRITICAL, NOON + 30),  # a time that is none becomes the frame's
    ]


async def test_rounds_are_counted_and_the_newest_is_told(tmp_path: Path) -> None:
    lost = done("c1", NOON + 60, outcome=Outcome.UNREACHABLE, error="c1: no route", late=7.0, requests=3)
    with await keep(tmp_path, walk("c1", NOON), done("c1", NOON + 30, 1.0, bytes_received=9), lost) as reader:
        (state,) = reader.controllers()
    assert (state.url, state.location, state.insecure) == (
        "https://c1.example",
        Location(site="Quellmark", row="A"),
        False,
    )
    assert (state.outcome, state.error) == (Outcome.UNREACHABLE, "c1: no route")
    assert (state.last_round, state.last_good, state.round_seconds) == (NOON + 60, NOON + 30, 1.0)
    assert (state.rounds, state.failed_rounds, state.late_rounds) == (2, 1, 1)
    assert (state.requests, state.bytes_received) == (3, 0)


async def test_counts_go_on_after_a_restart(tmp_path: Path) -> None:
    (await keep(tmp_path, walk("c1", NOON), done("c1", NOON + 30, 1.0))).close()
    with await keep(tmp_path, done("c1", NOON + 60, 2.0)) as reader:
        assert reader.controllers()[0].rounds == 2
        assert [each.value for each in reader.readings()] == [2.0]


async def test_a_controller_never_heard_of_is_shown_as_such(tmp_path: Path) -> None:
    with await keep(tmp_path) as reader:
        (state,) = reader.controllers()
        assert (state.outcome, state.last_round, state.rounds) == (None, None, 0)
        assert reader.readings() == []


async def test_the_collector_leaves_its_mark(tmp_path: Path) -> None:
    clock = Clock(NOON)
    opened = Writer(tmp_path, StoreSettings(), now=clock)
    opened.announce(version="1.2", poll_interval=30.0, listen="127.0.0.1:9460")
    with Reader(tmp_path) as reader:
        running = reader.collector()
        assert running is not None
        clock.time = NOON + 100
        await opened.aclose()
        assert running == CollectorState(
            pid=running.pid,
            version="1.2",
            started=NOON,
            heartbeat=NOON,
            stopped=None,
            poll_interval=30.0,
            listen="127.0.0.1:9460",
        )
        stopped = reader.collector()
        assert stopped is not None
        assert (stopped.stopped, stopped.heartbeat) == (NOON + 100, NOON + 100)


async def test_a_walk_replaces_what_it_no_longer_finds(tmp_path: Path) -> None:
    gone, stays = part("c1", "Gone"), part("c1")
    both = {gone.id: Status(health=Health.OK), stays.id: Status(health=Health.OK)}
    rolled = {each.id: Rolled(own=Health.OK, worst=Health.OK) for each in (gone, stays)}
    lamps = {each.id: Lamps(LampState.ON, LampState.OFF) for each in (gone, stays)}
    defect = Defect(controller="c1", resource="/x", property="", kind=DefectKind.MISSING, detail="gone")
    before = walk("c1", NOON, parts=(stays, gone), statuses=both, defects=(defect,))
    after = walk("c1", NOON + 900)
    with await keep(tmp_path, before, assessed("c1", rolled=rolled, lamps=lamps), after) as reader:
        assert reader.parts() == [stays]
        assert list(reader.statuses()) == list(reader.rolled()) == list(reader.lamps()) == [stays.id]
        assert reader.defects() == []


async def test_defects_of_rounds_add_to_those_of_the_walk_once(tmp_path: Path) -> None:
    first = Defect(controller="c1", resource="/x", property="", kind=DefectKind.MISSING, detail="first")
    again = Defect(controller="c1", resource="/x", property="", kind=DefectKind.MISSING, detail="again")
    other = Defect(controller="c1", resource="/y", property="/a", kind=DefectKind.WRONG_TYPE, detail="other")
    rounds = done("c1", NOON + 30, 1.0, defects=(again,)), done("c1", NOON + 60, 1.0, defects=(other,))
    with await keep(tmp_path, walk("c1", NOON, defects=(first,)), *rounds) as reader:
        assert reader.defects("c1") == [again, other]


async def test_conditions_come_worst_first_then_longest_open(tmp_path: Path) -> None:
    wanted = [
        condition("c2", "a", NOON + 9, severity=Health.CRITICAL),
        condition("c1", "b", NOON + 1),
        condition("c1", "c", NOON + 5),
    ]
    closed = condition("c1", "d", NOON, closed=NOON + 20)
    updates = (
        assessed("c1", opened=(wanted[2], wanted[1], condition("c1", "d", NOON))),
        assessed("c1", closed=(closed,)),
    )
    with await keep(tmp_path, *updates, assessed("c2", opened=(wanted[0],)), names=("c1", "c2")) as reader:
        assert reader.conditions() == wanted
        assert reader.conditions(limit=1) == wanted[:1]
        assert reader.conditions(controller="c1") == wanted[1:]
        assert reader.conditions(open_only=False, controller="c1") == [closed, *wanted[1:]]
        assert len(reader.conditions(open_only=False)) == 4


async def test_a_condition_opened_anew_ends_an_opening_that_nobody_closed(tmp_path: Path) -> None:
    old, new = condition("c1", "a", NOON), condition("c1", "a", NOON + 500)
    with await keep(tmp_path, assessed("c1", opened=(old,)), assessed("c1", opened=(new,))) as reader:
        assert reader.conditions() == [new]
        ended = reader.conditions(open_only=False)[0]
    assert (ended.opened, ended.closed) == (NOON, NOON + 500)


async def test_conditions_change_and_about_the_controller_itself(tmp_path: Path) -> None:
    opened = condition("c1", "u", part=None, sensor=None, subject=Subject.CONTROLLER)
    worse = condition("c1", "u", part=None, sensor=None, subject=Subject.CONTROLLER, severity=Health.CRITICAL)
    with await keep(tmp_path, assessed("c1", opened=(opened,)), assessed("c1", changed=(worse,))) as reader:
        assert reader.conditions() == [worse]


async def test_events_come_newest_first_and_limited(tmp_path: Path) -> None:
    told = [event("c1", NOON + step // 2, str(step)) for step in range(6)]
    other = event("c2", NOON + 50)
    updates = assessed("c1", events=tuple(told)), assessed("c2", events=(other,))
    with await keep(tmp_path, *updates, names=("c1", "c2")) as reader:
        assert reader.events() == [other, *reversed(told)]
        assert reader.events("c1") == list(reversed(told))
        assert reader.events("c1", since=NOON + 1, limit=3) == [told[5], told[4], told[3]]


async def test_controllers_that_leave_the_fleet_file_are_retired(tmp_path: Path) -> None:
    first = walk("c1", NOON), walk("c2", NOON), assessed("c2", opened=(condition("c2"),), events=(event("c2", NOON),))
    (await keep(tmp_path, *first, names=("c1", "c2"))).close()
    with await keep(tmp_path, names=("c1",)) as reader:
        assert [state.controller for state in reader.controllers()] == ["c1"]
        assert {each.controller for each in reader.parts()} == {"c1"}
        assert reader.parts("c2") == reader.readings("c2") == reader.conditions() == []
        assert len(reader.events("c2")) == 1
        history = reader.history("c2", part("c2").id, "inlet", NOON, NOON + 1)
        assert list(history.times) == [NOON]
    with await keep(tmp_path, names=("c1", "c2")) as reader:
        assert reader.open_conditions_of("c2") == [condition("c2")]


async def test_a_controller_without_sensors_has_no_readings(tmp_path: Path) -> None:
    empty = inventory("c1", NOON + 60, layout=Layout("c1", ()), frame=frame(NOON + 60))
    with await keep(tmp_path, walk("c1", NOON), Update(controller="c1", inventory=empty)) as reader:
        assert reader.sensors("c1") == reader.readings("c1") == []


async def test_sensors_can_be_asked_for_by_part(tmp_path: Path) -> None:
    sensors = sensor("c1", "a", "Sled"), sensor("c1", "b", "Blade"), sensor("c1", "c", "Sled")
    with await keep(tmp_path, walk("c1", NOON, *sensors)) as reader:
        assert reader.sensors("c1", sensors[1].part) == [sensors[1]]
        assert reader.sensors(part=sensors[0].part) == [sensors[0], sensors[2]]
        assert reader.sensors("c1", "c1:nowhere") == reader.sensors("nobody") == []


async def test_how_far_events_are_read_is_kept_with_them(tmp_path: Path) -> None:
    """One controller's newest word counts; a walk changes nothing about it."""
    told = [Update(controller=name, heard=word) for name, word in (("c1", b"a"), ("c2", b"b"), ("c1", b"\x00c"))]
    with await keep(tmp_path, *told, walk("c1", NOON), names=("c1", "c2")) as reader:
        assert reader.heard() == {"c1": b"\x00c", "c2": b"b"}


async def test_how_the_contact_stands_until_the_collector_takes_leave(tmp_path: Path) -> None:
    told = Contact(
        login=Login.SESSION,
        session_since=NOON,
        fingerprint="sha256:ab",
        expires=NOON + 9,
        clock_offset=-0.5,
        events=EventsBy.PUSH,
        events_since=NOON + 1,
        subscription="/redfish/v1/EventService/Subscriptions/1",
    )
    async with writer(tmp_path, "c1", "c2") as opened:
        await opened.put(Update(controller="c1", contact=told))
        await opened.put(done("c1", NOON + 30))
        await opened.flush()
        known = {state.controller: state.contact for state in Reader(tmp_path).controllers()}
        assert known == {"c1": told, "c2": None}, "a round without news of it leaves it as it is"
        await opened.put(Update(controller="c1", contact=Contact(login=Login.BASIC, session_table_full=True)))
        await opened.flush()
        newest = Reader(tmp_path).controllers()[0].contact
        assert newest is not None
        assert newest.session_table_full
        assert newest.session_since is None
        await opened.put(Update(controller="c1", contact=told))
    left = Reader(tmp_path).controllers()[0].contact
    assert left == told.left()
    assert left.fingerprint == "sha256:ab"


async def test_settings_are_those_of_the_newest_walk(tmp_path: Path) -> None:
    def limit(watts: float) -> Setting:
        return Setting(
            controller="c1",
            part=part("c1").id,
            kind=SettingKind.POWER_LIMIT,
            name=HOSTILE["markup"],
            quantity=Quantity.POWER,
            unit="W",
            value=watts,
            highest=900.0,
            mode="Automatic",
            source="/redfish/v1/Chassis/Sled/Controls/Limit",
            also_at=("/redfish/v1/Chassis/Sled/EnvironmentMetrics#/PowerLimitWatts/SetPoint",),
        )

    first, second = (limit(400.0), structs.replace(limit(5.0), name="other")), (limit(450.0),)
    reader = await keep(tmp_path, walk("c1", NOON, settings=first))
    assert tuple(reader.settings()) == first
    reader = await keep(tmp_path, walk("c1", NOON + 60, settings=second), done("c1", NOON + 90, 1.0))
    assert tuple(reader.settings("c1")) == second
    assert reader.settings("c2") == []


async def test_what_was_learnt_is_kept_by_controller_and_no_more_than_fits(tmp_path: Path) -> None:
    words = (("c1", b"a"), ("c2", b"b"), ("c1", b"\x00c"), ("c2", bytes(MOST_LEARNT + 1)))
    told = [Update(controller=name, learnt=word) for name, word in words]
    assert merged(told[0], told[2]).learnt == b"\x00c"
    assert merged(told[0], Update(controller="c1")).learnt == b"a"
    with await keep(tmp_path, *told, walk("c1", NOON), names=("c1", "c2")) as reader:
        assert reader.learnt() == {"c1": b"\x00c", "c2": b"b"}
    with closing(sqlite3.connect(tmp_path / DATABASE)) as spoilt, spoilt:
        spoilt.execute("UPDATE learnt SET record = 'text'")
    with Reader(tmp_path) as reader:
        assert reader.learnt() == {"c1": b"", "c2": b""}, "whoever takes it up says that it is no memory"
