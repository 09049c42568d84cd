"""Noise and standstill, each alone: how often a healthy sensor is accused by chance, and what an ill one shows."""

from __future__ import annotations

import math
from array import array

import numpy as np
import pytest
from msgspec import structs
from scipy import stats

from collector.assess.looks.explained import Explained
from collector.assess.looks.jitter import FADES, PAUSE, SHOWN, TIMES_USUAL, Jitter
from collector.assess.looks.kin import Floats, Kin, Near, Threes
from collector.assess.looks.latch import ROUNDS_OFF, Signs
from collector.assess.looks.stuck import (
    AT_REST,
    BY_SIBLINGS,
    BY_THE_REST,
    CHANCE,
    NO_CHANCE,
    OF_LEAST,
    OWN_SWING,
    RESTS,
    ROUNDS,
    STEPS_BY_SIBLINGS,
    STEPS_BY_THE_REST,
    Stuck,
)
from collector.model import Frame, Inventory, Kind, Layout, Quantity, Sensor, Sign
from tests.assess.fleet import NAME, inventory, pid
from tests.assess.statistics.test_published import MONTGOMERY


def sensor(part: str, kind: Kind, name: str, quantity: Quantity) -> Sensor:
    unit = "W" if quantity is Quantity.POWER else "Cel"
    return Sensor(
        controller=NAME, part=pid(part), kind=kind, sensor=name, quantity=quantity, unit=unit, source=f"/{name}"
    )


def silence(count: int) -> Frame:
    return Frame(0.0, array("d", [math.nan] * count), bytes(count))


def lonely(count: int) -> Inventory:
    """So many controllers' worth of one sensor each: none has another beside it."""
    sensors = tuple(sensor(f"part{n}", Kind.OTHER, f"sensor {n}", Quantity.TEMPERATURE) for n in range(count))
    return structs.replace(inventory(parts=(), links=()), layout=Layout(NAME, sensors), frame=silence(len(sensors)))


def follow(jitter: Jitter, series: Floats, *, quantum: float = 0.0) -> Floats:
    """The most hits of each sensor; ``series``: (rounds, sensors), all of it unexplained."""
    size = series.shape[1]
    usable, level, steps = np.ones(size, dtype=bool), np.ones(size), np.full(size, quantum)
    most = np.zeros(size)
    before = np.full(size, math.nan)
    for number, values in enumerate(series):
        jitter.round(values - before, values, usable, usable, level, steps, np.full(size, number < 200))
        before = values
        most = np.maximum(most, jitter.hits)
    return most


def test_a_hit_by_chance_is_as_rare_as_the_bivariate_normal_distribution_says() -> None:
    """Independent Gaussian errors: two successive differences have correlation -1/2 (scipy's bivariate normal)."""
    limit = TIMES_USUAL * 2.0 / math.sqrt(math.pi) / math.sqrt(2.0)
    chance = 2.0 * stats.multivariate_normal([0.0, 0.0], [[1.0, 0.5], [0.5, 1.0]]).cdf([-limit, -limit])
    assert chance == pytest.approx(1.0 / 15_000.0, rel=0.05)
    rng = np.random.default_rng(4)
    errors = rng.standard_normal((2000, 2000))
    jumps = np.diff(errors, axis=0)
    swings = np.minimum(np.abs(jumps[1:]), np.abs(jumps[:-1])) * (jumps[1:] * jumps[:-1] < 0.0)
    hits = int((swings > TIMES_USUAL * 2.0 / math.sqrt(math.pi)).sum())
    low, high = stats.poisson.interval(0.9999, chance * swings.size)
    assert low <= hits <= high


def test_no_healthy_sensor_jumps_about_in_two_million_rounds() -> None:
    rng = np.random.default_rng(5)
    kin = Kin(lonely(1000))
    most = follow(Jitter(kin, np.zeros((kin.size, 2))), rng.standard_normal((2000, 1000)))
    assert most.max() < SHOWN


def test_montgomerys_thirty_points_do_not_jump_about_and_twice_their_noise_for_ever_becomes_usual() -> None:
    """Montgomery, Introduction to Statistical Quality Control, table 9.1: independent, deviation 1."""
    series = np.asarray(MONTGOMERY * 4)[:, None]
    kin = Kin(lonely(1))
    assert follow(Jitter(kin, np.zeros((1, 2))), series)[0] < SHOWN


@pytest.mark.parametrize("half_width", [5.0, 10.0])
def test_noise_is_seen_within_minutes_and_one_step_is_not(half_width: float) -> None:
    rng = np.random.default_rng(6)
    kin = Kin(lonely(400))
    quiet = np.round(rng.normal(0.0, 0.3, (150, 400)))
    jitter = Jitter(kin, np.full((400, 2), (6.0, 0.0)))
    follow(jitter, quiet, quantum=1.0)
    follow(jitter, np.round(quiet[:20] + 10.0), quantum=1.0)
    assert jitter.hits.max() < SHOWN
    noisy = np.round(rng.uniform(-half_width, half_width, (18, 400)))
    seen = follow(jitter, noisy, quantum=1.0) >= SHOWN
    assert seen.mean() > 0.9
    follow(jitter, quiet[:20], quantum=1.0)
    assert not jitter.suspect.any()
    assert FADES < 1.0


def test_what_jumps_with_the_rest_or_with_its_load_is_nobodys_fault() -> None:
    sensors = (
        sensor("blade0", Kind.BLADE, "power", Quantity.POWER),
        sensor("blade0", Kind.BLADE, "one", Quantity.TEMPERATURE),
        sensor("blade0", Kind.BLADE, "two", Quantity.TEMPERATURE),
    )
    whole = structs.replace(inventory(parts=(), links=()), layout=Layout(NAME, sensors), frame=silence(len(sensors)))
    kin = Kin(whole)
    jitter = Jitter(kin, np.full((3, 2), (6.0, 0.0)))
    rng = np.random.default_rng(7)
    swing = rng.uniform(-8.0, 8.0, 200)
    together = np.stack([np.full(200, 300.0), swing, 0.5 * swing], axis=1)
    assert follow(jitter, together).max() < SHOWN


def to_and_fro(rests: int, rounds: int = 60, far: float = 10.0) -> Floats:
    """A reading that jumps, rests for so many rounds, and jumps back."""
    return np.asarray([far * (number // (rests + 1) % 2) for number in range(rounds)])


@pytest.mark.parametrize(("rests", "seen"), [(0, True), (1, True), (PAUSE - 1, True), (PAUSE, False), (9, False)])
def test_noise_may_rest_for_a_round_or_two_and_what_rests_longer_is_none(rests: int, seen: bool) -> None:
    kin = Kin(lonely(1))
    jitter = Jitter(kin, np.full((1, 2), (6.0, 0.0)))
    follow(jitter, np.random.default_rng(9).normal(0.0, 0.2, (60, 1)))
    assert bool(follow(jitter, to_and_fro(rests)[:, None])[0] >= SHOWN) is seen


@pytest.mark.parametrize("rests", [0, 1])
@pytest.mark.parametrize(
    ("watts", "other", "seen"), [(0.0, 0.0, True), (60.0, 0.0, False), (20.0, 0.0, True), (0.0, 6.0, False)]
)
def test_a_load_explains_no_more_of_a_swing_than_it_can(rests: int, watts: float, other: float, seen: bool) -> None:
    """A part at 40 Cel under 300 W that swings by 10 K: with 7 % of its load it may swing by 5 K at most."""
    sensors = (
        sensor("blade0", Kind.BLADE, "power", Quantity.POWER),
        sensor("blade0", Kind.BLADE, "one", Quantity.TEMPERATURE),
        sensor("blade0", Kind.BLADE, "two", Quantity.TEMPERATURE),
    )
    whole = structs.replace(inventory(parts=(), links=()), layout=Layout(NAME, sensors), frame=silence(len(sensors)))
    jitter = Jitter(Kin(whole), np.full((3, 2), (6.0, 0.0)))
    usable, level, before = np.ones(3, dtype=bool), np.asarray([300.0, 40.0, 40.0]), np.full(3, math.nan)
    quiet = np.random.default_rng(9).normal(0.0, 0.2, (60, 3))
    swing = to_and_fro(rests)
    most = np.zeros(3)
    for values in np.concatenate([quiet, np.stack([watts / 10.0 * swing, swing, other / 10.0 * swing], axis=1)]):
        jitter.round(values - before, values, usable, usable, level, np.zeros(3), np.zeros(3, dtype=bool))
        before, most = values, np.maximum(most, jitter.hits)
    assert bool(most[1] >= SHOWN) is seen


def test_one_of_three_that_is_ill_casts_doubt_on_the_other_two_only() -> None:
    kin = Kin(lonely(3))
    kin.groups = [np.asarray([0, 1, 2], dtype=np.intp)]
    threes = Threes(kin)
    assert threes.of_three(np.asarray([False, True, False])).tolist() == [True, False, True]
    assert threes.less_odd(np.asarray([-3.0, 6.0, -3.0])).tolist() == [True, False, True]
    kin.groups = []
    assert not Threes(kin).less_odd(np.asarray([1.0, 2.0, 3.0])).any()


def test_a_standstill_needs_movement_elsewhere_and_a_sensor_that_usually_steps() -> None:
    kin = Kin(lonely(3))
    model = Explained(kin)
    one = Stuck(kin)
    usable, sure, spread = np.ones(3, dtype=bool), np.zeros(3, dtype=bool), np.full(3, 0.2)
    least = np.full(3, 6.0)
    before = np.zeros(3)
    stuck = sure
    for number in range(150):
        held = number >= 120
        course = number % 2 * 1.0
        values = np.asarray([0.0 if held else course, 0.0 if held else course, 0.0])
        same = values == before
        one.step(values - before, same)
        explained = np.asarray([0.1 * (number - 120), 0.0, 0.1 * (number - 120)]) if held else values
        stuck = one.judge(explained, same, usable, sure, least, spread, model)
        before = values
    # the first must have moved; nothing says so of the second; the third has never been seen to step
    assert stuck.tolist() == [False, False, False]
    for number in range(150, 175):
        one.step(values - before, same)
        stuck = one.judge(
            np.asarray([0.1 * (number - 120), 0.0, 0.1 * (number - 120)]), same, usable, sure, least, spread, model
        )
    assert stuck.tolist() == [True, False, False]
    assert (0.5**ROUNDS) > CHANCE  # eight rounds alone are no proof for what steps every other round


def test_half_the_doubt_is_news_and_less_is_not() -> None:
    signs, told = Signs(NAME), []
    for number, weight in enumerate((0.8, 0.8, 0.83, 0.86, 0.9, 0.92, 0.96, 0.93, 0.84)):
        signs.begin()
        signs.see("part", Sign.READING_DRIFTS, "it drifts", float(number), weight)
        signs.end()
        told += [each.weight for each in signs.present.values()]
    assert told == [0.8, 0.8, 0.86, 0.86, 0.92, 0.96, 0.96, 0.84]


def test_a_look_that_judges_every_other_round_keeps_what_is_about_to_be_shown() -> None:
    signs = Signs(NAME)
    for number in range(3):
        signs.begin()
        if number % 2:
            signs.keep_all({Sign.READING_NOISY})
        else:
            signs.see("part", Sign.READING_NOISY, "it jumps", float(number), 0.9)
        signs.end()
    assert len(signs.present) == 1
    for _ in range(ROUNDS_OFF):
        signs.begin()
        signs.end()
    assert not signs.present


def test_power_that_swings_with_its_current_is_load_and_what_has_no_current_says_nothing() -> None:
    def pair(part: str, kind: Kind) -> list[Sensor]:
        return [
            sensor(part, kind, f"{part} power", Quantity.POWER),
            sensor(part, kind, f"{part} current", Quantity.CURRENT),
        ]

    sensors = (*pair("outlet1", Kind.OUTLET), sensor("outlet2", Kind.OUTLET, "bare power", Quantity.POWER))
    sensors += tuple(pair("supply", Kind.POWER_SUPPLY))
    whole = structs.replace(inventory(parts=(), links=()), layout=Layout(NAME, sensors), frame=silence(len(sensors)))
    rng = np.random.default_rng(8)
    swing = rng.uniform(-60.0, 60.0, 60)
    series = np.stack([swing, swing / 50.0, swing, swing, np.zeros(60)], axis=1)
    series = np.concatenate([rng.normal(0.0, 0.5, (60, 5)), series + rng.normal(0.0, 0.05, (60, 5))])
    jitter = Jitter(Kin(whole), np.full((5, 2), (10.0, 0.06)))
    before, level = np.full(5, math.nan), np.asarray([600.0, 12.0, 600.0, 600.0, 12.0])
    usable = np.ones(5, dtype=bool)
    for values in series:
        jitter.round(values - before, values, usable, usable, level, np.zeros(5), usable)
        before = values
    assert (jitter.hits >= SHOWN).tolist() == [False, False, False, True, False]


def test_what_those_of_one_owner_share_is_no_error_of_one() -> None:
    """Drives of two blades, two each: what one blade's feel alike is taken off both, the smaller of the two."""
    drives = tuple(
        sensor(f"blade{blade} drive{number}", Kind.DRIVE, f"drive {number}", Quantity.TEMPERATURE)
        for blade in (1, 2)
        for number in (0, 1)
    )
    kin = Kin(structs.replace(lonely(4), layout=Layout(NAME, drives)))
    kin.owner = ["blade1", "blade1", "blade2", "blade2"]
    kin.role = [("drive",)] * 4
    near = Near(kin, np.ones(4, dtype=bool))
    assert near.shared(np.asarray([5.0, 8.0, 2.0, -1.0])).tolist() == [5.0, 5.0, 0.0, 0.0]
    assert near.shared(np.asarray([math.nan, 8.0, -2.0, -1.0])).tolist() == [0.0, 0.0, -1.0, -1.0]
    kin.owner = ["blade1"] * 4
    assert not Near(kin, np.ones(4, dtype=bool)).shared(np.ones(4)).any(), "their siblings are these themselves"


# How much movement a standstill takes


def stuck_after(
    rounds: int,
    moves: float,
    *,
    siblings: bool,
    spread: float = 1.0,
    quantum: float = 0.1,
    rested: int | None = None,
    back: bool = True,
    own: float = math.nan,
    theirs: float = 0.0,
    by_load: float = 0.0,
    least: float = 0.0,
) -> bool:
    """Whether a sensor that stepped in every round is stuck after so many without, ``moves`` explained meanwhile:
    to and fro, after so many without a step, or at the end; ``back``: or once and for all. ``own``: swing of its part's
    load meanwhile, ``theirs``: of the difference to the siblings' loads; ``by_load``: K for each of that."""
    kin = Kin(lonely(1))
    model, one = Explained(kin), Stuck(kin)
    model.siblings[:] = siblings
    model.weights[:, 1] = by_load
    yes, no = np.ones(1, dtype=bool), np.zeros(1, dtype=bool)
    found, before = no, np.zeros(1)
    for number in range(120 + rounds):
        held = number >= 120
        values = np.zeros(1) if held else np.full(1, number % 2 * quantum)
        since = number - 120 - (rounds - 3 if rested is None else rested)
        explained = np.full(1, moves if since == 0 or (since > 0 and not back) else 0.0)
        swings = number % 2 if held else 0
        model.own_load, model.unlike = np.full(1, own * swings), np.full(1, theirs * swings)
        one.step(values - before, values == before)
        found = one.judge(explained, values == before, yes, no, np.full(1, least), np.full(1, spread), model)
        before = values
    return bool(found[0])


@pytest.mark.parametrize(("siblings", "errors"), [(True, BY_SIBLINGS), (False, BY_THE_REST)])
def test_the_longer_it_stands_the_less_movement_it_takes(siblings: bool, errors: tuple[float, float, float]) -> None:
    first, second, last = errors
    short, while_, long = 12, 30, 80  # its chance is 6, 12 and 30 decades below 1
    assert first > second > last > 0.0
    assert stuck_after(short, first, siblings=siblings)
    assert not stuck_after(short, second + 0.1, siblings=siblings)
    assert stuck_after(20, 0.5 * (first + second), siblings=siblings), "between the two"
    assert not stuck_after(20, second + 0.1, siblings=siblings)
    assert stuck_after(while_, second + 0.1, siblings=siblings)
    assert not stuck_after(while_, last + 0.1, siblings=siblings)
    assert stuck_after(long, last + 0.1, siblings=siblings)
    assert not stuck_after(long, last - 0.1, siblings=siblings)
    assert not stuck_after(10 * long, last - 0.1, siblings=siblings), "however long"


def test_what_has_only_just_come_to_rest_may_still_feel_what_moved_it() -> None:
    for rested in range(1, RESTS):
        assert not stuck_after(80, 20.0, siblings=True, rested=rested)
    assert stuck_after(80, 20.0, siblings=True, rested=RESTS)


def test_a_move_once_and_for_all_may_be_the_models_own() -> None:
    assert stuck_after(80, 3.0, siblings=True)
    assert not stuck_after(80, 3.0, siblings=True, back=False)


def test_siblings_explain_better_than_the_rest() -> None:
    assert stuck_after(30, 3.2, siblings=True)
    assert not stuck_after(30, 3.2, siblings=False)


def test_siblings_whose_own_loads_move_them_say_nothing_of_what_its_load_would_have_moved_less() -> None:
    assert not stuck_after(80, 9.0, siblings=True, own=0.05, by_load=28.0), "its own load rested"
    assert not stuck_after(80, 9.0, siblings=True, own=0.06 + OWN_SWING, theirs=0.32, by_load=12.0)
    assert stuck_after(80, 9.0, siblings=True, own=0.06 + OWN_SWING, theirs=0.32, by_load=30.0), "it would have moved"
    assert stuck_after(80, 9.0, siblings=True, own=0.06 + OWN_SWING, theirs=0.32, by_load=2.0), (
        "loads move none of them"
    )
    assert stuck_after(80, 9.0, siblings=True, own=0.06 + OWN_SWING, theirs=0.05, by_load=12.0), "it is the room"
    assert stuck_after(80, 9.0, siblings=False, own=0.06 + OWN_SWING, theirs=0.32, by_load=12.0)


@pytest.mark.parametrize(("siblings", "steps"), [(True, STEPS_BY_SIBLINGS), (False, STEPS_BY_THE_REST)])
def test_fewer_steps_than_so_many_are_never_enough(siblings: bool, steps: tuple[float, float, float]) -> None:
    first, second, last = steps
    assert first > second > last >= 2.0, "a reading may well be told two steps off"
    for rounds, too_few, enough in ((12, second, first), (30, last, second), (80, last - 0.1, last + 0.1)):
        assert not stuck_after(rounds, too_few, siblings=siblings, spread=0.01, quantum=1.0)
        assert stuck_after(rounds, enough, siblings=siblings, spread=0.01, quantum=1.0)
    assert not stuck_after(600, last - 0.1, siblings=siblings, spread=0.01, quantum=1.0), "however long"


def test_nor_is_less_than_a_part_of_what_is_worth_a_word() -> None:
    first, second, last = OF_LEAST
    for rounds, too_little, enough in ((12, second, first), (30, last, second), (80, last - 0.02, last + 0.02)):
        assert not stuck_after(rounds, 6.0 * too_little, siblings=True, spread=0.01, quantum=0.01, least=6.0)
        assert stuck_after(rounds, 6.0 * enough, siblings=True, spread=0.01, quantum=0.01, least=6.0)


@pytest.mark.parametrize(
    ("kind", "quantity", "unrest", "stuck"),
    [
        (Kind.POWER_FEED, Quantity.FREQUENCY, 0.02, True),
        (Kind.POWER_FEED, Quantity.VOLTAGE, 0.02, True),
        (Kind.POWER_FEED, Quantity.VOLTAGE, 0.006, False),  # a calm may lie between two steps
        (Kind.POWER_FEED, Quantity.POWER, 0.02, False),  # a load may rest
        (Kind.BLADE, Quantity.VOLTAGE, 0.02, False),
    ],
)
def test_mains_are_never_at_rest_and_loads_are(kind: Kind, quantity: Quantity, unrest: float, stuck: bool) -> None:
    one_sensor = (sensor("part0", kind, "sensor 0", quantity),)
    kin = Kin(structs.replace(lonely(1), layout=Layout(NAME, one_sensor)))
    model, one = Explained(kin), Stuck(kin)
    rng = np.random.default_rng(3)
    yes, no, before, found = np.ones(1, dtype=bool), np.zeros(1, dtype=bool), np.zeros(1), []
    for number in range(300):
        values = np.round(rng.normal(50.0, unrest, 1), 2) if number < 200 else before
        one.step(values - before, values == before)
        found.append(bool(one.judge(np.zeros(1), values == before, yes, no, np.zeros(1), np.ones(1), model)[0]))
        before = values
    assert not any(found[: 199 + AT_REST])
    assert found[-1] is stuck
    assert (1.0 - one.lively[0]) ** 100 < NO_CHANCE


# What a supply tells of one thing twice


def supply(second: Quantity, *more: str) -> Inventory:
    """A supply of input and output power, and its output once more; ``more`` powers."""
    of = ("psu1", Kind.POWER_SUPPLY)
    sensors = (
        sensor(*of, "input power", Quantity.POWER),
        sensor(*of, "output power", Quantity.POWER),
        sensor(*of, "rail", second),
        *(sensor(*of, name, Quantity.POWER) for name in more),
    )
    return structs.replace(inventory(parts=(), links=()), layout=Layout(NAME, sensors), frame=silence(len(sensors)))


def jumping(whole: Inventory, series: Floats) -> list[str]:
    """Which sensors jump about after a quiet hour and so many rounds; by part of what is usual, one column a sensor."""
    size = series.shape[1]
    rng = np.random.default_rng(9)
    level = np.asarray([12.0 if each.quantity is Quantity.CURRENT else 600.0 for each in whole.layout.sensors])
    told = level * (
        1.0 + np.concatenate([np.zeros((60, size)), series]) + rng.normal(0.0, 0.0005, (60 + len(series), size))
    )
    jitter = Jitter(Kin(whole), np.full((size, 2), (0.1, 0.03)))
    usable, before, most = np.ones(size, dtype=bool), np.full(size, math.nan), np.zeros(size)
    for values in told:
        jitter.round(values - before, values, usable, usable, level, np.zeros(size), usable)
        before, most = values, np.maximum(most, jitter.hits)
    return [each.sensor for each, hits in zip(whole.layout.sensors, most, strict=True) if hits >= SHOWN]


@pytest.mark.parametrize("second", [Quantity.CURRENT, Quantity.POWER])
def test_a_noisy_output_told_under_two_names_is_noisy_where_the_input_is_steady(second: Quantity) -> None:
    swing = np.random.default_rng(10).uniform(-0.2, 0.2, 40)
    series = np.stack([np.zeros(40), swing, swing], axis=1)
    assert jumping(supply(second), series) == ["output power", "rail"]


@pytest.mark.parametrize("second", [Quantity.CURRENT, Quantity.POWER])
def test_a_load_that_swings_moves_input_and_output_alike_and_nothing_is_noisy(second: Quantity) -> None:
    swing = np.random.default_rng(10).uniform(-0.2, 0.2, 40)
    assert jumping(supply(second), np.stack([swing, swing, swing], axis=1)) == []
    # an average stays where it is, whatever the load does, and is no witness of calm
    averaged = np.stack([swing, swing, swing, np.zeros(40)], axis=1)
    assert jumping(supply(second, "average input power"), averaged) == []


def test_an_input_that_tells_nothing_is_no_witness_of_calm() -> None:
    swing = np.random.default_rng(10).uniform(-0.2, 0.2, 40)
    assert jumping(supply(Quantity.CURRENT), np.stack([np.full(40, math.nan), swing, swing], axis=1)) == []
    alone = np.stack([np.full(40, math.nan), swing, np.full(40, math.nan)], axis=1)
    assert jumping(supply(Quantity.CURRENT), alone) == ["output power"], "nor of load"
