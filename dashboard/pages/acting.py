"""Forms by which people ask the collector for something, with how far each request came. Fields are Streamlit's own:
what is typed into them survives the page's looking again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import streamlit as st

from collector.model import CollectorState, Condition, Lamps, OrderState, Part, PowerWish, Request, Verb, WorkOrder
from collector.store.errors import StoreError
from collector.text import plain
from dashboard.asking import CantAsk, Desk, Standing
from dashboard.drawings.ink import Ink, join, tag
from dashboard.entry.viewer import viewer
from dashboard.mount import show
from dashboard.pages.common import now
from dashboard.panels.acting import hosts_named, lamp_told, progress_line
from dashboard.queries import SledFacts
from dashboard.viewer import cookie
from dashboard.views.attention import in_words
from dashboard.views.places import named

_WHO = "sledkeeper_who"
_SHELF = {"1 h": 3600.0, "8 h": 28800.0, "24 h": 86400.0, "3 d": 259200.0, "7 d": 604800.0}
_MOST = 200
"""Characters that a field takes."""


def desk_of(state: Path) -> Desk:
    """Where this viewer asks."""
    return Desk(state, viewer())


def _known() -> str:
    """The name that this browser gave last; "" before."""
    kept = st.session_state.get(_WHO)
    if kept is None:
        try:
            kept = bytes.fromhex(cookie(_WHO)).decode()
        except ValueError:
            kept = ""
        st.session_state[_WHO] = kept = plain(kept, _MOST)
    return str(kept)


def _who(desk: Desk, key: str) -> str:
    """Who asks: as signed in, else as typed."""
    if desk.viewer.name:
        return desk.viewer.name
    return st.text_input("Your name", value=_known(), key=f"who-{key}", max_chars=_MOST)


def _ask(desk: Desk, key: str, make: Callable[[], Request]) -> None:
    """Ask, and remember the number; a refusal is kept as what came of it."""
    try:
        request = make()
        st.session_state[f"asked-{key}"] = desk.ask(request)
        st.session_state[f"refused-{key}"] = None
        st.session_state[_WHO] = request.who
    except CantAsk as refused:
        st.session_state[f"refused-{key}"] = str(refused)
    except StoreError as error:
        st.session_state[f"refused-{key}"] = f"{error.problem}; {error.advice}"


def _came(desk: Desk, key: str) -> None:
    """What came of the last request under a key, until another one is made."""
    refused, number = st.session_state.get(f"refused-{key}"), st.session_state.get(f"asked-{key}")
    line: Ink | None = None
    if refused:
        line = progress_line(f"Not asked: {refused}.", settled=True, good=False)
    elif number is not None and (progress := desk.progress(number)) is not None:
        line = progress_line(progress.text, progress.settled, progress.good)
    name = _known()
    show(f"came-{key}", line, cookies={_WHO: name.encode().hex()} if name else None)


def _refused(desk: Desk, key: str, verb: Verb, collector: CollectorState | None, controller: str = "") -> bool:
    """Whether this can't be asked for; then why is said."""
    why = desk.refusal(verb, collector, controller)
    if why is not None:
        show(f"why-not-{key}", tag("p", f"{why[:1].upper()}{why[1:]}.", class_="small", data_why_not=verb.value))
    return why is not None


def on_part(state: Path, facts: SledFacts, part: Part) -> None:
    """What can be asked for about a part: its lamp, its power, its conditions."""
    desk, collector, controller = desk_of(state), facts.collector, facts.state.controller
    standing = Standing.of(facts.places.of_controller.get(controller, ()), facts.links, facts.statuses)
    lines = [each for each in facts.conditions if each.part == part.id]
    with st.expander(f"Act: {named(part)}", expanded=_busy(part.id)):
        _locate(desk, standing, part, collector)
        _power(desk, standing, part, collector)
        if lines:
            _care(desk, part.id, lines, facts, collector)


def _busy(part: str) -> bool:
    """Whether something was asked for about a part in this session: then its forms stay open."""
    keys = (f"{kind}-{what}-{part}" for kind in ("asked", "refused") for what in ("locate", "power", "care"))
    return any(st.session_state.get(key) is not None for key in keys)


def _locate(desk: Desk, standing: Standing, part: Part, collector: CollectorState | None) -> None:
    key = f"locate-{part.id}"
    bearer = desk.bearer(standing, part.id)
    if bearer is None:
        show(f"lamp-{key}", tag("p", "It has no locate lamp, nor has what holds it.", class_="small"))
        return
    lit, shining = desk.lit(bearer.id), desk.is_lit(standing, bearer.id)
    show(f"lamp-{key}", lamp_told(bearer, part, shining, lit, now()))
    if _refused(desk, key, Verb.LOCATE, collector):
        return
    permits = collector.permits if collector is not None else None
    minutes = permits.locate_minutes if permits is not None else 15.0
    with st.form(f"form-{key}", border=False):
        who = _who(desk, key)
        why = st.text_input("Why", value="to find it", key=f"why-{key}", max_chars=_MOST)
        words = "Switch its lamp off" if shining else f"Light its lamp for {minutes:g} min"
        if st.form_submit_button(words):
            _ask(
                desk,
                key,
                lambda: desk.locate(standing, part.id, who=who, why=why, on=not shining, permits=permits),
            )
    _came(desk, key)


def _power(desk: Desk, standing: Standing, part: Part, collector: CollectorState | None) -> None:
    key = f"power-{part.id}"
    choice = desk.choice(standing, part.id)
    if choice is None:
        return
    if _refused(desk, key, Verb.POWER, collector, part.controller):
        return
    show(f"hosts-{key}", hosts_named(choice.label, choice.hosts))
    permits = collector.permits if collector is not None else None
    with st.form(f"form-{key}", border=False, clear_on_submit=True):
        how = st.selectbox("What", [each.value for each in PowerWish], key=f"how-{key}")
        typed = st.text_input(f"Type the label to make sure: {choice.label}", key=f"label-{key}", max_chars=_MOST)
        who = _who(desk, key)
        why = st.text_input("Why", key=f"why-{key}", max_chars=_MOST)
        if st.form_submit_button("Do it"):
            _ask(
                desk,
                key,
                lambda: desk.power(standing, part.id, PowerWish(how), confirm=typed, who=who, why=why, permits=permits),
            )
    _came(desk, key)


def _care(
    desk: Desk, part: str, lines: Sequence[Condition], facts: SledFacts, collector: CollectorState | None
) -> None:
    key = f"care-{part}"
    show(f"head-{key}", tag("h3", "Its conditions"))
    if _refused(desk, key, Verb.ACKNOWLEDGE, collector):
        return
    told = {plain(in_words(each, facts.places), 120): each.id for each in lines}
    with st.form(f"form-{key}", border=False):
        which = st.selectbox("Which", list(told), key=f"which-{key}")
        ways = ["acknowledge: somebody looks after it", *(f"shelve for {words}" for words in _SHELF)]
        way = st.selectbox("What", ways, key=f"way-{key}")
        who = _who(desk, key)
        why = st.text_input("Why", key=f"why-{key}", max_chars=_MOST)
        if st.form_submit_button("Do it"):
            condition = told[which]
            span = _SHELF.get(way.removeprefix("shelve for "))
            _ask(
                desk,
                key,
                lambda: (
                    desk.acknowledge(condition, who=who, why=why)
                    if span is None
                    else desk.shelve(condition, now() + span, who=who, why=why)
                ),
            )
    _came(desk, key)


def on_order(state: Path, order: WorkOrder, collector: CollectorState | None) -> None:
    """Take an order, give it back, or say that it is done."""
    desk, key = desk_of(state), f"order-{order.id}"
    if order.closed is not None:
        return
    with st.expander("Take it, or say that it is done", expanded=order.state is not OrderState.OPEN or _asked(key)):
        if _refused(desk, key, Verb.TAKE, collector):
            return
        taken = order.state is OrderState.TAKEN
        again = "I take it" if order.state is OrderState.OPEN else "I take it again"
        with st.form(f"form-{key}", border=False):
            who = _who(desk, key)
            serial = st.text_input(
                "Serial number of what was put in (empty where nothing was replaced)",
                key=f"serial-{key}",
                max_chars=100,
            )
            take = st.form_submit_button("Give it back" if taken else again)
            done = st.form_submit_button("It is done")
            if take:
                _ask(desk, key, lambda: desk.give_back(order, who=who) if taken else desk.take(order, who=who))
            elif done:
                _ask(desk, key, lambda: desk.finish(order, who=who, serial=serial))
        _came(desk, key)


def _asked(key: str) -> bool:
    return any(st.session_state.get(f"{kind}-{key}") is not None for kind in ("asked", "refused"))


def on_sight(state: Path, part: Part, seen: Lamps, collector: CollectorState | None) -> None:
    """Record what a front shows."""
    desk, key = desk_of(state), f"sight-{part.id}-{seen.blue.value}-{seen.amber.value}"
    if _refused(desk, key, Verb.OBSERVE, collector):
        return
    with st.form(f"form-{key}", border=False):
        who = _who(desk, key)
        why = st.text_input("Anything else that you see", key=f"why-{key}", max_chars=_MOST)
        if st.form_submit_button("Record what I see"):
            _ask(desk, key, lambda: desk.observe(part, who=who, seen=seen, why=why))
    _came(desk, key)
    before = desk.sighting(part.id)
    if before is not None:
        words = join("Recorded by ", tag("b", before.who), ": it counts until it is too old, or somebody looks again.")
        show(f"seen-{key}", tag("p", words, class_="small", data_sighting=part.id))
