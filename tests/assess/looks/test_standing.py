"""Noise and standstill, each alone: how often a healthy sensor is accused by chance, and what an ill one shows."""

from __future__ import annotations

import math
from array import array

import numpy as np
import pytest
from msgspec import structs
from scipy import stats

from collector.assess.looks.explained import Explained
from collector.assess.looks.jitter import FADES, SHOWN, TIMES_USUAL, Jitter
from collector.assess.looks.kin import Floats, Kin, Threes
from collector.assess.looks.latch import ROUNDS_OFF, Signs
from collector.assess.looks.stuck import CHANCE, ROUNDS, Stuck
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
    for number in range(150, 165):
        one.step(values - before, same)
        stuck = one.judge(
            np.asarray([0.1 * (number - 120), 0.0, 0.1 * (number - 120)]), same, usable, sure, least, spread, model
        )
    assert stuck.tolist() == [True, False, False]
    assert (0.5**ROUNDS) > CHANCE  # eight rounds alone are no proof for what steps every other round


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
