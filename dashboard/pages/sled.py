"""One sled, addressed as ``?sled=<controller>``: front, lamps, conditions, shared parts, readings, history."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import streamlit as st

from collector.model import Health, Seconds
from collector.store.errors import StoreError
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.mount import show
from dashboard.pages.common import EVERY, broken, now, source, tidy, zone
from dashboard.panels import answers
from dashboard.panels import readings as readings_panel
from dashboard.panels.frame import foot, head, not_running, notice
from dashboard.panels.sled import conditions, contact, defects, front_and_lamps, lately, name_plates, shared
from dashboard.queries import Fleet, SledFacts
from dashboard.views.answers import accusations, lefts
from dashboard.views.floor import Floor, standing, unheard
from dashboard.views.places import label
from dashboard.views.readings import first_to_show, sections, troubled_keys
from dashboard.views.sled import front_of, lamp_lines, shared_parts
from dashboard.views.sled import name_plates as plates_of

TITLE = "Sled"
_NONE = "none"
"""In the address: no sensor's history is unfolded."""


def page(state: Path, name: str) -> None:
    """Draw the page of the controller called ``name``, and again every few seconds."""
    tidy()
    _refreshing(state, name)


@st.fragment(run_every=EVERY)
def _refreshing(state: Path, name: str) -> None:
    try:
        facts = source(state).sled(name) if name else None
        if facts is None:
            _choose(source(state).fleet(), name)
            return
        _show(facts, state)
    except StoreError as error:
        broken(TITLE, error, back=True)


def _choose(fleet: Fleet, asked: str) -> None:
    """No sled, or none of that name: say so and offer those that there are."""
    problem = notice(
        Health.UNKNOWN,
        join("No controller is called ", tag("code", asked), "."),
        "It may have been renamed in the fleet file, or taken out of it.",
        name="unknown-sled",
    )
    moment = now()
    words = problem if asked else None
    show("choose", head(TITLE, back=True), words, _choices(fleet.floor), foot(moment, zone()), beat=moment)


def _choices(drawn: Floor) -> Ink:
    if not drawn.sleds:
        return tag("p", "The fleet has no controller yet.", class_="nothing")
    items = [
        tag(
            "li",
            tag("a", sled.controller, href=sled_link(sled.controller)),
            " ",
            worded(sled.standing, sled.standing.health.word),
            tag("div", sled.place or "place not told", class_="small"),
        )
        for sled in drawn.sleds
    ]
    return tag("section", tag("h2", "Sleds there are"), tag("ul", *items, class_="chips"), data_block="choices")


def _show(facts: SledFacts, state: Path) -> None:
    moment, here = now(), zone()
    name, places = facts.state.controller, facts.places
    silent = bool(unheard(facts.state))
    part = places.front(name)
    whole = (
        Standing(note=unheard(facts.state)) if silent or part is None else standing(part.id, facts.rolled, places.parts)
    )
    front = front_of(name, places, facts.rolled, facts.statuses, facts.lamps, silent)
    place = places.controller_place(name).text
    title = label(part) if part is not None else name
    leaning = shared_parts(name, places, facts.links, facts.rolled, facts.statuses, silent)
    show(
        "top",
        head(title, contact(facts.state, moment, here), back=True),
        tag("p", tag("b", place or "Place not told"), " ", worded(whole), data_whole=whole.health.word),
        not_running(facts.collector, moment, state),
        _unheard(facts),
        front_and_lamps(front, lamp_lines(name, front, places, facts.statuses, whole) if front is not None else ()),
        answers.suspects(accusations(facts.troubles, name), facts.orders, name, moment, here),
        conditions(facts.conditions, places, moment, here),
        answers.margins(lefts(facts.margins, places)),
        shared(leaning, places.blades(name)),
    )
    _readings(facts, state, moment, here)
    show(
        "bottom",
        lately(facts.events, places, moment, here),
        name_plates(plates_of(name, places)),
        _stood(facts, state, moment, here),
        defects(facts.defects),
        foot(moment, here),
        beat=moment,
        on_pick=_pick,
    )


def _stood(facts: SledFacts, state: Path, moment: Seconds, here: ZoneInfo | None) -> Ink | None:
    """The history of the place that the address names, if it is one of this controller's."""
    asked = st.query_params.get("place")
    if not asked or asked.partition(":")[0] != facts.state.controller:
        return None
    found = source(state).stays_at(asked)
    return answers.stays(facts.places.parts.get(asked), asked, found, moment, here)


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


def _readings(facts: SledFacts, state: Path, moment: Seconds, here: ZoneInfo | None) -> None:
    groups = sections(facts.readings, facts.places, facts.state.controller)
    asked = st.query_params.get("sensor")
    opened = first_to_show(groups, asked, troubled_keys(facts.conditions, facts.readings)) if asked != _NONE else None
    span = st.query_params.get("span", readings_panel.DEFAULT_SPAN)
    span = span if span in readings_panel.SPANS else readings_panel.DEFAULT_SPAN
    since = moment - readings_panel.SPANS[span]
    unfolded = None
    if opened is not None:
        samples = source(state).history(opened.sensor, since, moment)
        unfolded = readings_panel.history(opened, samples, span, since, moment, here)
    show("readings", readings_panel.readings(groups, opened, unfolded, moment, here), on_pick=_pick)


def _pick(picked: str) -> None:
    """Unfold a sensor's history, fold it when it stands open, or look back further; the address keeps it."""
    what, _, which = picked.partition("=")
    if what == "span":
        st.query_params["span"] = which
    elif what == "sensor":
        st.query_params["sensor"] = which
    elif what == "fold":
        st.query_params["sensor"] = _NONE
    elif what == "place":
        st.query_params["place"] = which
