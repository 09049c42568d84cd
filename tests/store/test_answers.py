"""Troubles, work orders and margins: kept, changed, closed, found, merged and forgotten."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from msgspec import structs

from collector.model import (
    Defect,
    DefectKind,
    Figure,
    FigureKind,
    Health,
    Kind,
    Location,
    Margin,
    MarginKind,
    Suspect,
    Trouble,
    Update,
    Urgency,
    WorkOrder,
)
from collector.store.live import LiveController
from collector.store.merge import merged
from collector.store.reader import Reader
from tests.store.invented import NOON, Clock, assessed, inventory, writer

DAY = 86400.0
STRANGE = "<b>Fan\u202e 1</b>"


def trouble(name: str = "t1", **more: Any) -> Trouble:
    suspect = Suspect(part="c1:fan1", controller="c1", kind=Kind.FAN, name=STRANGE, fault="seized", probability=0.97)
    given: dict[str, Any] = {"opened": NOON, "changed": NOON, "severity": Health.WARNING, "suspects": (suspect,)}
    return Trouble(id=name, **{**given, **more})


def order(name: str = "o1", **more: Any) -> WorkOrder:
    given: dict[str, Any] = {
        "trouble": "t1",
        "part": "c1:fan1",
        "controller": "c1",
        "kind": Kind.FAN,
        "name": STRANGE,
        "location": Location(rack="R02"),
        "opened": NOON,
        "changed": NOON,
        "urgency": Urgency.TODAY,
        "task": "replace fan 1",
        "reason": "it stands still",
        "bundle": "R02",
    }
    return WorkOrder(id=name, **{**given, **more})


def margin(part: str = "c1:cpu", controller: str | None = "c1", left: float = 8.0, **more: Any) -> Margin:
    return Margin(
        controller=controller,
        part=part,
        kind=MarginKind.HEAT,
        time=NOON,
        value=90 - left,
        limit=90.0,
        left=left,
        unit="Cel",
        **more,
    )


def figure(part: str = "c1:sled", controller: str | None = "c1", value: float = 13.0, **more: Any) -> Figure:
    return Figure(controller=controller, part=part, kind=FigureKind.AIR_RISE, time=NOON, value=value, unit="K", **more)


async def test_figures_are_kept_by_part_and_kind_the_newest_word_on_each(tmp_path: Path) -> None:
    rack, other = figure("Quellmark / A / R02", None), figure("c2:sled", "c2")
    first, twin = figure(of="feed"), figure(of="blades", low=12.0, high=14.0, basis=STRANGE)
    newer = figure(value=15.0, of="feed")
    both = merged(assessed("c1", figures=(first, twin)), assessed("c1", figures=(newer,)))
    assert both.assessment is not None
    assert set(both.assessment.figures) == {newer, twin}
    assert not both.assessment.empty
    async with writer(tmp_path, "c1", "c2") as opened:
        await opened.put(assessed("c1", figures=(first, twin, rack, other, figure("gone:sled", "gone"))))
        await opened.put(assessed("c1", figures=(newer,)))
    with Reader(tmp_path) as reader:
        assert reader.answers.figures() == [rack, twin, newer, other]
        assert reader.answers.figures("c1") == [twin, newer]
        assert reader.answers.figures_of_places() == [rack]


async def test_a_figure_that_is_known_no_more_is_forgotten(tmp_path: Path) -> None:
    late, soon, other = (
        Figure(controller=of, part=f"{of}:drive{at}", kind=FigureKind.LIFE_ENDS, time=NOON, value=at * DAY, unit="s")
        for of, at in (("c1", 30.0), ("c2", 9.0), ("c1", 12.0))
    )
    gone = structs.replace(other, gone=True)
    live = LiveController(name="c1", url="https://127.0.0.1", location=Location(), insecure=False)
    live.apply(assessed("c1", figures=(late, other)))
    assert set(live.figures.values()) == {late, other}
    live.apply(assessed("c1", figures=(gone,)))
    assert set(live.figures.values()) == {late}
    async with writer(tmp_path, "c1", "c2") as opened:
        await opened.put(assessed("c1", figures=(late, other, figure())))
        await opened.put(assessed("c2", figures=(soon,)))
    with Reader(tmp_path) as reader:
        assert reader.answers.figures_of_kind(FigureKind.LIFE_ENDS) == [soon, other, late]
        assert reader.answers.figures_of_kind(FigureKind.LIFE_ENDS, 1) == [soon]
    async with writer(tmp_path, "c1", "c2") as opened:
        await opened.put(assessed("c1", figures=(gone,)))
    with Reader(tmp_path) as reader:
        assert reader.answers.figures_of_kind(FigureKind.LIFE_ENDS) == [soon, late]
        assert figure() in reader.answers.figures()


async def test_answers_come_back_worst_first_and_closed_ones_only_when_asked_for(tmp_path: Path) -> None:
    bad, ended = trouble("t2", severity=Health.CRITICAL), trouble("t3", closed=NOON + 9)
    done = order("o2", closed=NOON + 9)
    async with writer(tmp_path, "c1") as opened:
        await opened.put(assessed("c1", troubles=(trouble(), bad, ended), orders=(order(), done)))
    with Reader(tmp_path) as reader:
        assert reader.answers.troubles() == [bad, trouble()]
        assert {each.id for each in reader.answers.troubles(open_only=False)} == {"t1", "t2", "t3"}
        assert reader.answers.orders() == [order()]
        assert reader.answers.orders(open_only=False) == [order(), done]
        assert reader.answers.troubles(limit=1) == [bad]


async def test_the_newest_word_replaces_the_older_also_in_one_merged_update(tmp_path: Path) -> None:
    later = trouble(changed=NOON + 30, severity=Health.CRITICAL)
    both = merged(assessed("c1", troubles=(trouble(),), margins=(margin(),)), assessed("c1", troubles=(later,)))
    assert both.assessment is not None
    assert both.assessment.troubles == (later,)
    async with writer(tmp_path, "c1") as opened:
        await opened.put(assessed("c1", troubles=(trouble(),), margins=(margin(left=3.0),)))
        await opened.put(both)
    with Reader(tmp_path) as reader:
        assert reader.answers.troubles() == [later]
        assert reader.answers.margins() == [margin()]


async def test_margins_least_first_and_by_controller(tmp_path: Path) -> None:
    place = margin("Quellmark / A / R02", None, 1.0)
    other, mine = margin("c2:cpu", "c2", 2.0), margin(left=5.0, sensor="die")
    async with writer(tmp_path, "c1", "c2") as opened:
        await opened.put(assessed("c1", margins=(mine, place, other, margin("gone:cpu", "gone"))))
    with Reader(tmp_path) as reader:
        assert reader.answers.margins() == [place, other, mine]
        assert reader.answers.margins("c1") == [mine]


async def test_what_closed_long_ago_is_forgotten_and_what_is_open_is_not(tmp_path: Path) -> None:
    old = trouble("old", closed=NOON + 1)
    clock = Clock(NOON)
    async with writer(tmp_path, "c1", now=clock) as opened:
        await opened.put(assessed("c1", troubles=(old, trouble()), orders=(order("x", closed=NOON + 1), order())))
        clock.time = NOON + 400 * DAY
        await opened.seal()
    with Reader(tmp_path) as reader:
        assert reader.answers.troubles(open_only=False) == [trouble()]
        assert reader.answers.orders(open_only=False) == [order()]


async def test_of_a_part_the_sensor_that_is_nearest_to_its_limit_counts(tmp_path: Path) -> None:
    nearer = margin(left=2.0, sensor="core 7")
    async with writer(tmp_path, "c1") as opened:
        await opened.put(assessed("c1", margins=(margin(sensor="core 1"), margin("c1:drive", sensor="core 1"))))
        await opened.put(assessed("c1", margins=(nearer,)))
    with Reader(tmp_path) as reader:
        assert reader.answers.margins() == [nearer, margin("c1:drive", sensor="core 1")]


async def test_what_assessing_finds_wrong_stands_among_the_defects_until_the_next_walk(tmp_path: Path) -> None:
    told = Defect(controller="c1", resource="/e", property="", kind=DefectKind.CONTRADICTION, detail="two serials")
    other = Defect(controller="c1", resource="/f", property="", kind=DefectKind.LINK_LOOP, detail="a circle")
    assessment = assessed("c1", defects=(told,)).assessment
    assert assessment is not None
    assert not assessment.empty
    walk = Update(controller="c1", inventory=inventory("c1", NOON), assessment=assessment)
    both = merged(walk, assessed("c1", defects=(other,)))
    live = LiveController("c1", "https://192.0.2.1", Location(), False)
    live.apply(walk)
    assert list(live.defects.values()) == [told]
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk)
        await opened.put(both)
    with Reader(tmp_path) as reader:
        assert reader.defects("c1") == [told, other]
        assert reader.controllers()[0].defects == 2
    later = Update(controller="c1", inventory=inventory("c1", NOON + 900.0))
    gone = merged(both, later)
    assert gone.assessment is not None
    assert gone.assessment.defects == ()
    async with writer(tmp_path, "c1") as opened:
        await opened.put(later)
    with Reader(tmp_path) as reader:
        assert reader.defects("c1") == []
