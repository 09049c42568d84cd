"""Learnt laws beyond what they were learnt from."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from collector.assess.margins.baseline import FEW, SOON, Baselines
from collector.assess.margins.lag import TIMES


def test_less_heat_than_was_ever_learnt_from_never_cools() -> None:
    """A law that bends: learnt where it is steep, it cuts the axis above nothing; the true rise is in proportion."""
    laws = Baselines(1)
    which = np.ones(1, dtype=bool)

    def at(load: float) -> np.ndarray:
        per_speed = np.full((1, len(TIMES)), load)
        return laws.inputs(per_speed, per_speed, np.ones((1, len(TIMES))))

    at(1.0)
    for number in range(400):
        load = 0.8 + 0.4 * (number % 11) / 10.0
        laws.learn(at(load), np.asarray([20.0 * load - 6.0]), which, 60.0 * number)
    assert laws.ready(60.0 * max(FEW, 400) + SOON).all()
    top = {load: float(laws.bounds(at(load), at(load))[1][0]) for load in (0.1, 0.3, 0.8, 1.0)}
    assert top[1.0] == pytest.approx(14.0, abs=0.5)
    assert top[0.8] == pytest.approx(10.0, abs=0.5)
    assert 20.0 * 0.3 - 6.0 < top[0.3] <= 0.3 / 0.8 * top[0.8] + 0.5
    assert top[0.1] > 0.0


def learnt(rise: Callable[[float, float], float], rounds: int = 600) -> Baselines:
    """A law learnt from loads and fan speeds that wander by themselves; ``rise`` by load and speed, K."""
    laws = Baselines(1)
    at(laws, 1.0, 1.0)
    for number in range(rounds):
        load, speed = 1.0 + 0.4 * math.sin(number / 7.0), 1.0 + 0.2 * math.sin(number / 11.0)
        learn(laws, load, speed, rise(load, speed), 60.0 * number)
    return laws


def at(laws: Baselines, load: float, speed: float) -> np.ndarray:
    inputs = [np.full((1, len(TIMES)), each) for each in (load / speed, load, 1.0 / speed)]
    return laws.inputs(*inputs)


def learn(laws: Baselines, load: float, speed: float, rise: float, now: float) -> None:
    laws.learn(at(laws, load, speed), np.asarray([rise]), np.ones(1, dtype=bool), now)


def top(laws: Baselines, load: float, speed: float) -> float:
    inputs = at(laws, load, speed)
    return float(laws.bounds(inputs, inputs)[1][0])


def test_what_warms_itself_whatever_the_load_is_learnt_to_cool_with_the_speed() -> None:
    """Fan laws: the air goes with the speed, so a constant heat's rise goes with 1 / n."""
    laws = learnt(lambda load, speed: (20.0 + 6.0 * load) / speed)
    for load, speed in ((0.6, 0.8), (1.4, 0.8), (0.6, 1.2), (1.0, 1.0)):
        assert top(laws, load, speed) == pytest.approx((20.0 + 6.0 * load) / speed, abs=0.7)


def test_fans_that_turn_slower_than_ever_learnt_say_by_how_much() -> None:
    laws = learnt(lambda load, speed: 20.0 * load / speed)
    assert laws.slower(at(laws, 1.0, 1.0))[0] == 0.0
    assert laws.slower(at(laws, 1.0, 0.8))[0] == pytest.approx(0.0, abs=0.03)
    assert laws.slower(at(laws, 1.0, 0.4))[0] == pytest.approx(math.log(0.8 / 0.4), abs=0.03)
    fresh = Baselines(1)
    assert fresh.slower(at(fresh, 1.0, 0.4))[0] == 0.0, "nothing learnt, nothing beyond it"


def test_loads_well_below_all_that_was_learnt_say_by_how_much() -> None:
    laws = learnt(lambda load, speed: 20.0 * load / speed)  # under loads from 0.6
    assert laws.lighter(at(laws, 1.0, 1.0))[0] == 0.0
    assert laws.lighter(at(laws, 0.57, 1.0))[0] == 0.0
    assert laws.lighter(at(laws, 0.2, 1.0))[0] == pytest.approx(math.log(0.6 / 0.2) - 0.1, abs=0.04)
    fresh = Baselines(1)
    assert fresh.lighter(at(fresh, 0.2, 1.0))[0] == 0.0, "nothing learnt, nothing below it"


def test_one_sample_of_less_load_or_slower_fans_is_not_learnt_yet() -> None:
    laws = learnt(lambda load, speed: 20.0 * load / speed)
    lightest, slower = float(laws.lightest[0]), float(laws.slower(at(laws, 1.0, 0.4))[0])
    assert lightest == pytest.approx(0.6, abs=0.02)
    learn(laws, 0.2, 0.4, 10.0, 1e6)
    assert lightest - 0.03 < laws.lightest[0] < lightest
    assert slower - 0.06 < laws.slower(at(laws, 1.0, 0.4))[0] < slower
    for number in range(100):
        learn(laws, 0.2, 0.4, 10.0, 1e6 + 60.0 * number)
    assert laws.lightest[0] == pytest.approx(0.2, abs=0.01)
    assert laws.slower(at(laws, 1.0, 0.4))[0] == pytest.approx(0.0, abs=0.02)
    learn(laws, 1.0, 1.0, 20.0, 2e6)
    assert laws.lightest[0] == pytest.approx(0.2, abs=0.01), "more load takes nothing back"
    laws.forget(np.ones(1, dtype=bool))
    assert np.isinf(laws.lightest[0])
    assert laws.slower(at(laws, 1.0, 0.4))[0] == 0.0
