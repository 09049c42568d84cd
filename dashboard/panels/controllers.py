"""The Controllers page's parts: what rounds cost, what needs care, a row a controller, what can't be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from urllib.parse import urlencode

from collector.model import Defect, Health, Seconds
from dashboard.drawings.bars import chance
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.views.controllers import (
    NOT_ASKED,
    Cost,
    Heard,
    Need,
    certificate_words,
    clock_words,
    events_words,
    session_words,
)
from dashboard.views.floor import answers
from dashboard.views.words import age, clock, count

MOST = 100
"""Rows shown at once."""
DEFECTS = 6
"""Defects shown of one controller."""

_LOUD = frozenset({Need.SILENT, Need.REFUSED, Need.EXPIRED})


def link(outcome: str | None = None, need: Need | None = None, find: str = "") -> str:
    """Where the controllers stand, with a filter."""
    told = {
        **({"outcome": outcome} if outcome else {}),
        **({"need": need.value} if need else {}),
        **({"find": find} if find else {}),
    }
    return "./?" + urlencode({"page": "controllers", **told})


def costs(cost: Cost | None) -> Ink:
    """What a round costs, in one line."""
    if cost is None:
        return join("No controller has answered a round yet.")
    return join(
        "rounds take ",
        tag("b", f"{cost.median:.2g} s"),
        f" in the middle, 95 of 100 at most {cost.slow:.2g} s, the slowest {cost.slowest:.2g} s · ",
        f"a round of all: {count(cost.requests, 'request')}, {cost.bytes / 1e6:.2f} MB",
    )


def filters(
    found: Mapping[str, int], needed: Mapping[Need, int], outcome: str | None, need: Need | None, find: str
) -> Ink:
    """A search, and links that narrow the table."""
    whole = sum(found.values())
    ways = [_choice(f"all ({whole:,})", not outcome, link(None, need, find))]
    ways += [_choice(f"{name} ({number:,})", outcome == name, link(name, need, find)) for name, number in found.items()]
    told = [_choice("anything", need is None, link(outcome, None, find))]
    told += [
        _choice(f"{each.value} ({number:,})", need is each, link(outcome, each, find))
        for each, number in needed.items()
    ]
    kept = [
        ("page", "controllers"),
        *([("outcome", outcome)] if outcome else []),
        *([("need", need.value)] if need else []),
    ]
    field = tag(
        "form",
        *(tag("input", type="hidden", name=name, value=value) for name, value in kept),
        tag("label", "Name, place, product, address", for_="find"),
        tag("input", type="search", name="find", id="find", value=find or None, maxlength=120),
        tag("button", "Find", type="submit", class_="act"),
        class_="find",
        role="search",
    )
    return join(
        field,
        tag("nav", tag("span", "Newest round", class_="of"), *ways, class_="choices", aria_label="Newest round"),
        tag("nav", tag("span", "Needs care", class_="of"), *told, class_="choices", aria_label="Needs care"),
    )


def _choice(words: str, taken: bool, href: str) -> Ink:
    return tag("a", words, href=href, aria_current="true" if taken else None)


def table(
    found: Sequence[Heard], now: Seconds, zone: tzinfo | None, defects: Mapping[str, Sequence[Defect]] | None = None
) -> Ink:
    """A row a controller; ``defects``: of those whose defects are unfolded."""
    if not found:
        return tag("p", "No controller is like that.", class_="nothing", data_block="controllers")
    heads = ("controller", "newest round", "took, of the time between rounds", "failed", "certificate", "clock")
    more = f"The worst {MOST} of {len(found):,}; narrow them above." if len(found) > MOST else None
    return tag(
        "div",
        tag("p", more, class_="small") if more else None,
        tag(
            "table",
            tag(
                "thead",
                tag("tr", *(tag("th", head, scope="col") for head in (*heads, "session, events", "defects"))),
            ),
            tag("tbody", *(_row(each, now, zone, (defects or {}).get(each.state.controller)) for each in found[:MOST])),
            class_="heard-from",
        ),
        data_block="controllers",
    )


def _row(each: Heard, now: Seconds, zone: tzinfo | None, defects: Sequence[Defect] | None) -> Ink:
    state, needs = each.state, each.needs
    good = answers(state)
    health = Health.UNKNOWN if each.outcome == NOT_ASKED else Health.OK if good else Health.WARNING
    took = f"{state.round_seconds:.2g} s, {100 * each.load:.0f} %" if state.round_seconds is not None else "–"
    last = f"{age(now - state.last_good)} ago" if state.last_good is not None else "never"
    when = clock(state.last_good, now, zone) if state.last_good is not None else None
    cost = f"{count(state.requests, 'request')}, {state.bytes_received / 1000:.0f} kB" if state.requests else None
    contact = state.contact
    expires = contact.expires if contact is not None else None
    row = tag(
        "tr",
        tag(
            "td",
            tag("a", state.controller, href=sled_link(state.controller)),
            tag("div", " · ".join([each.place, *([state.product] if state.product else [])]), class_="small"),
            tag("div", state.error, class_="small") if state.error else None,
            tag("div", *(tag("span", need.value, class_=_loud(need)) for need in needs), class_="needs")
            if needs
            else None,
        ),
        tag("td", worded(Standing(health), each.outcome), tag("div", f"heard {last}", class_="small", title=when)),
        tag(
            "td",
            tag("span", took, data_said="took"),
            tag("div", chance(each.load)) if each.load else None,
            tag("div", cost, class_="small") if cost else None,
        ),
        tag("td", f"{state.failed_rounds:,} of {state.rounds:,}, {state.late_rounds:,} late", data_said="failed"),
        tag(
            "td",
            certificate_words(state, now),
            title=clock(expires, now, zone) if expires is not None else None,
            data_said="certificate",
        ),
        tag("td", clock_words(contact), data_said="clock"),
        tag(
            "td",
            tag("div", session_words(contact, now)),
            tag("div", events_words(contact, now), class_="small"),
        ),
        tag("td", str(state.defects), data_said="defects"),
        data_controller=state.controller,
        data_outcome=each.outcome,
        data_needs=", ".join(need.value for need in needs) or None,
    )
    return join(row, _unfolded(state.controller, state.defects, defects))


def _loud(need: Need) -> str:
    return "need is-critical" if need in _LOUD else "need is-warning"


def _unfolded(controller: str, number: int, defects: Sequence[Defect] | None) -> Ink:
    """The defects of one controller, each with resource and property, in a row of their own."""
    if not defects:
        return Ink()
    lines = [
        tag(
            "li",
            tag("code", each.resource + (f" {each.property}" if each.property else "")),
            f" {each.kind.value}: {each.detail}",
            data_defect=each.resource,
        )
        for each in defects[:DEFECTS]
    ]
    if number > len(lines):
        lines.append(tag("li", tag("a", f"all {number}", href=sled_link(controller))))
    return tag("tr", tag("td", tag("ul", *lines, class_="evidence"), colspan=8), class_="unfolded")


def unread(found: Sequence[tuple[Defect, int, int]]) -> Ink | None:
    """What can't be read, alike ones together: an example, how many there are, at how many controllers."""
    if not found:
        return None
    lines = [
        tag(
            "li",
            tag(
                "div",
                tag("span", each.kind.value, class_="stands"),
                tag("span", tag("code", each.property or "the whole resource"), f" {each.detail}", class_="what"),
                tag(
                    "span",
                    "e.g. ",
                    tag("a", each.controller, href=sled_link(each.controller)),
                    " ",
                    tag("code", each.resource),
                    class_="where",
                ),
                tag("span", f"{number:,}, at {count(at, 'controller')}", class_="when"),
                class_="line",
            ),
            data_unread=each.kind.value,
            data_number=number,
        )
        for each, number, at in found
    ]
    return tag(
        "section",
        tag("h2", "What can't be read", tag("span", "alike ones together, the most frequent first", class_="count")),
        tag("ol", *lines, class_="lines"),
        data_block="unread",
    )
