"""Rounds: the walk through the aisle. What needs hands first, what changed, who does not answer, and the racks.

The address narrows it: ``site``, ``row``, ``rack``, ``kind``, ``model``, ``part_number``, ``firmware``, ``severity``,
``state`` and ``text``, all at once.
"""

from __future__ import annotations

from dataclasses import replace
from hashlib import blake2s
from pathlib import Path

import streamlit as st

from collector.model import Seconds
from collector.store.overview import Chosen
from collector.text import plain
from dashboard.drawings.sheet_rounds import PAGE
from dashboard.glance import Rounds, Wrong
from dashboard.mount import show
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels.floor import elevations, lanes, open_head, racks_head, unplaced
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.rounds import beginning, changed, found_wrong, hands_first, heard, not_answering, taken
from dashboard.viewer import cookie, preferences
from dashboard.views import filters
from dashboard.views.attention import in_units
from dashboard.views.since import Changes, Look, look
from dashboard.views.telemetry import Running, running
from dashboard.views.turned import words
from dashboard.views.units import PLAIN

TITLE = "Rounds"
_LOOK = "look"
"""Of this session: since when changes are told."""


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    st.html(PAGE)
    refreshing(TITLE, lambda: _read(state), back=False)


def _read(state: Path) -> None:
    chosen, moment = filters.asked(dict(st.query_params)), now()
    seen, glance = _look(state, moment), source(state).glance
    found, news = glance.rounds(chosen), glance.changes(seen.since, chosen)
    _show(found, news, glance.ways(), chosen, seen, moment, state)


def _show(
    found: Rounds,
    news: Changes,
    ways: tuple[filters.Ways, ...],
    chosen: Chosen,
    seen: Look,
    moment: Seconds,
    state: Path,
) -> None:
    here, narrow = zone(), filters.narrow(chosen)
    number = sum(rack.number for rack in found.racks)
    show(
        "top",
        head(TITLE, heard(found.totals, moment)),
        not_running(found.collector, moment, state),
        beginning(found.totals),
        taken(chosen, number),
    )
    _find(chosen, ways)
    stale = running(found.collector, moment) is not Running.YES
    with st.container(key="rounds" if found.opened.whole else "rounds-many"):
        with st.container(key="rounds-wrong"):
            unknown = sum(rack.unknown for rack in found.racks)
            show("hands", hands_first(found.orders, found.wrong, moment, here, narrow))
            show(
                "wrong",
                found_wrong(_as_read(found.wrong), moment, here, unknown, chosen),
                not_answering(found.silent, found.silent_number, moment, here),
                changed(seen, _news_as_read(news), moment, here),
                on_pick=lambda _: _all_seen(),
            )
        drawn = [*elevations(found.floor.rows, stale, found.opened, chosen), unplaced(found.floor, found.racks)]
        if found.opened.whole:
            with st.container(key="rounds-racks"):
                show("racks", racks_head(found.racks, found.opened), *drawn)
        else:
            with st.container(key="rounds-lanes"):
                show("racks", racks_head(found.racks, found.opened), *lanes(found.racks, found.opened, chosen))
            with st.container(key="rounds-drawn"):
                show("drawn", open_head(found.racks, found.opened), *drawn)
    show("foot", foot(moment, here), beat=moment, cookies={_cookie(state): seen.kept(moment)})


def _as_read(wrong: Wrong) -> Wrong:
    units = preferences().units
    if units == PLAIN:
        return wrong
    tasks, aside = ([in_units(each, units) for each in some] for some in (wrong.tasks, wrong.aside))
    return replace(wrong, tasks=tuple(tasks), aside=tuple(aside))


def _news_as_read(news: Changes) -> Changes:
    units = preferences().units
    told = (replace(each, text=words(each.text, units)) if each.measured else each for each in news.lines)
    return news if units == PLAIN else replace(news, lines=tuple(told))


def _find(chosen: Chosen, ways: tuple[filters.Ways, ...]) -> None:
    """The filter: words to find, and lists to choose from; what is set goes into the address."""
    with st.container(key="find", horizontal=True, vertical_alignment="bottom"):
        st.text_input(
            "Find",
            value=chosen.text,
            key=f"find-text-{chosen.text}",
            placeholder="name, place, serial, words",
            on_change=lambda: _set("text", str(st.session_state[f"find-text-{chosen.text}"])),
            label_visibility="collapsed",
            width="stretch",
        )
        with st.popover("Narrow to …"):
            for way in ways:
                _choice(way, str(getattr(chosen, way.field)))


def _choice(way: filters.Ways, taken_: str) -> None:
    numbers = dict(way.ways)
    options = ["", *numbers]
    if taken_ and taken_ not in numbers:
        options.append(taken_)
    if len(options) == 1:
        return
    key = f"find-{way.field}-{taken_}"
    st.selectbox(
        filters.FIELDS[way.field],
        options,
        index=options.index(taken_),
        key=key,
        format_func=lambda value: _option(value, numbers.get(value, 0)),
        on_change=lambda: _set(way.field, str(st.session_state[key])),
    )


def _option(value: str, number: int) -> str:
    if not value:
        return "any"
    return f"{plain(value, 60)} ({number})" if number else plain(value, 60)


def _set(field: str, value: str) -> None:
    if value.strip():
        st.query_params[field] = value.strip()
    elif field in st.query_params:
        del st.query_params[field]


def _cookie(state: Path) -> str:
    """One a state directory: what was seen of one fleet says nothing of another."""
    return f"sledkeeper_seen_{blake2s(str(state.resolve()).encode(), digest_size=4).hexdigest()}"


def _look(state: Path, moment: Seconds) -> Look:
    """Since when changes are told: fixed for this session, from what the browser kept."""
    kept = st.session_state.get(_LOOK)
    if not isinstance(kept, Look):
        kept = st.session_state[_LOOK] = look(cookie(_cookie(state)), moment)
    return kept


def _all_seen() -> None:
    st.session_state[_LOOK] = Look(now(), again=True)
