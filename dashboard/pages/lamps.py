"""The lamp reader, addressed as ``?page=lamps``: ``rack`` and ``at`` choose the sled, ``part`` the front; ``blue`` and
``amber`` (``low`` and ``backup`` at a supply) say what is seen; ``should`` asks the other way round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import streamlit as st

from collector.model import Lamps, LampState, Part
from collector.store.overview import RackCount
from dashboard.drawings.front import front as drawn_front
from dashboard.drawings.ink import Ink, sled_link, tag
from dashboard.mount import show
from dashboard.pages import acting
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.lamps import answer, ask_lamps, choose_front, choose_rack, choose_sled, reverse, where
from dashboard.queries import SledFacts, Source
from dashboard.views.floor import Floor, row_name, unheard
from dashboard.views.lamps import COLOURS, MORE_AMBER, alike, decode, fronts, panel_kind, seen_from
from dashboard.views.places import label, named
from dashboard.views.sled import front_of
from dashboard.views.telemetry import Running, running
from dashboard.views.words import age

TITLE = "Lamp reader"
_MOST_FOUND = 30
"""Fronts named when the reader is asked the other way round."""
_WORDS = ("rack", "at", "part", *COLOURS, *MORE_AMBER, "should")


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    refreshing(TITLE, lambda: _show(source(state), state))


def _show(store: Source, state: Path) -> None:
    moment = now()
    asked = {word: st.query_params.get(word, "") for word in _WORDS}
    facts = store.sled(asked["at"]) if asked["at"] else None
    told = tag("span", "what does the front show, and what does it mean?")
    show("top", head(TITLE, told, back=True), not_running(store.collector(), moment, state))
    if facts is None:
        _choose(store, asked)
    else:
        _read(facts, asked, state)
    show("foot", foot(moment, zone()), beat=moment)


def _choose(store: Source, asked: dict[str, str]) -> None:
    """Which sled; and the other way round."""
    racks = store.glance.racks()
    unknown = tag("p", "No controller is called ", tag("code", asked["at"]), ".") if asked["at"] else None
    inside = next((rack for rack in racks if asked["rack"] and _key(rack) == asked["rack"]), None)
    body = _sleds(store.glance.inside(inside)) if inside is not None else None
    show("choose", unknown, body if body is not None else choose_rack(_told(racks)), on_pick=_pick)
    wanted = _pair(asked["should"])
    ids, number = alike(store.lamps(), wanted, _MOST_FOUND) if wanted is not None else ((), 0)
    show("reverse", reverse(wanted, _named(store, ids), number), on_pick=_pick)


def _key(rack: RackCount) -> str:
    """A rack in the address: its place; what is in none goes under a dash."""
    return " / ".join(step for step in (rack.site, rack.line, rack.rack) if step) if rack.rack else "-"


def _told(racks: Sequence[RackCount]) -> list[tuple[str, str, int]]:
    named = [(_key(rack), f"{row_name(rack.site, rack.line)}, {rack.rack}", rack.number) for rack in racks if rack.rack]
    loose = sum(rack.number for rack in racks if not rack.rack)
    return [*named, ("-", "no place told", loose)] if loose else named


def _sleds(drawn: Floor) -> Ink | None:
    for row in drawn.rows:
        for rack in row.racks:
            placed = sorted(rack.sleds, key=lambda sled: (-sled.bay.y, sled.bay.x))
            return choose_sled(rack.name, [(sled.controller, sled.label, sled.place, sled.standing) for sled in placed])
    loose = [(one.sled.controller, one.sled.label, one.why, one.sled.standing) for one in drawn.homeless]
    return choose_sled("no rack that is told", loose) if loose else None


def _named(store: Source, ids: Sequence[str]) -> list[tuple[str, str, str]]:
    found = []
    for each in ids:
        controller = each.partition(":")[0]
        facts = store.sled(controller)
        part = facts.places.parts.get(each) if facts is not None else None
        if facts is None or part is None:
            continue
        found.append((sled_link(controller, place=each), named(part), facts.places.location(part).text))
    return sorted(found, key=lambda one: one[2])


def _pair(words: str) -> Lamps | None:
    blue, _, amber = words.partition(",")
    states = {each.value: each for each in (LampState.OFF, LampState.ON, LampState.BLINK)}
    return Lamps(states[blue], states[amber]) if blue in states and amber in states else None


def _read(facts: SledFacts, asked: dict[str, str], state: Path) -> None:
    """The front, the panel to tap, and the answer."""
    name, places, silent = facts.state.controller, facts.places, bool(unheard(facts.state))
    case = places.front(name)
    there = fronts(name, places)
    part = next((each for each in there if each.id == asked["part"]), None)
    front = front_of(name, places, facts.rolled, facts.statuses, {}, silent)
    drawing = None
    if front is not None:
        bare = replace(front, blades=tuple(replace(blade, drives=()) for blade in front.blades))
        drawing = drawn_front(bare, name, part.id if part is not None else None)
    last = facts.state.last_good
    told = unheard(facts.state) or (f"readings {age(now() - last)} old" if last is not None else "no reading yet")
    place = places.controller_place(name).text or "place not told"
    title = label(case) if case is not None else name
    pieces: list[Ink | None] = [where(title, place, told, name), choose_front(there, asked["part"], drawing)]
    if part is not None:
        pieces += _tapped(facts, part, asked, not silent and running(facts.collector, now()) is Running.YES)
    show("read", *pieces, on_pick=_pick)
    if part is not None and (seen := seen_from(asked).lamps) is not None:
        acting.on_sight(state, part, seen, facts.collector)


def _tapped(facts: SledFacts, part: Part, asked: dict[str, str], heard: bool) -> list[Ink | None]:
    """The panel to tap, and what it means once both lamps were told."""
    places = facts.places
    seen, kind = seen_from(asked), panel_kind(part, places)
    decoded = decode(kind, seen, facts.lamps.get(part.id), heard)
    body: Ink | None = None
    if decoded is not None and seen.lamps is not None:
        inside = {part.id, *(each.id for each in places.within(part.controller, part.id))}
        body = answer(part, decoded, seen.lamps, [order for order in facts.orders if order.part in inside])
    return [ask_lamps(part, kind, seen), body]


def _pick(picked: str) -> None:
    """Keep what was tapped in the address; another front starts again."""
    what, _, which = picked.partition("=")
    what = "part" if what == "place" else what
    if what not in _WORDS:
        return
    if what in ("at", "part", "rack"):
        for word in (*COLOURS, *MORE_AMBER):
            if word in st.query_params:
                del st.query_params[word]
    if what == "should" and st.query_params.get("should") == which:
        del st.query_params["should"]
        return
    st.query_params[what] = which
