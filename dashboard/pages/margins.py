"""Margins, addressed as ``?page=margins``: what is left, least first; ``kind`` says of what, ``rack`` where."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence
from pathlib import Path

import streamlit as st

from collector.model import History, Margin, MarginKind
from collector.model.places import Front
from dashboard.drawings.headroom import scale
from dashboard.drawings.ink import Ink
from dashboard.mount import show
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.margins import LOSSES, MOST, energy, filters, losses, racks, shelves, trends
from dashboard.panels.worked import drew, ending
from dashboard.queries import Source
from dashboard.spare import HOUR, MOST_ENDINGS, Spare
from dashboard.viewer import preferences
from dashboard.views.headroom import (
    Loss,
    Strip,
    bounds_of,
    by_enclosure,
    by_rack,
    fan_words,
    left_words,
    power_words,
    rack_text,
    shown_left,
    unit_of,
    worst,
)
from dashboard.views.places import named, tail_of
from dashboard.views.trend import trend
from dashboard.views.units import Units
from dashboard.views.worked import endings, racks_drew

TITLE = "Margins"
_SPAN = 6 * HOUR
"""Seconds of history behind a trend."""
_TRENDS = 6
_LOOKED = 8
"""Sleds of the fleet whose losses are worked out."""
_IN_RACK = 48
"""Sleds of one rack whose losses and energy are worked out."""


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    refreshing(TITLE, lambda: _show(source(state), state))


def _show(store: Source, state: Path) -> None:
    spare, units, moment = store.spare, preferences().units, now()
    asked, rack = st.query_params.get("kind"), st.query_params.get("rack")
    kind = next((each for each in MarginKind if each.value == asked), MarginKind.HEAT)
    least = spare.least(kind)
    strips = by_rack(least, units)
    place = next(((e.site, e.row, e.rack) for e in least if rack_text(e.site, e.row, e.rack) == rack), None)
    show(
        "top",
        head(TITLE, back=True),
        not_running(store.collector(), moment, state),
        filters(spare.numbers(), kind, rack),
    )
    if rack:
        _one_rack(spare, kind, place, units)
    else:
        _every_rack(spare, kind, strips, [each.controller for each in least], units)
    show("foot", foot(moment, zone()), beat=moment)


def _every_rack(
    spare: Spare, kind: MarginKind, strips: Sequence[Strip], controllers: Sequence[str], units: Units
) -> None:
    names = _names(spare, [each.least for each in strips[:MOST]])
    of = scale([left for each in strips[:MOST] for left in each.lefts], unit_of(kind, units)) if strips else None
    show("racks", racks(strips, spare.places(), kind, of, names, units))
    show("drew", drew(racks_drew(spare.racks_drew())))
    show("endings", _endings(spare))
    looked = controllers[:_LOOKED]
    show("losses", losses(_losses(spare, looked, {}, units), len(looked), len(controllers)))
    show("trends", trends(_trends(spare, [each.least for each in strips[:_TRENDS]], units), _SPAN))


def _one_rack(spare: Spare, kind: MarginKind, place: tuple[str, str, str] | None, units: Units) -> None:
    found = spare.rack(kind, *place) if place is not None else ()
    groups = by_enclosure(found, units)
    lines = [line for group in groups for line in group.sleds]
    names = _names(spare, [line.least for line in lines])
    show("racks", shelves(groups, kind, names, units))
    if place is None:
        return
    show("drew", drew(racks_drew(spare.racks_drew(), rack_text(*place))))
    fronts = spare.fronts(*place, _IN_RACK)
    show("losses", losses(_losses(spare, list(fronts), fronts, units), len(fronts), len(fronts)))
    ranked = sorted((line.least for line in lines), key=lambda each: each.left)
    show("trends", trends(_trends(spare, ranked[:_TRENDS], units), _SPAN))
    drawn = sorted(spare.energy(list(fronts)), key=lambda each: (-each.joules, each.controller))
    show("energy", energy(drawn, HOUR))


def _endings(spare: Spare) -> Ink | None:
    found = spare.endings()
    return ending(endings(found, spare.parts([each.part for each in found])), MOST_ENDINGS)


def _names(spare: Spare, margins: Iterable[Margin]) -> dict[str, str]:
    ids = [each.part for each in margins]
    parts = spare.parts(ids)
    return {each: named(parts[each]) if each in parts else tail_of(each) for each in ids}


def _losses(spare: Spare, controllers: Sequence[str], fronts: dict[str, Front], units: Units) -> tuple[Loss, ...]:
    blades = sum(len(front.slots) for front in fronts.values())
    told: list[Loss] = []
    for each in spare.losses(controllers):
        told += [fan_words(each.controller, loss, each.parts, units) for loss in each.fans[:1]]
        # Of supplies that are alike one stands for all: the worst of each kind is told.
        kinds = {loss.kind: loss for loss in reversed(each.power)}
        told += [power_words(each.controller, loss, each.parts, blades) for loss in kinds.values()]
    return worst(told, LOSSES)


def _trends(spare: Spare, margins: Iterable[Margin], units: Units) -> list[tuple[str, str, str, str]]:
    told = []
    for margin in margins:
        found = spare.history(margin, _SPAN)
        if found is None or margin.controller is None:
            continue
        sensor, history = found
        unit = units.word(sensor.unit)
        goes = trend(_in(history, sensor.unit, units), bounds_of(margin, sensor, units), unit)
        left = left_words(shown_left(margin, units), unit_of(margin.kind, units))
        told.append((margin.controller, f"{sensor.sensor}, {left}", goes.says, goes.forecast))
    return told


def _in(history: History, unit: str, units: Units) -> History:
    return History(times=history.times, values=array("d", (units.value(value, unit) for value in history.values)))
