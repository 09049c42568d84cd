"""Faults named from signs, kept over time, told once; what a hardware engineer expects of each. Common practice."""

from __future__ import annotations

import pytest
from msgspec import structs

from collector.assess.isolate import Isolation
from collector.assess.isolate.isolation import OFF_DELAY, SETTLE, UNSURE_SETTLE
from collector.model import Health, Observation, Sign
from tests.assess.isolate.kit import Bench, one_sled, pid, sign, sled

S = "s1"


@pytest.mark.parametrize(
    ("seen", "part", "fault"),
    [
        ([("Fan2", Sign.STANDS), ("Fan2", Sign.FAULTY)], pid(S, "Fan2"), "seized"),
        ([("Fan2", Sign.TURNS_SLOWLY)], pid(S, "Fan2"), "slowing, its bearings worn"),
        ([("Cpu3", Sign.HOT)], pid(S, "Cpu3"), "its heat sink is loose"),
        ([("Dimm1-0", Sign.CORRECTABLE)], pid(S, "Dimm1-0"), "correcting many errors"),
        ([("Dimm1-0", Sign.UNCORRECTABLE), ("Dimm1-0", Sign.FAULTY)], pid(S, "Dimm1-0"), "errors it can't correct"),
        ([("Drive2-1", Sign.PREDICTED)], pid(S, "Drive2-1"), "expected to fail"),
        ([("Psu1", Sign.FAULTY), ("Psu1", Sign.NO_POWER)], pid(S, "Psu1"), "dead"),
        ([("Bmc", Sign.SILENT)], pid(S, "Bmc"), "hung"),
        ([("Bmc", Sign.SLOW)], pid(S, "Bmc"), "slow"),
        ([("Bmc", Sign.CLOCK_OFF)], pid(S, "Bmc"), "its clock is wrong"),
        (
            [("Blade2", Sign.NO_POWER), ("Host2", Sign.OFF)],
            pid(S, "Blade2"),
            "its 12 V is lost",
        ),
        (
            [(f"Blade{at}", Sign.NO_POWER) for at in (1, 2, 3, 4)] + [(f"Host{at}", Sign.OFF) for at in (1, 2, 3, 4)],
            pid(S, "Sled"),
            "its power board has failed",
        ),
        ([("Net/Port1", Sign.LINK_DOWN), ("Net/Port2", Sign.LINK_DOWN), ("Net", Sign.FAULTY)], pid(S, "Net"), "dead"),
        ([("Net/Port1", Sign.UNSTEADY)], "~" + pid(S, "Net/Port1") + "/cable", "half-seated"),
        ([("Drive1-0", Sign.UNSTEADY)], "~" + pid(S, "Drive1-0") + "/cable", "half-seated"),
        ([("Sled", Sign.WORKS_HARD), ("Sled", Sign.SHORT_OF_AIR)], "~" + pid(S, "Sled") + "/filter", "clogging"),
        ([("Blade1", Sign.READING_STUCK)], pid(S, "Blade1"), "its sensor is stuck"),
        ([("Blade1", Sign.WRONG_PART)], pid(S, "Blade1"), "is another part than planned"),
        ([("Blade1", Sign.OLD_FIRMWARE)], pid(S, "Blade1"), "has old firmware"),
        ([("Blade1", Sign.LAMP_WRONG)], pid(S, "Blade1"), "its lamp is wrong"),
    ],
)
def test_one_fault_is_named(seen: list[tuple[str, Sign]], part: str, fault: str) -> None:
    bench, _ = one_sled(*seen)
    assert bench.firsts() == [(part, fault)]
    (trouble,) = bench.open
    assert trouble.group[0] == part
    assert trouble.suspects[0].probability > 0.5
    assert trouble.suspects[0].speaks_for


def test_four_blades_dark_are_not_four_broken_blades() -> None:
    bench, _ = one_sled(*((f"Blade{at}", Sign.NO_POWER) for at in (1, 2, 3, 4)))
    assert len(bench.open) == 1
    assert bench.open[0].suspects[0].part == pid(S, "Sled")


def test_a_healthy_fleet_has_no_trouble() -> None:
    bench, _ = one_sled()
    assert bench.told == {}


def test_a_doubtful_sign_alone_is_not_told() -> None:
    inventory = sled()
    bench = Bench(inventory)
    bench.see(S, sign(inventory, "Cpu1", Sign.HOT, weight=0.4))
    bench.settle()
    assert bench.told == {}


def test_a_host_that_is_switched_off_is_no_trouble() -> None:
    bench, _ = one_sled(("Host1", Sign.OFF))
    assert bench.told == {}


def test_two_faults_in_one_sled_are_both_named() -> None:
    bench, _ = one_sled(("Fan1", Sign.STANDS), ("Fan1", Sign.FAULTY), ("Dimm2-1", Sign.CORRECTABLE))
    named = {trouble.suspects[0].part for trouble in bench.open} | {p for t in bench.open for p in t.also}
    assert named == {pid(S, "Fan1"), pid(S, "Dimm2-1")}


def test_two_faults_behind_one_sign_stand_beside_each_other() -> None:
    """Both fans stand and the sled is short of air: the second fan is in ``also``, or a trouble of its own."""
    bench, _ = one_sled(("Fan1", Sign.STANDS), ("Fan3", Sign.STANDS), ("Sled", Sign.WORKS_HARD))
    named = {trouble.suspects[0].part for trouble in bench.open} | {p for t in bench.open for p in t.also}
    assert named == {pid(S, "Fan1"), pid(S, "Fan3")}


def test_many_faults_in_one_sled_are_all_named() -> None:
    bench, _ = one_sled(*((f"Fan{at}", Sign.STANDS) for at in (1, 2, 3)), ("Sled", Sign.WORKS_HARD))
    named = {trouble.suspects[0].part for trouble in bench.open} | {p for t in bench.open for p in t.also}
    assert named == {pid(S, f"Fan{at}") for at in (1, 2, 3)}


def test_what_can_not_be_told_apart_is_said_with_what_would_split_it() -> None:
    bench, _ = one_sled(("Bmc", Sign.CUT_OFF))
    (trouble,) = bench.open
    assert len(trouble.group) > 1
    assert trouble.next_look


def test_a_whole_rack_cut_off_is_its_management_switch() -> None:
    sleds = [sled(f"s{at}") for at in range(1, 6)]
    bench = Bench(*sleds)
    for each in sleds:
        bench.see(each.controller, sign(each, "Bmc", Sign.CUT_OFF), readable=False)
    bench.settle()
    assert [trouble.suspects[0].fault for trouble in bench.open] == ["gone"]
    (trouble,) = bench.open
    assert trouble.suspects[0].part == "~Quellmark/A/R1/management switch"
    assert not any(suspect.part.endswith("/Bmc") for suspect in trouble.suspects if suspect.part in trouble.group)
    assert trouble.controllers == tuple(each.controller for each in sleds)


def test_ports_of_many_sleds_without_link_are_their_switch() -> None:
    sleds = [sled(f"s{at}", rack=f"R{at}", switch="02:00:00:00:00:01") for at in range(1, 4)]
    bench = Bench(*sleds)
    for each in sleds:
        bench.see(each.controller, *(sign(each, f"Net/Port{at}", Sign.LINK_DOWN) for at in (1, 2)))
    bench.settle()
    assert bench.firsts() == [("~02:00:00:00:00:01", "gone")]


def test_one_port_without_link_leaves_the_switch_in_peace() -> None:
    sleds = [sled(f"s{at}", switch="02:00:00:00:00:01") for at in range(1, 4)]
    bench = Bench(*sleds)
    bench.see("s1", sign(sleds[0], "Net/Port1", Sign.LINK_DOWN))
    bench.settle()
    (trouble,) = bench.open
    assert trouble.suspects[0].part == "~02:00:00:00:00:01/s1-1"
    assert "~02:00:00:00:00:01" not in {suspect.part for suspect in trouble.suspects}


def test_warm_air_everywhere_is_the_room_and_warm_air_at_one_sled_is_not() -> None:
    sleds = [sled(f"s{at}") for at in range(1, 9)]
    bench = Bench(*sleds)
    for each in sleds:
        bench.see(each.controller, sign(each, "Sled", Sign.WARM_AIR))
    bench.settle()
    assert bench.told == {}
    for each in sleds[1:]:
        bench.see(each.controller)
    bench.settle()
    assert bench.firsts()[0][0] == "~" + pid("s1", "Sled") + "/panel"


def test_doubtful_sensors_alone_are_no_lost_power() -> None:
    inventory = sled()
    bench = Bench(inventory)
    bench.see("s1", *(sign(inventory, f"Psu{at}", Sign.READING_DRIFTS, weight=0.55) for at in (1, 2)))
    bench.settle()
    assert bench.told == {}


def test_many_doubtful_signs_of_one_sort_are_no_surer_than_one() -> None:
    inventory = sled()
    bench = Bench(inventory)
    bench.see("s1", *(sign(inventory, f"Cpu{at}", Sign.HOT, weight=0.7) for at in (1, 2, 3)))
    bench.settle()
    assert bench.told == {}


def test_a_power_board_that_loses_power_heats_its_supplies() -> None:
    supplies = [(f"Psu{at}", shown) for at in (1, 2) for shown in (Sign.HOT, Sign.FAULTY)]
    blades = [(f"Blade{at}", Sign.LOW_VOLTAGE) for at in (1, 2, 3, 4)]
    bench, _ = one_sled(*supplies, *blades, ("Sled", Sign.UNBALANCED))
    assert bench.firsts() == [(pid(S, "Sled"), "its power board loses power")]


def test_all_that_dark_blades_show_is_their_board_s() -> None:
    dark = [(f"Blade{at}", shown) for at in (1, 2, 3, 4) for shown in (Sign.NO_POWER, Sign.OFF, Sign.FAULTY)]
    hosts = [(f"Host{at}", shown) for at in (1, 2, 3, 4) for shown in (Sign.OFF, Sign.FAULTY)]
    bench, _ = one_sled(*dark, *hosts)
    assert bench.firsts() == [(pid(S, "Sled"), "its power board has failed")]


def test_one_dark_blade_is_that_blade() -> None:
    shown = [("Blade2", Sign.NO_POWER), ("Blade2", Sign.OFF), ("Blade2", Sign.FAULTY)]
    bench, _ = one_sled(*shown, ("Host2", Sign.OFF), ("Host2", Sign.FAULTY))
    assert bench.firsts() == [(pid(S, "Blade2"), "its 12 V is lost")]


def test_a_voltage_that_sags_is_no_drifting_sensor() -> None:
    bench, _ = one_sled(("Sled", Sign.LOW_VOLTAGE), ("Sled", Sign.READING_DRIFTS))
    (trouble,) = bench.open
    assert trouble.suspects[0].part == "~" + pid(S, "Sled") + "/feed"


# Over time


def test_a_hard_fault_is_told_in_the_round_that_shows_it() -> None:
    inventory = sled()
    bench = Bench(inventory)
    bench.see(S, sign(inventory, "Fan1", Sign.STANDS), sign(inventory, "Fan1", Sign.FAULTY))
    (trouble,) = bench.solve(30.0)
    assert trouble.severity is Health.CRITICAL
    assert trouble.conditions == ("s1.Fan1.FAULTY", "s1.Fan1.STANDS")


@pytest.mark.parametrize(
    ("weight", "condition", "after"),
    [
        (1.0, None, 0.0),  # beyond CERTAIN that something has failed
        (0.95, None, SETTLE),  # not so sure
        (0.95, "s1.c", 0.0),  # nor this, but somebody has told a condition of it
        (0.85, None, UNSURE_SETTLE),
    ],
)
def test_a_slow_fault_that_is_certain_is_told_at_once(weight: float, condition: str | None, after: float) -> None:
    inventory = sled()
    bench = Bench(inventory)
    bench.see(S, structs.replace(sign(inventory, "Fan2", Sign.TURNS_SLOWLY, weight=weight), condition=condition))
    while not bench.solve() and bench.now < 600.0:
        bench.now += 10.0
    assert bench.now == after
    assert bench.firsts() == [(pid(S, "Fan2"), "slowing, its bearings worn")]


def test_what_has_had_no_time_to_show_speaks_against_nobody() -> None:
    """Three of four blades low at once are the board's, though neither its sum nor its supplies' heat tells it yet; and
    are no longer, once both have had their time and tell nothing."""
    inventory = sled()
    bench = Bench(inventory)
    bench.visible[S] |= {pid(S, f"Psu{at}"): frozenset({Sign.HOT, Sign.NO_POWER}) for at in (1, 2)}
    low = [sign(inventory, f"Blade{at}", Sign.LOW_VOLTAGE, since=30.0) for at in (1, 2, 3)]
    bench.round(S)
    bench.now = 30.0
    bench.see(S, *low)
    bench.round(S)
    bench.solve()
    at_once = bench.open[0].suspects[0]
    assert (at_once.part, at_once.fault) == (pid(S, "Sled"), "its power board loses power")
    for _ in range(60):
        bench.now += 30.0
        bench.round(S)
        bench.solve()
    later = next(each for each in bench.open[0].suspects if each.part == pid(S, "Sled"))
    assert any("would be seen and is not" in text for text in later.speaks_against)
    assert later.probability <= at_once.probability


def test_a_port_is_told_from_its_switch() -> None:
    sleds = [sled(f"s{at}", switch="02:00:00:00:00:01") for at in range(1, 4)]
    bench = Bench(*sleds)
    for name in ("s1", "s2", "s3"):
        bench.round(name)
    bench.now = 30.0
    bench.see("s1", sign(sleds[0], "Net/Port1", Sign.LINK_DOWN, since=30.0))
    bench.round("s1")
    bench.solve()
    for name, passed in (("s2", 10.0), ("s3", 10.0), ("s1", 10.0)):
        bench.now += passed
        bench.round(name)
        bench.solve()
    assert bench.open[0].suspects[0].part == "~02:00:00:00:00:01/s1-1"
    assert "~02:00:00:00:00:01" not in bench.open[0].group


def test_nothing_is_weighed_again_before_its_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rounds of others, a thousand between two of one's own, must not weigh an open trouble a thousand times."""
    from collector.assess.isolate import neighbourhood

    sleds = [sled(f"s{at}") for at in range(1, 21)]
    bench = Bench(*sleds)
    for each in sleds:
        bench.round(each.controller)
    bench.now = 30.0
    bench.see(S, sign(sleds[0], "Fan1", Sign.STANDS, since=30.0))
    calls = 0
    weigh = neighbourhood.weigh

    def counted(evidence: neighbourhood.Evidence) -> object:
        nonlocal calls
        calls += 1
        return weigh(evidence)

    monkeypatch.setattr(neighbourhood, "weigh", counted)
    for _ in range(120):  # an hour
        for each in sleds:
            bench.now += 30.0 / len(sleds)
            bench.round(each.controller)
            bench.solve()
    assert bench.firsts() == [(pid(S, "Fan1"), "seized")]
    assert 1 <= calls <= 20


def test_nothing_new_is_nothing_told_and_the_id_stays() -> None:
    bench, inventory = one_sled(("Fan1", Sign.STANDS))
    assert bench.solve(30.0) == ()
    bench.see(S, sign(inventory, "Fan1", Sign.STANDS), sign(inventory, "Fan1", Sign.FAULTY))
    (again,) = bench.solve(30.0)
    assert [again.id] == list(bench.told)


def test_closed_only_after_its_signs_stayed_away() -> None:
    bench, inventory = one_sled(("Fan1", Sign.STANDS))
    bench.see(S)
    assert bench.solve(30.0) == ()
    bench.see(S, sign(inventory, "Fan1", Sign.STANDS))
    assert bench.solve(30.0) == ()  # came back: the same trouble, nothing to tell
    bench.see(S)
    bench.solve(30.0)
    (closed,) = bench.solve(OFF_DELAY)
    assert closed.closed == bench.now
    assert bench.isolation.open == ()
    assert bench.solve(1000.0) == ()


def test_a_silent_controller_forgets_nothing_and_learns_nothing() -> None:
    bench, inventory = one_sled(("Fan1", Sign.STANDS))
    fan = sign(inventory, "Fan1", Sign.STANDS)
    bench.see(S, fan, sign(inventory, "Bmc", Sign.SILENT), readable=False)
    bench.settle()
    assert bench.firsts() == [(pid(S, "Bmc"), "hung"), (pid(S, "Fan1"), "seized")]


def test_a_change_in_one_sled_weighs_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    from collector.assess.isolate import isolation

    sleds = [sled(f"s{at}", rack=f"R{at}") for at in range(1, 21)]
    bench = Bench(*sleds)
    for each in sleds:
        bench.see(each.controller, sign(each, "Fan1", Sign.STANDS))
    bench.settle()
    weighed: list[str] = []
    real = isolation.explain

    def counted(neighbourhood, *rest):  # type: ignore[no-untyped-def]
        weighed.extend(spot[0] for spot in neighbourhood.spots)
        return real(neighbourhood, *rest)

    monkeypatch.setattr(isolation, "explain", counted)
    bench.see("s7", sign(sleds[6], "Fan1", Sign.STANDS), sign(sleds[6], "Fan1", Sign.FAULTY))
    bench.solve(30.0)
    assert set(weighed) == {"s7"}


# What controllers of no diligence bring


def test_a_sign_of_a_part_that_no_walk_brought() -> None:
    isolation = Isolation()
    lost = Observation(controller="x", part="~controller:x", sign=Sign.SILENT, since=0.0, text="no answer")
    isolation.observe("x", [lost], {}, False, 30.0)
    (trouble,) = isolation.solve(30.0)
    assert trouble.suspects[0].part == "~controller:x"
    assert trouble.suspects[0].fault == "hung"


def test_absurd_observations_are_borne() -> None:
    inventory = sled()
    bench = Bench(inventory)
    odd = [
        sign(inventory, "Fan1", Sign.STANDS, weight=float("nan")),
        sign(inventory, "Fan2", Sign.STANDS, weight=-1.0),
        sign(inventory, "Fan3", Sign.STANDS, weight=7.0, since=float("inf")),
    ]
    bench.see(S, *odd)
    bench.settle()
    assert bench.firsts() == [(pid(S, "Fan3"), "seized")]


def test_a_clock_that_jumps_back_neither_crashes_nor_closes() -> None:
    bench, inventory = one_sled(("Fan1", Sign.STANDS))
    bench.see(S)
    bench.solve(30.0)
    bench.solve(-10_000.0)
    assert len(bench.isolation.open) == 1
    bench.solve(OFF_DELAY + 1)
    assert bench.isolation.open == ()
    assert inventory is not None


def test_probabilities_in_a_trouble_are_probabilities() -> None:
    bench, _ = one_sled(("Fan1", Sign.STANDS), ("Cpu1", Sign.HOT), ("Bmc", Sign.CUT_OFF), ("Sled", Sign.UNBALANCED))
    for trouble in bench.told.values():
        assert 0.0 <= trouble.unexplained <= 1.0
        assert all(0.0 <= suspect.probability <= 1.0 for suspect in trouble.suspects)
        assert len(trouble.suspects) <= 8
        known = {suspect.part for suspect in trouble.suspects}
        assert {*trouble.group, *trouble.also} <= known
        assert not set(trouble.group) & set(trouble.also)
