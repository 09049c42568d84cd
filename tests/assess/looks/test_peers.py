"""Peers are compared under like load only: a part's constant heat stands out where there is little other."""

from __future__ import annotations

import pytest

from collector.assess.looks.peers import PeersLook
from collector.model import Sign
from tests.assess.fleet import NAME, NAN
from tests.assess.looks.seeing import blades, seen, signs

BUSY, IDLE = 300.0, 120.0
"""W: rises of what the load heats are as far apart."""
CONSTANT = 20.0
"""K that the memory warms itself, whatever the load."""


def told(powers: list[float], more: dict[int, float] | None = None, memory: float = CONSTANT) -> list[float]:
    """Readings of blades under these loads; ``more``: K by which a blade's memory is hotter than is well."""
    values = []
    for number, power in enumerate(powers):
        warm = 23.0 + memory + (more or {}).get(number, 0.0)
        values += [23.0, power, 23.0 + 0.2 * power, warm, 23.0 + 0.12 * power]
    return values


def after(powers: list[float], more: dict[int, float] | None = None, *, metered: bool = True) -> PeersLook:
    """``metered``: the blades' power is told."""
    look = PeersLook(NAME)
    look.inventory(blades(len(powers)), 0.0)
    for turn in range(30):
        values = told(powers, more)
        if not metered:
            values[1::5] = [NAN] * len(powers)
        look.round(seen(60.0 * turn, values))
    return look


@pytest.mark.parametrize("metered", [True, False])
def test_a_blade_that_does_little_is_not_compared_with_busy_ones(metered: bool) -> None:
    look = after([IDLE, *[BUSY] * 6], metered=metered)
    assert not look.present, "its memory's rise is as much of the others' as theirs is"


def test_blades_under_like_load_are_compared_whatever_that_load_is() -> None:
    for power in (IDLE, BUSY):
        look = after([power * (0.96 + 0.02 * number) for number in range(6)], more={0: 25.0})
        assert signs(look) == {("blade0", Sign.HOT)}, power
        (only,) = look.present.values()
        assert only.sensor == "blade0 memory"
    assert signs(after([BUSY] * 6, more={0: 25.0}, metered=False)) == {("blade0", Sign.HOT)}


def test_an_idle_blade_is_compared_with_the_idle_ones_among_busy_ones() -> None:
    look = after([*[IDLE] * 5, *[BUSY] * 5], more={0: 25.0})
    assert signs(look) == {("blade0", Sign.HOT)}
    (only,) = look.present.values()
    assert "4 peers under like load" in only.text


@pytest.mark.parametrize("memory", [20.0, 40.0])
def test_a_blade_whose_load_changes_is_soon_compared_with_its_new_likes(memory: float) -> None:
    """What its figure was under the other load must not make it look hot meanwhile."""
    look = PeersLook(NAME)
    look.inventory(blades(12), 0.0)
    for turn in range(90):
        first = 60.0 if turn < 30 else 500.0
        look.round(seen(60.0 * turn, told([first, *[500.0] * 11], memory=memory)))
        assert not look.present, turn
    for turn in range(90, 100):
        look.round(seen(60.0 * turn, told([500.0] * 12, {0: 60.0}, memory)))
    assert signs(look) == {("blade0", Sign.HOT)}


def test_what_a_load_warms_later_is_not_judged_by_the_load_alone() -> None:
    """Of a blade that takes up a full load: its processor follows at once, its memory in a quarter of an hour."""
    look = PeersLook(NAME)
    look.inventory(blades(12), 0.0)
    for turn in range(60):
        values = told([IDLE if turn < 30 else BUSY, *[BUSY] * 11])
        if 30 <= turn < 38:
            values[2] += 20.0  # the heat that the others' likes have yet to follow
        look.round(seen(60.0 * turn, values))
        assert not look.present, turn


def test_what_its_own_law_explains_hardly_counts_unless_it_was_so_from_the_first() -> None:
    known: dict[int, bool] = {}
    late, always = PeersLook(NAME, explained=known.get), PeersLook(NAME, explained=known.get)
    for look in (late, always):
        look.inventory(blades(12), 0.0)
    for turn in range(60):
        if turn == 30:
            known.update(dict.fromkeys(range(60), True))  # by now, laws are learnt
        late.round(seen(60.0 * turn, told([BUSY] * 12, {0: 40.0 if turn >= 40 else 0.0})))
        always.round(seen(60.0 * turn, told([BUSY] * 12, {0: 40.0})))
    assert [observation.weight for observation in late.present.values()] == [0.25]
    assert [observation.weight for observation in always.present.values()] == [0.9]
    again = PeersLook(NAME, explained=known.get)
    again.inventory(blades(12), 0.0)
    again.recall(always.learnt(), 0.0, 0.0)
    for turn in range(60):
        again.round(seen(60.0 * turn, told([BUSY] * 12, {0: 40.0})))
    assert [observation.weight for observation in again.present.values()] == [0.9], "a restart makes it no news"
    assert late.learnt().words == {"odd": ()}
    known.update(dict.fromkeys(range(60), False))
    late.round(seen(60.0 * 60, told([BUSY] * 12, {0: 40.0})))
    assert [observation.weight for observation in late.present.values()] == [0.9], "once its own law says so too"
    for turn in range(61, 80):
        late.round(seen(60.0 * turn, told([BUSY] * 12)))
    assert not late.present
    known.clear()  # and what the law does not explain any more counts in full
    for turn in range(80, 90):
        late.round(seen(60.0 * turn, told([BUSY] * 12, {0: 40.0})))
    assert [observation.weight for observation in late.present.values()] == [0.9]
