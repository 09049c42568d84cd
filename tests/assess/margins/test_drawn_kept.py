"""What was drawn outlasts a restart: peaks, percentiles and energy of parts and of racks."""

from __future__ import annotations

import math

import pytest

from collector.assess.looks.memory import Damaged
from collector.assess.margins.drawn import read, spelt_out
from collector.assess.margins.energy import Trapezium
from collector.assess.margins.racks import Racks
from collector.assess.margins.sketch import Sketch
from collector.assess.margins.spell import HALF, Spell
from collector.model import Figure, FigureKind, Location
from tests.assess.margins.rig import Rig
from tests.assess.test_memory import Run

RACK = Location(site="Q", row="A", rack="R01")
KINDS = {FigureKind.PEAK_POWER, FigureKind.HIGH_POWER, FigureKind.ENERGY}


def power(time: float) -> float:
    return 900.0 + 250.0 * math.sin(time / 3000.0) + 40.0 * math.sin(time / 170.0)


def drawn_over(spell: Spell, start: int, end: int) -> Spell:
    for minute in range(start, end):
        spell.add(60.0 * minute, power(60.0 * minute))
    return spell


def last_told(run: Run) -> dict[tuple[str, FigureKind], Figure]:
    told = {(each.part, each.kind): each for one in run.told for each in one.figures}
    return {key: each for key, each in told.items() if key[1] in KINDS}


@pytest.mark.parametrize("minutes", [5, 300, 720, 900, 1500])
def test_a_spell_that_is_taken_up_goes_on_as_if_nothing_had_been(minutes: int) -> None:
    through = drawn_over(Spell(), 0, 2000)
    before, after = drawn_over(Spell(), 0, minutes), Spell()
    after.recall(before.kept, before.last)
    assert after.drawn == before.drawn
    assert drawn_over(after, minutes, 2000).drawn == through.drawn


def test_what_is_older_than_a_day_counts_no_more() -> None:
    before, after = drawn_over(Spell(), 0, 300), Spell()
    after.recall(before.kept, before.last)
    late = 2.0 * HALF + 60.0 * 400
    after.add(late, 10.0)
    after.add(late + 60.0, 20.0)
    assert after.drawn is not None
    assert (after.drawn.since, after.drawn.peak) == (late, 20.0)


def test_a_ward_tells_what_was_drawn_over_a_restart() -> None:
    kept, anew, through = Run(Rig()), Run(Rig()), Run(Rig())
    for run in (kept, anew, through):
        run.rig.power = lambda blade, time: 200.0 + 20.0 * blade
        run.minutes(60)
        run.rig.power = lambda blade, time: 400.0
        run.minutes(10)
        run.rig.power = lambda blade, time: 200.0
        run.minutes(5)
    kept.start(kept.remember())
    anew.start(None)
    for run in (kept, anew, through):
        run.minutes(30)
    figures, others, whole = last_told(kept), last_told(anew), last_told(through)
    assert figures.keys() == whole.keys() == others.keys()
    peaks = {part for part, kind in figures if kind is FigureKind.PEAK_POWER}
    assert len(peaks) == 6, "four blades, their sled and its rack"
    for key, figure in figures.items():
        assert figure.value == pytest.approx(whole[key].value, rel=0.06), key
        assert figure.value > 1.5 * others[key].value, key


def test_of_a_rack_whoever_knows_it_longest_is_believed() -> None:
    racks = Racks()
    long, short = drawn_over(Spell(), 0, 200), drawn_over(Spell(), 100, 200)
    racks.tell("c1", RACK, 60.0 * 201, 700.0)
    racks.recall(RACK, short)
    assert racks.spell(RACK) is short
    racks.recall(RACK, long)
    assert racks.spell(RACK) is long
    racks.recall(RACK, short)
    assert racks.spell(RACK) is long
    racks.recall(RACK, Spell())
    assert racks.spell(RACK) is long
    assert racks.spell(Location(site="Q", row="A", rack="R02")) is None


def test_it_is_kept_in_few_bytes_and_read_as_it_was() -> None:
    spells = {"c1:/Sled": drawn_over(Spell(), 0, 1500), "c1:/a|b": drawn_over(Spell(), 0, 20)}
    again = read(spelt_out(spells))
    assert again.keys() == spells.keys()
    assert [spell.drawn for spell in again.values()] == [spell.drawn for spell in spells.values()]
    assert sum(8 * len(kept) for kept in spelt_out(spells).values()) < 2000


@pytest.mark.parametrize(
    "figures",
    [
        {"0|x": (1.0,)},  # when it came last is missing
        {"last|x": (5.0, 6.0)},
        {"last|x": (5.0,), "0|x": (1.0,), "2|x": ()},
        {"last|x": (5.0,), "0|x": (1.0, 2.0), "1|x": (), "2|x": ()},
        {"last|x": (5.0,), "0|x": (), "1|x": (), "2|x": ()},
        {"last|x": (5.0,), "0|x": (1.0,), "1|x": (1.0, 2.0), "2|x": ()},
        {"last|x": (5.0,), "0|x": (1.0,), "1|x": (math.nan, 1.0, 1.0, 1.0), "2|x": ()},
        {"last|x": (5.0,), "0|x": (1.0,), "1|x": (), "2|x": (1.0,)},
        {"last|x": (5.0,), "0|x": (1.0,), "1|x": (), "2|x": (9.0, 1.0, 3.0)},
        {"last|x": (5.0,), "0|x": (1.0,), "1|x": (), "2|x": (9.0, 1.0, 3.0, -1.0)},
        {"last|x": (5.0,), **{f"{place}|x": (1.0,) if place % 3 == 0 else () for place in range(9)}},
    ],
)
def test_what_can_not_be_so_is_refused(figures: dict[str, tuple[float, ...]]) -> None:
    with pytest.raises(Damaged, match="what x drew"):
        read(figures)


def test_empty_ones_have_nothing_to_keep() -> None:
    for empty in (Sketch(), Trapezium()):
        assert empty.kept == ()
        empty.recall(())
        assert empty.kept == ()
    assert Spell().kept == ()
