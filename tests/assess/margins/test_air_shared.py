"""The look at air where blades share it, where several sensors say the same, and where fans are slower than ever."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass

import pytest
from msgspec import structs

from collector.assess.looking import Seen
from collector.assess.looks.air import SPARSE, AirLook
from collector.model import Frame, Inventory, Kind, Layout, Outcome, Sign, SignKey
from tests.assess.margins.rig import BLADES, Rig

ADAPTER = ("Adapter", Sign.HOT)
OUTLET, CPU = 11, 13
"""Columns of the third blade."""


@dataclass
class Shared(Rig):
    """A rig with an adapter in the air behind the blades, which warms itself."""

    own: float = 12.0
    """K by which the adapter warms itself at full fan speed: the slower the fans, the more."""
    by_off: float = 0.0
    """K by which it is warmer for each blade that is off."""
    extra: float = 0.0
    """K by which it is warmer than is well."""

    def values(self) -> list[float]:
        told = super().values()
        off = BLADES - sum(self.on)
        told.append(round(self.room + 8.0 + self.own / self.turn + off * self.by_off + self.extra))
        return told

    def inventory(self) -> Inventory:
        bare = super().inventory()
        id_ = f"{self.name}:/Adapter"
        adapter = structs.replace(
            bare.parts[2], id=id_, kind=Kind.NETWORK_ADAPTER, name="Adapter", parent=bare.parts[0].id
        )
        sensor = structs.replace(bare.layout.sensors[3], part=id_, kind=adapter.kind, source=id_, context=None)
        layout = Layout(self.name, (*bare.layout.sensors, sensor))
        return structs.replace(bare, parts=(*bare.parts, adapter), layout=layout, frame=self.frame())

    def rounds(
        self, look: AirLook, count: int, every: float = 60.0, changes: Mapping[int, float] | None = None
    ) -> set[tuple[str, Sign]]:
        """All that was seen in so many rounds; ``changes``: K more, by column."""
        seen: set[SignKey] = set()
        for _ in range(count):
            self.step(every)
            values = self.values()
            for column, more in (changes or {}).items():
                values[column] += more
            off = [blade for blade in range(BLADES) if not self.on[blade]]
            idle = frozenset(f"{self.name}:/Blade{blade}{inner}" for blade in off for inner in ("", "/Cpu"))
            frame = Frame(self.time, array("d", values), bytes(len(values)))
            look.round(Seen(time=self.time, frame=frame, statuses={}, idle=idle, outcome=Outcome.OK))
            seen |= set(look.present)
        return {(part.partition(":/")[2], sign) for part, sign, _ in seen}


def learnt(rig: Shared, rounds: int = 120, every: float = 60.0) -> AirLook:
    look = AirLook(rig.name)
    look.inventory(rig.inventory(), rig.time)
    assert rig.rounds(look, rounds, every) == set()
    return look


# Several sensors of one air


def test_two_sensors_of_one_air_beyond_doubt_show_in_their_first_round_and_one_does_not() -> None:
    rig = Shared()
    look = learnt(rig)
    assert rig.rounds(look, 1, changes={OUTLET: 25.0}) == set()
    rig.rounds(look, 10)
    assert rig.rounds(look, 1, changes={CPU: 40.0}) == set()
    rig.rounds(look, 10)
    # two sensors, but not of one air
    assert rig.rounds(look, 1, changes={OUTLET: 25.0, CPU - 5: 40.0}) == set()
    rig.rounds(look, 10)
    both = {("Blade2", Sign.SHORT_OF_AIR), ("Blade2/Cpu", Sign.HOT)}
    assert rig.rounds(look, 1, changes={OUTLET: 25.0, CPU: 40.0}) == both


@pytest.mark.parametrize(("every", "at_once"), [(SPARSE, True), (SPARSE + 30.0, False)])
def test_between_sparse_rounds_a_load_may_have_gone_that_warmed_them_all(every: float, at_once: bool) -> None:
    rig = Shared()
    look = learnt(rig)
    both = {("Blade2", Sign.SHORT_OF_AIR), ("Blade2/Cpu", Sign.HOT)}
    assert rig.rounds(look, 1, every, {OUTLET: 40.0, CPU: 60.0}) == (both if at_once else set())
    assert rig.rounds(look, 1, every, {OUTLET: 40.0, CPU: 60.0}) == both, "twice is no chance"


# What blades share


def test_what_blades_share_is_not_judged_while_others_are_off_than_when_it_was_learnt() -> None:
    rig = Shared(by_off=20.0)
    look = learnt(rig)
    rig.extra = 20.0
    assert ADAPTER in rig.rounds(look, 8)
    rig.extra = 0.0
    rig.rounds(look, 8)
    assert look.present == {}
    rig.on[1] = False
    assert rig.rounds(look, 60) == set(), "it is warmer because a blade is off"
    rig.sink[2] = 1.5
    assert rig.rounds(look, 10) == {("Blade2/Cpu", Sign.HOT)}, "a blade's own air is its own"
    rig.sink[2] = 1.0
    rig.on[1] = True
    rig.rounds(look, 30)
    assert look.present == {}
    rig.extra = 20.0
    assert ADAPTER in rig.rounds(look, 8), "as it was learnt, so it is judged again"


def test_another_set_of_blades_that_stays_off_is_learnt_anew_after_as_long_as_the_one_before() -> None:
    rig = Shared(by_off=20.0)
    look = learnt(rig, 100)
    rig.on[1] = False
    assert rig.rounds(look, 90) == set()
    rig.extra = 20.0
    assert rig.rounds(look, 5) == set(), "not yet"
    rig.extra = 0.0
    assert rig.rounds(look, 60) == set(), "learnt anew, at what is usual now"
    rig.extra = 30.0
    assert rig.rounds(look, 8) == {ADAPTER}


def test_what_showed_before_a_blade_went_off_stays_shown_while_nothing_can_be_said() -> None:
    rig = Shared()
    look = learnt(rig)
    rig.extra = 20.0
    assert rig.rounds(look, 8) == {ADAPTER}
    rig.on[1] = False
    rig.rounds(look, 30)
    assert {key[0] for key in look.present} == {"s1:/Adapter"}


def test_whose_heat_comes_by_is_not_in_the_law_of_what_blades_share() -> None:
    rig = Shared()
    look = learnt(rig)
    rig.extra = 8.0
    assert rig.rounds(look, 30) == set(), "a quarter more: of a blade's own part it would be said"
    rig.extra = 20.0
    assert rig.rounds(look, 8) == {ADAPTER}


# Slower fans than ever


def test_fans_slower_than_ever_warm_what_warms_itself_and_that_is_no_fault() -> None:
    rig = Shared(speed=lambda mean: 0.7, own=20.0, power=lambda blade, time: 200.0)
    look = learnt(rig, 240)
    rig.speed = lambda mean: 0.42
    assert rig.rounds(look, 60) == set()
    assert rig.values()[-1] > 22.0 + 8.0 + 20.0 / 0.7 + 15.0, "it is warmer by much"


def test_at_a_speed_that_was_learnt_the_same_warmth_is_a_fault() -> None:
    rig = Shared(speed=lambda mean: 0.7, own=20.0, power=lambda blade, time: 200.0)
    look = learnt(rig, 240)
    rig.extra = 19.0
    assert rig.rounds(look, 8) == {ADAPTER}
