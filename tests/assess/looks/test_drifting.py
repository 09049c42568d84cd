"""Sensors that drift: what is held through rounds in which nothing explains them, and how sure it is."""

from __future__ import annotations

import random

import pytest

from collector.assess.looks.drifts import BESIDE, ROUNDS
from collector.assess.looks.sensors import UNLIKE_LOAD, SensorsLook
from collector.model import Sign
from tests.assess.fleet import NAME, NAN
from tests.assess.looks.seeing import blades, seen

USUAL = 200.0
BURST = 4.0
"""Times its usual load: beyond :data:`UNLIKE_LOAD` in the very first round, though load is averaged over minutes."""
DRIFTS = (Sign.READING_DRIFTS, "blade0 processor")


class Bench:
    """A look at blades under even load, whose first processor's sensor may be off, and which may have a burst."""

    def __init__(self, count: int = 4, *, bursts: bool = False) -> None:
        """``bursts``: it has seen such loads before."""
        self.look = SensorsLook(NAME)
        self.look.inventory(blades(count), 0.0)
        self._count, self._turn = count, 0
        self._chance = random.Random(3)
        for _ in range(3):
            self.rounds(30)
            self.rounds(20, load=BURST if bursts else 1.0)
        self.rounds(40)
        assert not self.look.present

    def rounds(
        self, count: int, off: float = 0.0, load: float = 1.0, *, alone: bool = False, second: float = 0.0
    ) -> list[bool]:
        """Of each round whether a drift was shown; ``off`` in K, ``load`` of the first blade; ``alone``: nothing is
        told of the other blades; ``second``: K by which the second blade's memory is off."""
        shown = []
        for _ in range(count):
            values = []
            for number in range(self._count):
                power = USUAL * (load if number == 0 else 1.0) + self._chance.gauss(0.0, 3.0)
                warm = [self._chance.gauss(rise, 0.3) for rise in (43.0 + 20.0, 43.0, 43.0 + 4.0)]
                if number == 0:
                    warm[0] += off
                if number == 1:
                    warm[1] += second
                told = [23.0 + self._chance.gauss(0.0, 0.1), power, *warm]
                values += [NAN] * len(told) if alone and number else told
            self.look.round(seen(60.0 * self._turn, [round(value, 1) for value in values]))
            self._turn += 1
            shown.append(DRIFTS in {(sign, sensor) for _, sign, sensor in self.look.present})
        return shown

    @property
    def weight(self) -> float:
        (only,) = self.look.present.values()
        return only.weight


@pytest.mark.parametrize("bursts", [False, True])
def test_a_drift_stays_shown_while_nothing_explains_its_sensor_and_goes_when_all_is_well(bursts: bool) -> None:
    bench = Bench(bursts=bursts)
    assert bench.rounds(20, off=-20.0)[-1]
    assert all(bench.rounds(40, off=-20.0, load=BURST)), "another load than its siblings: nothing can be said"
    assert all(bench.rounds(30, off=-20.0))
    gone = bench.rounds(30)
    assert gone[0]
    assert not any(gone[20:])


def test_a_drift_stays_shown_while_nothing_is_told_of_its_siblings() -> None:
    bench = Bench()
    assert bench.rounds(20, off=-20.0)[-1]
    assert all(bench.rounds(12, off=-20.0, alone=True))
    assert all(bench.rounds(12, off=-20.0))


def test_rounds_in_which_nothing_is_explained_take_nothing_from_the_count() -> None:
    bench = Bench()
    bench.rounds(6, off=-20.0)
    assert not bench.look.present, "not for long enough yet"
    assert not any(bench.rounds(20, off=-20.0, load=BURST)), "and these add nothing"
    after = bench.rounds(20, off=-20.0)
    back = 5  # rounds until its averaged load is its siblings' again
    assert after.index(True) < back + ROUNDS - 2


def test_a_slow_warming_stays_a_drift_after_rounds_in_which_nothing_was_explained() -> None:
    """What grew slowly is the sensor and not heat; that it grew slowly is not forgotten."""
    bench = Bench()
    for number in range(60):
        bench.rounds(1, off=0.4 * number)
    assert bench.weight >= 0.8
    bench.rounds(20, off=24.0, load=BURST)
    assert bench.rounds(20, off=24.0)[-1]
    assert bench.weight >= 0.8
    sudden = Bench()
    assert sudden.rounds(20, off=24.0)[-1]
    assert sudden.weight == 0.4


def test_rounds_in_which_it_is_well_count_from_the_start() -> None:
    bench = Bench()
    bench.rounds(3, off=-20.0)
    assert not any(bench.rounds(20))
    again = bench.rounds(20, off=-20.0)
    assert again.index(True) >= ROUNDS


@pytest.mark.parametrize(("count", "least", "most"), [(4, 0.8, 0.95), (2, 0.55, 0.95)])
def test_the_further_off_the_surer(count: int, least: float, most: float) -> None:
    weights = []
    for off in (-7.0, -9.0, -40.0):
        bench = Bench(count)
        assert bench.rounds(20, off=off)[-1], off
        weights.append(bench.weight)
    assert weights == sorted(weights)
    assert least <= weights[0] < weights[-1] - 0.08
    assert weights[-1] == pytest.approx(most, abs=0.02)
    assert UNLIKE_LOAD < (BURST - 1.0) * 0.39


def test_a_drift_beside_another_is_accused_with_more_doubt() -> None:
    """Either may be what explains the other badly."""
    alone, beside = Bench(), Bench()
    for bench, others in ((alone, 0.0), (beside, -20.0)):
        bench.rounds(40, off=-20.0, second=others)
    told = {sensor: each.weight for (_, _, sensor), each in beside.look.present.items()}
    assert told.keys() == {"blade0 processor", "blade1 memory"}
    assert alone.weight == pytest.approx(0.95)
    assert told["blade0 processor"] == pytest.approx(alone.weight - BESIDE)
