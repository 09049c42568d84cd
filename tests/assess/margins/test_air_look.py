"""The look at air and heat: quiet in health, quick about trouble, on a rig of textbook physics."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import pytest

from collector.assess.looking import Seen
from collector.assess.looks.air import AirLook
from collector.assess.margins.peers import Peers
from collector.model import Outcome, Sign, SignKey
from tests.assess.margins.rig import BLADES, Rig


def learnt(rig: Rig, minutes: float = 120.0) -> AirLook:
    look = AirLook(rig.name)
    look.inventory(rig.inventory(), rig.time)
    assert rig.run(look, minutes) == {}
    return look


def signs(seen: Mapping[SignKey, object]) -> set[tuple[str, Sign]]:
    return {(part.partition(":/")[2], sign) for part, sign, _ in seen}


@pytest.mark.parametrize("seed", range(3))
def test_wandering_load_raises_nothing(seed: int) -> None:
    rig = Rig(seed=seed)
    look = learnt(rig, 600.0)
    assert look.present == {}


def test_hosts_from_idle_to_full_in_a_minute_raise_nothing() -> None:
    rig = Rig(power=lambda blade, time: 90.0 if (time // 1800) % 2 else 380.0)
    learnt(rig, 600.0)


def test_full_load_never_seen_before_raises_nothing() -> None:
    rig = Rig(power=lambda blade, time: 100.0 + 10.0 * math.sin(time / 300.0))
    look = learnt(rig, 180.0)
    rig.power = lambda blade, time: 400.0
    assert rig.run(look, 120.0) == {}


def test_a_hot_afternoon_raises_nothing() -> None:
    """8 K in three hours, and back."""
    rig = Rig()
    look = learnt(rig)
    for minute in range(360):
        rig.room = 22.0 + 8.0 * min(1.0, minute / 180.0, (360 - minute) / 120.0)
        assert rig.run(look, 1.0) == {}, minute


def test_a_blade_that_its_owner_switches_off_and_on_raises_nothing() -> None:
    rig = Rig()
    look = learnt(rig)
    rig.on[1] = False
    assert rig.run(look, 60.0) == {}
    rig.on[1] = True
    assert rig.run(look, 120.0) == {}


@pytest.mark.parametrize("factor", [0.75, 1.3])
def test_another_fan_control_raises_nothing(factor: float) -> None:
    rig = Rig()
    look = learnt(rig, 240.0)
    rig.speed = lambda mean: factor * (0.25 + 0.0013 * mean)
    assert {sign for _, sign in signs(rig.run(look, 120.0))} - {Sign.HOT} == set()
    if factor > 1.0:
        assert look.present == {}


class Warm(Rig):
    """Its processors are warmer by so many K, whatever they do."""

    more = 0.0

    def values(self) -> list[float]:
        told = super().values()
        told[3 : 5 * BLADES : 5] = [core + self.more for core in told[3 : 5 * BLADES : 5]]
        return told


@pytest.mark.parametrize(("load", "hot"), [(200.0, True), (80.0, False)])
def test_what_stays_of_a_rise_when_the_load_goes_is_no_news(load: float, hot: bool) -> None:
    """Of a part that was only ever seen at work nobody knows how warm it is by itself."""
    rig = Warm()
    look = learnt(rig, 240.0)
    rig.power, rig.speed = lambda blade, time: load, lambda mean: 0.5
    rig.run(look, 60.0)
    assert look.present == {}
    rig.more = 14.0
    rig.run(look, 30.0)
    assert any(sign is Sign.HOT for _, sign in signs(look.present)) is hot


def block(rig: Rig) -> None:
    rig.opened[2] = 0.5


def clog(rig: Rig) -> None:
    rig.opened = [0.75] * BLADES


def loosen(rig: Rig) -> None:
    rig.sink[1] = 1.35


def recirculate(rig: Rig) -> None:
    rig.warmer[0] = 5.0


@pytest.mark.parametrize(
    ("befall", "wanted"),
    [
        (block, {("Blade2", Sign.SHORT_OF_AIR)}),
        (clog, {(f"Blade{blade}", Sign.SHORT_OF_AIR) for blade in range(BLADES)}),
        (loosen, {("Blade1/Cpu", Sign.HOT)}),
        (recirculate, {("Blade0", Sign.WARM_AIR)}),
    ],
)
def test_sudden_trouble_is_seen_within_a_few_rounds_at_the_right_part(
    befall: Callable[[Rig], None], wanted: set[tuple[str, Sign]]
) -> None:
    rig = Rig()
    look = learnt(rig, 180.0)
    befall(rig)
    seen = signs(rig.run(look, 12.0))
    assert wanted <= seen
    others = {part for part, _ in seen} - {part for part, _ in wanted}
    assert all(any(other.startswith(part) for part, _ in wanted) for other in others)


def test_it_goes_when_the_trouble_goes() -> None:
    rig = Rig()
    look = learnt(rig, 180.0)
    block(rig)
    rig.run(look, 60.0)
    assert look.present
    rig.opened[2] = 1.0
    rig.run(look, 60.0)
    assert look.present == {}


def test_trouble_is_not_learnt_away_in_a_day() -> None:
    rig = Rig()
    look = learnt(rig, 180.0)
    block(rig)
    rig.run(look, 24 * 60.0, every=120.0)
    assert ("Blade2", Sign.SHORT_OF_AIR) in signs(dict(look.present))


def test_a_collector_that_starts_after_the_trouble_says_so_less_surely() -> None:
    rig = Rig()
    block(rig)
    look = AirLook(rig.name)
    look.inventory(rig.inventory(), rig.time)
    seen = rig.run(look, 60.0)
    assert ("Blade2", Sign.SHORT_OF_AIR) in signs(seen)
    assert all(one.weight <= 0.6 for one in seen.values())
    assert {part for part, _ in signs(seen)} <= {"Blade2", "Blade2/Cpu"}


def test_without_fan_speeds_it_says_what_it_lacks_and_still_sees() -> None:
    rig = Rig(fans=False)
    look = learnt(rig, 180.0)
    assert any("no fan speed" in text for text in look.weak)
    rig.opened[2] = 0.4
    assert ("Blade2", Sign.SHORT_OF_AIR) in signs(rig.run(look, 15.0))


@pytest.mark.parametrize("bad", [math.nan, -50.0, 1e9, math.inf, -math.inf])
def test_absurd_readings_of_any_sensor_crash_nothing_and_accuse_nobody_else(bad: float) -> None:
    rig = Rig()
    look = learnt(rig, 60.0)
    for column in range(len(rig.values())):
        rig.run(look, 3.0, changes={column: bad})
    assert all(math.isfinite(one.weight) for one in look.present.values())
    rig.run(look, 60.0)
    assert look.present == {}


def test_no_frame_another_layout_and_a_clock_that_jumps_are_borne() -> None:
    rig = Rig()
    look = learnt(rig, 60.0)
    for shift in (-86_400.0, 0.0, 86_400.0):
        seen = Seen(time=rig.time + shift, frame=rig.frame(), statuses={}, idle=frozenset(), outcome=Outcome.OK)
        look.round(seen)
    look.round(Seen(time=rig.time, frame=None, statuses={}, idle=frozenset(), outcome=Outcome.TIMED_OUT))
    rig.run(look, 60.0)
    assert look.present == {}


def test_what_could_be_seen_is_said() -> None:
    rig = Rig()
    look = AirLook(rig.name)
    assert look.visible == {}
    look.inventory(rig.inventory(), rig.time)
    assert look.visible["s1:/Blade0"] == {Sign.SHORT_OF_AIR, Sign.WARM_AIR}
    assert look.visible["s1:/Blade0/Cpu"] == {Sign.HOT}


def test_neighbours_tell_a_warm_room_from_a_warm_sled() -> None:
    peers = Peers()
    rigs = [Rig(name=f"s{number}", seed=number) for number in range(4)]
    looks = [AirLook(rig.name, peers) for rig in rigs]
    for rig, look in zip(rigs, looks, strict=True):
        look.inventory(rig.inventory(), rig.time)
    for minute in range(150):
        for number, (rig, look) in enumerate(zip(rigs, looks, strict=True)):
            rig.room = 22.0 + 4.0 * (minute >= 60) + 4.0 * (number == 2 and minute >= 100)
            rig.run(look, 1.0)
        if 70 <= minute < 100:
            assert all(look.present == {} for look in looks), minute
    assert [bool(look.present) for look in looks] == [False, False, True, False]


def test_watts_left_follow_from_what_was_learnt_or_are_not_said() -> None:
    rig = Rig()
    look = AirLook(rig.name)
    look.inventory(rig.inventory(), rig.time)
    cpu = 3
    assert look.per_watt(cpu) is None
    rig.run(look, 5.0)
    assert look.per_watt(cpu) is None
    rig.run(look, 600.0)
    told = look.per_watt(cpu)
    assert told is not None
    turn = rig.turn
    truth = 0.16 * turn**-0.3 + 0.5 / (1.2 * 1005.0 * 0.024 * turn)
    assert told[0] == pytest.approx(truth, rel=0.25)
