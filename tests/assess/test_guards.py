"""Each guard against bad input by itself: without it, the test named after what it guards against fails.

Clocks first: ours may be set by hours, back or forth, and nothing may be held, hidden or accused until it catches up.
"""

from __future__ import annotations

import math
from array import array

import pytest
from msgspec import structs

from collector.assess.isolate.hearing import Hearing, Onset
from collector.assess.isolate.sheet import Sheet
from collector.assess.isolate.words import Where
from collector.assess.looks.air import AirLook
from collector.assess.looks.busbar import Bars
from collector.assess.looks.clocks import KEPT, Clocks
from collector.assess.looks.contact import ContactLook
from collector.assess.looks.impossible import nonsense
from collector.assess.looks.peers import STALE_AFTER, Peers
from collector.assess.looks.power import PowerLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.told import Told
from collector.assess.looks.unsteady import UnsteadyLook
from collector.assess.looks.usual import FIRST, Usual
from collector.assess.looks.wear import WearLook
from collector.assess.margins.tracker import Margins
from collector.assess.margins.wiring import lineage
from collector.assess.place_merge import Merged
from collector.assess.tree import Tree
from collector.model import (
    Identity,
    Kind,
    Link,
    Outcome,
    Part,
    PowerState,
    Quantity,
    Sensor,
    Sign,
    Thresholds,
    Why,
)
from tests.assess.fleet import FINE, NAME, RUNNING, inventory, part, pid
from tests.assess.isolate.kit import Bench, one_sled, sign, sled
from tests.assess.isolate.kit import pid as sled_pid
from tests.assess.looks.seeing import blades, loads, seen, signs
from tests.assess.margins.rig import Rig
from tests.assess.test_bad_input import ILL, Wards, well

DAY, HOUR = 86_400.0, 3600.0
LATE = 1_000_000.0


# Our clock set back or forth: isolation


def test_what_began_in_a_future_that_never_was_has_had_its_time_to_show() -> None:
    hearing = Hearing()
    for now in (LATE - 30.0, LATE):
        hearing.round("s1", now)
    hearing.now = 100.0
    assert hearing.ripe(("s1", "x", Sign.HOT), Onset(shown=LATE + 10.0, began=LATE)) == 1.0
    assert hearing.against(("s1", "x", Sign.HOT), 0.9, Onset(LATE, LATE)) <= 0.0, "nothing missing speaks for a fault"


def test_a_clock_that_jumps_is_no_pace_of_rounds() -> None:
    hearing = Hearing()
    for now in (0.0, 30.0, 60.0, -10_000.0, -9970.0, 5 * DAY):
        hearing.round("s1", now)
    assert hearing.controller("s1").pace == pytest.approx(30.0)


def test_a_trouble_that_must_stand_for_a_while_does_not_wait_for_the_clock_to_catch_up() -> None:
    inventory_, bench = sled(), Bench(sled())
    bench.now = LATE
    slow = structs.replace(sign(inventory_, "Dimm1-0", Sign.CORRECTABLE, 0.9, LATE), condition=None)
    bench.see("s1", slow)
    assert bench.solve() == ()
    bench.solve(-DAY)
    for _ in range(10):
        bench.solve(30.0)
    assert len(bench.open) == 1


def test_no_trouble_ends_before_it_began() -> None:
    bench, _ = one_sled(("Fan1", Sign.STANDS))
    bench.now = LATE
    bench.see("s1")
    bench.now = -LATE
    for _ in range(20):
        bench.solve(30.0)
    (trouble,) = bench.told.values()
    assert trouble.closed is not None
    assert trouble.closed >= trouble.opened


def test_hands_that_were_at_work_withhold_evidence_for_minutes_only(monkeypatch: pytest.MonkeyPatch) -> None:
    wards, walked = Wards(), well(sled("a"))
    wards.walk(walked, LATE)
    ward, fan = wards.wards["a"], sled_pid("a", "Fan1")
    monkeypatch.setattr(ward.watch, "maintained", lambda now: frozenset({fan}))
    wards.round("a", LATE + 60.0, walked.frame)
    monkeypatch.setattr(ward.watch, "maintained", lambda now: frozenset())
    for turn in range(12):
        wards.round("a", 60.0 * turn, walked.frame, {fan: ILL} if turn == 1 else None)
    assert [each.suspects[0].part for each in wards.troubles.values()] == [fan]


# Our clock: contact, comings and goings, wear


def test_a_restart_is_not_shown_until_the_clock_catches_up() -> None:
    look = contact()
    look.round(seen(LATE, [], statuses={"bmc": structs.replace(FINE, last_reset=LATE - DAY)}))
    look.round(seen(LATE + 60, [], statuses={"bmc": structs.replace(FINE, last_reset=LATE + 10)}))
    assert signs(look) == {("bmc", Sign.RESTARTED)}
    look.round(seen(LATE - DAY, [], statuses={"bmc": structs.replace(FINE, last_reset=LATE + 10)}))
    assert not look.present


def test_losses_hours_apart_are_not_made_neighbours_by_a_clock_set_back() -> None:
    look = contact()
    for now in (10_000.0, 20_000.0, 5000.0):
        look.round(seen(now, outcome=Outcome.UNREACHABLE))
        look.round(seen(now + 1000.0, []))
    assert ("bmc", Sign.UNSTEADY) not in signs(look)


def test_a_controller_s_clock_that_is_set_moves_its_told_reset_along_and_restarts_nothing() -> None:
    look = contact()
    look.round(seen(LATE, [], clock=0.0, statuses={"bmc": structs.replace(FINE, last_reset=LATE - DAY)}))
    look.round(seen(LATE + 60, [], clock=DAY, statuses={"bmc": structs.replace(FINE, last_reset=LATE)}))
    assert Sign.RESTARTED not in {sign_ for _, sign_ in signs(look)}
    look.round(seen(LATE + 120, [], clock=DAY, statuses={"bmc": structs.replace(FINE, last_reset=LATE)}))
    assert Sign.RESTARTED not in {sign_ for _, sign_ in signs(look)}


def contact(clocks: Clocks | None = None) -> ContactLook:
    look = ContactLook(NAME, clocks)
    look.inventory(inventory(), 0.0)
    return look


@pytest.mark.parametrize("offset", [-7200.0, 7200.0, 1e9])
def test_where_most_clocks_are_off_alike_it_is_ours(offset: float) -> None:
    clocks = Clocks()
    look = contact(clocks)
    for turn in range(1, 6):
        for number, off in enumerate((offset, offset + 3.0, offset - 5.0)):
            clocks.tell(f"c{number}", 60.0 * turn, off)
        look.round(seen(60.0 * turn, [], clock=offset + 1.0))
        assert look.present == {}, "the first to be read says nothing before the others had their turn"
    assert "check ours" in look.weak[0]
    for turn in range(6, 9):
        look.round(seen(60.0 * turn, [], clock=0.0))
    assert signs(look) == {("bmc", Sign.CLOCK_OFF)}, "the one that differs from all others is the odd one"


def test_clocks_that_agree_on_nothing_accuse_nobody_but_themselves() -> None:
    clocks = Clocks()
    for number, off in enumerate((0.0, 0.0, 500.0, -900.0)):
        clocks.tell(f"c{number}", 0.0, off)
    assert clocks.common(10.0) == 0.0
    for number, off in enumerate((700.0, 100.0, 300.0, 900.0)):
        clocks.tell(f"c{number}", 20.0, off)
    assert clocks.common(30.0) == 0.0
    for number in range(4):
        clocks.tell(f"c{number}", 40.0, 5000.0)
    assert clocks.common(50.0) == 5000.0
    assert clocks.common(-DAY) == clocks.common(DAY) == 0.0, "told at another time, by our clock"
    for number in range(5 * KEPT):
        clocks.tell(f"d{number}", 60.0, 0.0)
    assert len(clocks._told) == KEPT


def unsteady() -> UnsteadyLook:
    look = UnsteadyLook(NAME)
    look.inventory(inventory(parts=(*PORTED, part("port", Kind.PORT, "sled"))), 0.0)
    return look


PORTED = (part("sled", Kind.SLED), part("bmc", Kind.CONTROLLER, "sled"), part("host1", Kind.HOST, "sled"))


def flap(look: UnsteadyLook, start: float, times: int) -> None:
    for turn in range(times):
        look.round(seen(start + 60.0 * turn, [], statuses={"port": structs.replace(FINE, link=turn % 2 == 0)}))


def test_what_flapped_in_a_future_that_never_was_is_calm() -> None:
    look = unsteady()
    flap(look, LATE, 8)
    assert ("port", Sign.UNSTEADY) in signs(look)
    last = {"port": structs.replace(FINE, link=False)}
    for turn in range(3):
        look.round(seen(60.0 * turn, [], statuses=last))
    assert look.present == {}


def test_a_host_switched_in_a_future_that_never_was_excuses_no_link() -> None:
    look = unsteady()
    for on in (PowerState.ON, PowerState.OFF, PowerState.ON):
        look.round(seen(LATE, [], statuses={"host1": structs.replace(RUNNING, power=on)}))
    flap(look, 0.0, 8)
    assert ("port", Sign.UNSTEADY) in signs(look)


def counters(name: str, quantity: Quantity) -> WearLook:
    look = WearLook(NAME)
    told = Sensor(
        sensor=name, controller=NAME, part=pid("drive"), kind=Kind.DRIVE, quantity=quantity, unit="1", source="/x"
    )
    parts = (part("sled", Kind.SLED), part("drive", Kind.DRIVE, "sled"))
    look.inventory(inventory(parts=parts, links=(), sensors=(told,)), 0.0)
    return look


def test_life_lost_over_months_is_not_a_day_s_because_the_clock_was_set_back() -> None:
    look = counters("predicted media life left", Quantity.PERCENT)
    look.round(seen(LATE, [90.0]))
    look.round(seen(LATE - 5 * DAY, [80.0]))
    assert look.present == {}


def test_errors_of_a_future_that_never_was_are_let_go() -> None:
    look = counters("uncorrectable errors", Quantity.COUNT)
    look.round(seen(LATE, [1.0]))
    look.round(seen(LATE + 60.0, [2.0]))
    assert ("drive", Sign.UNCORRECTABLE) in signs(look)
    look.round(seen(LATE - DAY, [2.0]))
    assert look.present == {}


# Our clock: what is learnt


def test_a_clock_that_jumps_moves_nothing_usual() -> None:
    usual = Usual(pace=0.01, reach=0.5)
    for turn in range(FIRST):
        usual.learn(60.0 * turn, 10.0)
    usual.learn(-10.0 * DAY, 10.0)
    assert usual.value == 10.0
    usual.learn(20.0 * DAY, 20.0)
    assert usual.value <= 10.0 * 1.0101, "at most an hour's worth"


def test_an_inlet_is_followed_as_before_after_the_clock_was_set_back() -> None:
    rig, look = Rig(), AirLook("s1")
    look.inventory(rig.inventory(), rig.time)
    rig.run(look, 60.0)
    rig.time -= 10.0 * HOUR
    rig.run(look, 3.0)
    rig.room += 6.0
    shown = rig.run(look, 5.0)
    assert {sign_ for _, sign_, _ in shown} == {Sign.WARM_AIR}


@pytest.mark.parametrize("jump", [-10.0 * HOUR, 10.0 * HOUR])
def test_heat_is_learnt_on_after_the_clock_jumped(jump: float) -> None:
    rig, look = Rig(), AirLook("s1")
    look.inventory(rig.inventory(), rig.time)
    rig.run(look, 180.0)
    rig.time += jump
    assert rig.run(look, 30.0) == {}
    rig.opened[2] = 0.4
    assert ("s1:/Blade2", Sign.SHORT_OF_AIR, None) in rig.run(look, 30.0)


def test_a_sensor_is_judged_on_after_the_clock_was_set_back_while_a_part_was_warming() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(200):
        look.round(seen(LATE + 60.0 * turn, loads(turn, 4)))
    off = frozenset({pid("blade3")})
    look.round(seen(LATE + 60.0 * 200, loads(200, 4), idle=off))
    look.round(seen(LATE + 60.0 * 201, loads(201, 4)))
    held = loads(199, 4)[5 * 3 + 2]
    for turn in range(202, 260):
        values = loads(turn, 4)
        values[5 * 3 + 2] = held
        look.round(seen(60.0 * turn, values))
    assert ("blade3", Sign.READING_STUCK) in signs(look)


def test_rounds_hours_apart_make_no_sensor_noisy() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(150):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    for turn in range(150, 190):
        values = loads(turn, 4)
        values[2] += 8.0 * (turn % 2)
        look.round(seen(7200.0 * turn, values))
    assert ("blade0", Sign.READING_NOISY) not in signs(look)


def test_what_others_told_at_another_time_is_not_news() -> None:
    bars, peers = Bars(), Peers()
    bars.tell_shelf("r", "ps", LATE, 54.0)
    for number in range(STALE_AFTER):
        peers.tell(("role",), f"m{number}", 1.0, LATE)
    assert bars.shelf("r", LATE + 1.0) == 54.0
    assert bars.shelf("r", 0.0) is None
    assert peers.ask(("role",), 0.0).members == 0


def test_margins_are_told_on_after_the_clock_was_set_back() -> None:
    rig, margins = Rig(), Margins("s1")
    margins.inventory(rig.inventory(), rig.time)
    first = structs.replace(seen(LATE), frame=rig.frame())
    assert margins.round(first)
    rig.room += 10.0
    assert margins.round(structs.replace(first, time=0.0, frame=rig.frame()))


# Missing links and circles


def test_links_to_and_from_nothing_depend_on_nobody() -> None:
    parts = (part("sled", Kind.SLED), part("fan", Kind.FAN, "sled"), part("blade1", Kind.BLADE, "sled"))
    gone = pid("gone")
    links = [Link(gone, pid("fan"), Why.COOLED_BY), Link(pid("fan"), gone, Why.POWERED_BY)]
    tree = Tree(parts, [*links, Link(pid("fan"), pid("fan"), Why.COOLED_BY)])
    assert [tree.affected_by(at) for at in range(3)] == [(), (), ()]
    assert tree.needs(1, Why.POWERED_BY) == ()
    sheet = Sheet(structs.replace(inventory(parts=parts), links=tuple(links)))
    assert sheet.near(pid("fan"), Where.FED) == sheet.near(gone, Where.FED) == []


def test_lineage_of_parts_inside_themselves_ends() -> None:
    parts = {each: part(each, Kind.OTHER, other) for each, other in (("a", "b"), ("b", "a"))}
    by_id = {each.id: each for each in parts.values()}
    assert [each.name for each in lineage(parts["a"], by_id)] == ["b", "a"]


def told_by(controller: str, name: str, kind: Kind, serial: str, parent: str | None = None, number: str = "") -> Part:
    return Part(
        id=f"{controller}:/{name}",
        controller=controller,
        uri=f"/{name}",
        kind=kind,
        name=name,
        parent=None if parent is None else f"{controller}:/{parent}",
        identity=Identity(serial=serial, part_number=number or None),
    )


def test_two_controllers_that_put_each_other_s_container_inside_make_no_circle() -> None:
    merged = Merged(
        [
            told_by("a", "Box", Kind.ENCLOSURE, "SN-100001"),
            told_by("a", "Sled", Kind.SLED, "SN-200002", "Box"),
            told_by("b", "Sled", Kind.SLED, "SN-200002"),
            told_by("b", "Box", Kind.ENCLOSURE, "SN-100001", "Sled"),
        ]
    )
    assert len(merged.nodes) == 2
    for group in merged.nodes:
        seen_, step = set(), group
        while step in merged.parents:
            assert step not in seen_
            seen_.add(step)
            step = merged.parents[step]


def test_one_serial_number_on_two_part_numbers_is_two_parts() -> None:
    supplies = [told_by(name, "Psu", Kind.POWER_SUPPLY, "SN-100001", number=f"PN-{name}") for name in ("a", "b")]
    assert len(Merged(supplies).nodes) == 2
    alike = [structs.replace(each, identity=supplies[0].identity) for each in supplies]
    assert len(Merged(alike).nodes) == 1


# Absent thresholds, negative and absurd readings


def test_what_has_no_threshold_is_not_called_well() -> None:
    """That nothing is beyond a threshold is evidence only where there is one."""
    limited = sled()
    bare = structs.replace(
        limited,
        layout=structs.replace(
            limited.layout,
            sensors=tuple(structs.replace(each, thresholds=Thresholds()) for each in limited.layout.sensors),
        ),
    )
    seen_ = []
    for walked in (limited, bare):
        told = Told("s1")
        told.inventory(walked, 0.0)
        seen_.append(told.visible)
    cpu, fan = sled_pid("s1", "Cpu1"), sled_pid("s1", "Fan1")
    assert Sign.HOT in seen_[0][cpu]
    assert Sign.STANDS in seen_[0][fan]
    assert seen_[1][cpu] == seen_[1][fan] == {Sign.READING_GONE}


def test_coolant_without_a_threshold_is_judged_by_its_usual() -> None:
    look, flow = PowerLook(NAME), Quantity.LIQUID_FLOW
    told = Sensor(
        sensor="flow", controller=NAME, part=pid("sled"), kind=Kind.SLED, quantity=flow, unit="L/min", source="/f"
    )
    look.inventory(inventory(parts=(part("sled", Kind.SLED),), links=(), sensors=(told,)), 0.0)
    for turn in range(20):
        look.round(seen(60.0 * turn, [40.0]))
    assert look.present == {}
    for turn in range(20, 24):
        look.round(seen(60.0 * turn, [20.0]))
    assert signs(look) == {("sled", Sign.LITTLE_FLOW)}


VOLTS, WATTS = 5 * 2 + 4, 5 * 2 + 2


@pytest.mark.parametrize("bad", [-300.0, 5e7, math.inf])
def test_a_meter_that_tells_what_can_not_be_adds_to_no_sum(bad: float) -> None:
    rig, look = Rig(), PowerLook("s1")
    look.inventory(rig.inventory(), rig.time)
    rig.run(look, 60.0)
    assert rig.run(look, 10.0, changes={WATTS: bad}) == {}


def test_a_negative_voltage_is_no_lost_feed() -> None:
    rig, look = Rig(), PowerLook("s1")
    look.inventory(rig.inventory(), rig.time)
    rig.run(look, 60.0)
    assert rig.run(look, 10.0, changes={VOLTS: -12.0}) == {}


@pytest.mark.parametrize(
    ("quantity", "value", "can"),
    [
        (Quantity.TEMPERATURE, 95.0, True),
        (Quantity.TEMPERATURE, -273.2, False),
        (Quantity.TEMPERATURE, 500.0, False),
        (Quantity.TEMPERATURE, math.inf, False),
        (Quantity.POWER, 0.0, True),
        (Quantity.POWER, -1.0, False),
        (Quantity.POWER, 2e6, False),
        (Quantity.ROTATION, 20_000.0, True),
        (Quantity.ROTATION, -20.0, False),
        (Quantity.VOLTAGE, -12.0, True),
        (Quantity.CURRENT, -3.0, True),
        (Quantity.CURRENT, 1e300, False),
        (Quantity.COUNT, 1e15, True),
        (Quantity.ENERGY, 1e13, True),
    ],
)
def test_what_can_be_and_what_can_not(quantity: Quantity, value: float, can: bool) -> None:
    assert (nonsense(quantity, value) is None) is can


def test_a_reading_beyond_its_threshold_that_can_not_be_accuses_its_sensor() -> None:
    wards, walked = Wards(), well(sled("a"))
    wards.walk(walked, 0.0)
    at = next(at for at, each in enumerate(walked.layout.sensors) if each.part == sled_pid("a", "Cpu1"))
    for turn in range(1, 12):
        values = array("d", walked.frame.values)
        values[at] = 4000.0
        wards.round("a", 60.0 * turn, structs.replace(walked.frame, values=values))
    (trouble,) = wards.troubles.values()
    assert (trouble.suspects[0].part, trouble.suspects[0].fault) == (
        sled_pid("a", "Cpu1"),
        "its sensor tells the impossible",
    )
