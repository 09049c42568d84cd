"""Learnt laws beyond what they were learnt from."""

from __future__ import annotations

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
