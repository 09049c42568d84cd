"""One sled, addressed as ``?sled=<controller>``; ``place`` names the part in hand, ``sensor`` its opened reading,
``span`` how far back to look, ``layer`` the layer of blades that is cut open."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import streamlit as st

from collector.model import Health, History, Seconds
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.plan import Plan
from dashboard.drawings.things import Front, Sled, Standing
from dashboard.mount import show
from dashboard.pages import acting
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels import answers
from dashboard.panels import readings as readings_panel
from dashboard.panels.frame import foot, head, not_running, notice
from dashboard.panels.glance import figures, lamps_block, verdict_block
from dashboard.panels.part import Past, no_part, part_head, part_panel
from dashboard.panels.sled import conditions, contact, defects, lately, name_plates, shared
from dashboard.panels.worked import worked_block
from dashboard.queries import SledFacts
from dashboard.viewer import preferences
from dashboard.views.answers import Accused, Left, accusations, lefts
from dashboard.views.cutaway import cutaway, layer_of
from dashboard.views.floor import standing, unheard
from dashboard.views.part import chosen, in_hand
from dashboard.views.places import Places, label
from dashboard.views.readings import ReadingLine, sections
from dashboard.views.sled import front_of, lamp_lines, shared_parts
from dashboard.views.sled import name_plates as plates_of
from dashboard.views.trend import trend
from dashboard.views.verdict import Verdict, verdicts
from dashboard.views.wearing import is_life, is_wear, wear_words
from dashboard.views.worked import worked

TITLE = "Sled"
_MOST_SLEDS = 60
"""Sleds offered where none is named."""
_LIFE, _ERRORS = (30 * 86_400.0, 86_400.0, 7200.0), (86_400.0,)
"""Seconds of samples behind what is said of a drive's life, the newest more closely, and of errors."""
_NONE = "none"
"""In the address: no sensor's history is unfolded."""


def page(state: Path, name: str) -> None:
    """Draw the page of the controller called ``name``, and again every few seconds."""
    tidy()
    refreshing(TITLE, lambda: _look(state, name))


def _look(state: Path, name: str) -> None:
    facts = source(state).sled(name) if name else None
    if facts is None:
        _choose(*source(state).glance.sleds(_MOST_SLEDS), name)
    else:
        _show(facts, state)


def _choose(sleds: Sequence[Sled], number: int, asked: str) -> None:
    """No sled, or none of that name: say so and offer those that there are."""
    problem = notice(
        Health.UNKNOWN,
        join("No controller is called ", tag("code", asked), "."),
        "It may have been renamed in the fleet file, or taken out of it.",
        name="unknown-sled",
    )
    moment = now()
    words = problem if asked else None
    show("choose", head(TITLE, back=True), words, _choices(sleds, number), foot(moment, zone()), beat=moment)


def _choices(sleds: Sequence[Sled], number: int) -> Ink:
    """The worst of the sleds, and the way to all others."""
    if not sleds:
        return tag("p", "The fleet has no controller yet.", class_="nothing")
    items = [
        tag(
            "li",
            tag("a", sled.controller, href=sled_link(sled.controller)),
            " ",
            worded(sled.standing, sled.standing.health.word),
            tag("div", sled.place or "place not told", class_="small"),
        )
        for sled in sleds
    ]
    rest = number - len(sleds)
    more = tag("p", f"And {rest} more: ", tag("a", "find one on Rounds", href="./"), ".") if rest > 0 else None
    return tag("section", tag("h2", "Sleds there are"), tag("ul", *items, class_="chips"), more, data_block="choices")


def _show(facts: SledFacts, state: Path) -> None:
    moment, here, units = now(), zone(), preferences().units
    name, places = facts.state.controller, facts.places
    silent = bool(unheard(facts.state))
    part = places.front(name)
    whole = (
        Standing(note=unheard(facts.state)) if silent or part is None else standing(part.id, facts.rolled, places.parts)
    )
    front = front_of(name, places, facts.rolled, facts.statuses, facts.lamps, silent)
    place = places.controller_place(name).text
    title = label(part) if part is not None else name
    found = accusations(facts.troubles, name)
    told = verdicts(found, facts.orders, facts.conditions, places, name)
    leaning = shared_parts(name, places, facts.links, facts.rolled, facts.statuses, silent)
    show(
        "top",
        head(title, contact(facts.state, moment, here), back=True),
        tag("p", tag("b", place or "Place not told"), " ", worded(whole), data_whole=whole.health.word),
        not_running(facts.collector, moment, state),
        _unheard(facts),
        verdict_block(told, name, unheard(facts.state)),
        on_pick=_pick,
    )
    left = lefts(facts.margins, places, units)
    _in_hand(facts, front, told, found, left, state, silent)
    show(
        "rest",
        lamps_block(lamp_lines(name, front, places, facts.statuses, whole) if front is not None else (), name),
        answers.suspects(found, facts.orders, name, moment, here),
        conditions(facts.conditions, places, moment, here),
        answers.margins(left),
        worked_block(worked(facts.figures, places.parts, units), part.id if part is not None else None),
        shared(leaning, places.blades(name)),
        readings_panel.readings(sections(facts.readings, places, name, units), moment, here),
        lately(facts.events, places, moment, here),
        name_plates(plates_of(name, places)),
        defects(facts.defects),
        foot(moment, here),
        beat=moment,
        on_pick=_pick,
    )


def _in_hand(
    facts: SledFacts,
    front: Front | None,
    told: Sequence[Verdict],
    found: Sequence[Accused],
    left: Sequence[Left],
    state: Path,
    silent: bool,
) -> None:
    """The drawings beside the part in hand: the one that the address names, else the one in question."""
    moment, here = now(), zone()
    name, places = facts.state.controller, facts.places
    part, asked = chosen(st.query_params.get("place"), told, places, name)
    plan = cutaway(name, front, places, facts.rolled, facts.readings, silent, preferences().units)
    layer = 0 if plan is None else _layer(plan, part.id if part is not None else None, places)
    drawn = figures(front, plan, layer, name, part.id if part is not None else None)
    left_side, right_side = st.columns([3, 7], gap="medium")
    with left_side:
        show("drawings", drawn, on_pick=_pick)
    with right_side:
        if part is None:
            show("part", no_part(), on_pick=_pick)
            return
        stands = Standing() if silent else standing(part.id, facts.rolled, places.parts)
        held = in_hand(
            part,
            places,
            stands,
            facts.statuses,
            facts.lamps,
            facts.readings,
            facts.conditions,
            found,
            facts.orders,
            facts.events,
            left,
            preferences().units,
            facts.figures,
        )
        key = st.query_params.get("sensor")
        opened = held.line(key) if key != _NONE else None
        unfolded = _history(opened, state, moment, here) if opened is not None else None
        serial = part.identity.serial
        store = source(state)
        past = Past(store.stays_at(part.id), store.stays_of(serial) if serial else ())
        show("part-head", part_head(held, asked), on_pick=_pick)
        acting.on_part(state, facts, part)
        show("part", part_panel(held, places, opened, unfolded, past, moment, here), on_pick=_pick)


def _layer(plan: Plan, part: str | None, places: Places) -> int:
    asked = st.query_params.get("layer", "")
    return int(asked) if asked.isdecimal() and int(asked) < len(plan.layers) else layer_of(plan, part, places)


def _history(opened: ReadingLine, state: Path, moment: Seconds, here: ZoneInfo | None) -> Ink:
    span = st.query_params.get("span", readings_panel.DEFAULT_SPAN)
    span = span if span in readings_panel.SPANS else readings_panel.DEFAULT_SPAN
    since = moment - readings_panel.SPANS[span]
    told = source(state).history(opened.sensor, since, moment)
    units = preferences().units
    values = array("d", (units.value(value, opened.sensor.unit) for value in told.values))
    samples = History(times=told.times, values=values)
    goes = trend(samples, opened.lines, opened.unit)
    return readings_panel.history(opened, samples, span, since, moment, here, goes, _wear(opened, state))


def _wear(opened: ReadingLine, state: Path) -> str:
    """When its life is used up, or how fast errors come; "" for any other sensor."""
    if not is_wear(opened.sensor):
        return ""
    spans = _LIFE if is_life(opened.sensor) else _ERRORS
    store = source(state)
    return wear_words(opened.sensor, sorted({each for span in spans for each in store.worn(opened.sensor, span)}))


def _unheard(facts: SledFacts) -> Ink | None:
    """Said where the controller does not answer; None where it does."""
    silent = unheard(facts.state)
    if not silent:
        return None
    if facts.state.outcome is None:
        return notice(Health.UNKNOWN, "This controller has not been asked yet.", name="not-asked")
    old = "" if facts.state.last_good is None else " What follows is what it told last; healths are unknown now."
    error = facts.state.error or "no more is known"
    return notice(
        Health.WARNING, f"This controller does not answer as it should: {silent}.", f"{error}.{old}", name="silent"
    )


def _pick(picked: str) -> None:
    """Take a part in hand, unfold a sensor's history or fold it, look back further, or cut another layer; the address
    keeps it."""
    what, _, which = picked.partition("=")
    if what == "span":
        st.query_params["span"] = which
    elif what == "sensor":
        st.query_params["sensor"] = which
    elif what == "fold":
        st.query_params["sensor"] = _NONE
    elif what == "layer":
        st.query_params["layer"] = which
    elif what == "place":
        _take(which)
    elif what == "reading":
        _take(f"{st.query_params.get('sled', '')}:{which.rpartition('|')[0]}")
        st.query_params["sensor"] = which


def _take(part: str) -> None:
    st.query_params["place"] = part
    for word in ("sensor", "layer"):
        if word in st.query_params:
            del st.query_params[word]
