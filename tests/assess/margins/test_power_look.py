"""The look at power and coolant, on the rig."""

from __future__ import annotations

import math

import pytest

from collector.assess.looking import Seen
from collector.assess.looks.power import PowerLook
from collector.model import Outcome, Sign, State, Status
from tests.assess.margins.rig import BLADES, Rig

VOLTS = [5 * blade + 4 for blade in range(BLADES)]
WATTS = [5 * blade + 2 for blade in range(BLADES)]
TOTAL = 5 * BLADES + 1


def learnt(rig: Rig) -> PowerLook:
    look = PowerLook(rig.name)
    look.inventory(rig.inventory(), rig.time)
    assert rig.run(look, 60.0) == {}
    return look


def found(look: PowerLook) -> set[tuple[str, Sign]]:
    return {(part.partition(":/")[2], sign) for part, sign, _ in look.present}


def test_swings_and_a_blade_switched_off_raise_nothing() -> None:
    rig = Rig(power=lambda blade, time: 90.0 if (time // 600) % 2 else 380.0)
    look = learnt(rig)
    rig.on[0] = False
    assert rig.run(look, 60.0) == {}
    rig.on[0] = True
    assert rig.run(look, 60.0) == {}


def test_a_dead_line_is_no_power_at_once() -> None:
    rig = Rig()
    look = learnt(rig)
    rig.run(look, 1.0, changes={VOLTS[2]: 0.0, WATTS[2]: 0.0})
    assert found(look) == {("Blade2", Sign.NO_POWER)}
    rig.run(look, 10.0)
    assert look.present == {}


def test_a_part_that_is_gone_lacks_no_power() -> None:
    rig = Rig()
    look = learnt(rig)
    seen = Seen(
        time=rig.time + 60.0,
        frame=rig.frame({VOLTS[2]: 0.0, WATTS[2]: 0.0}),
        statuses={"s1:/Blade2": Status(state=State.ABSENT)},
        idle=frozenset({"s1:/Blade2"}),
        outcome=Outcome.OK,
    )
    look.round(seen)
    assert look.present == {}


@pytest.mark.parametrize(("volts", "sign"), [(11.4, Sign.LOW_VOLTAGE), (12.7, Sign.HIGH_VOLTAGE)])
def test_a_line_off_its_usual_voltage(volts: float, sign: Sign) -> None:
    rig = Rig()
    look = learnt(rig)
    rig.run(look, 3.0, changes={VOLTS[1]: volts})
    assert found(look) == {("Blade1", sign)}


def test_a_meter_that_tells_too_little_does_not_add_up() -> None:
    rig = Rig()
    look = learnt(rig)
    rig.run(look, 8.0, changes={TOTAL: 1050.0})
    assert ("Sled", Sign.UNBALANCED) in found(look)
    text = next(iter(look.present.values())).text
    assert "1050 W" in text
    assert "one of the meters lies" in text


def test_more_out_than_in_is_impossible_and_needs_no_learning() -> None:
    rig = Rig()
    look = PowerLook(rig.name)
    look.inventory(rig.inventory(), rig.time)
    rig.run(look, 4.0, changes={TOTAL: 300.0})
    assert found(look) == {("Sled", Sign.UNBALANCED)}


def test_load_over_its_limit() -> None:
    rig = Rig()
    look = learnt(rig)
    rig.power = lambda blade, time: 520.0 if blade == 3 else 200.0
    rig.run(look, 4.0)
    assert ("Blade3", Sign.OVERLOADED) in found(look)


@pytest.mark.parametrize("bad", [math.nan, -30.0, 1e12, math.inf, -math.inf])
def test_absurd_readings_crash_nothing_and_pass(bad: float) -> None:
    rig = Rig()
    look = learnt(rig)
    for column in range(len(rig.values())):
        rig.run(look, 4.0, changes={column: bad})
    rig.run(look, 30.0)
    assert look.present == {}
