"""The Controllers page's parts: what rounds cost, filter, a row a controller."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from urllib.parse import urlencode

from collector.model import Health, Seconds
from dashboard.drawings.bars import chance
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.views.controllers import NOT_ASKED, Cost, Heard
from dashboard.views.floor import answers
from dashboard.views.words import age, clock, count

MOST = 200
"""Rows shown at once."""


def link(outcome: str | None, defects: bool) -> str:
    """Where the controllers stand, with a filter."""
    told = {"page": "controllers", **({"outcome": outcome} if outcome else {}), **({"defects": "1"} if defects else {})}
    return "./?" + urlencode(told)


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


def filters(found: Mapping[str, int], outcome: str | None, defects: bool) -> Ink:
    """Links that narrow the table."""
    whole = sum(found.values())
    ways = [_choice(f"all ({whole})", not outcome, link(None, defects))]
    ways += [_choice(f"{name} ({number})", outcome == name, link(name, defects)) for name, number in found.items()]
    told = [
        _choice("with and without", not defects, link(outcome, False)),
        _choice("with only", defects, link(outcome, True)),
    ]
    return join(
        tag("nav", tag("span", "Newest round", class_="of"), *ways, class_="choices", aria_label="Newest round"),
        tag("nav", tag("span", "Defects", class_="of"), *told, class_="choices", aria_label="Defects"),
    )


def _choice(words: str, taken: bool, href: str) -> Ink:
    return tag("a", words, href=href, aria_current="true" if taken else None)


def table(found: Sequence[Heard], now: Seconds, zone: tzinfo | None) -> Ink:
    """A row a controller."""
    if not found:
        return tag("p", "No controller is like that.", class_="nothing", data_block="controllers")
    heads = ("controller", "newest round", "took", "of the time between rounds", "asked", "failed", "defects", "heard")
    more = f"The first {MOST} of {len(found)}; narrow them above." if len(found) > MOST else None
    return tag(
        "div",
        tag("p", more, class_="small") if more else None,
        tag(
            "table",
            tag("thead", tag("tr", *(tag("th", head, scope="col") for head in heads))),
            tag("tbody", *(_row(each, now, zone) for each in found[:MOST])),
            class_="heard-from",
        ),
        data_block="controllers",
    )


def _row(each: Heard, now: Seconds, zone: tzinfo | None) -> Ink:
    state = each.state
    good = answers(state)
    health = Health.UNKNOWN if each.outcome == NOT_ASKED else Health.OK if good else Health.WARNING
    took = f"{state.round_seconds:.2g} s" if state.round_seconds is not None else "–"
    last = f"{age(now - state.last_good)} ago" if state.last_good is not None else "never"
    when = clock(state.last_good, now, zone) if state.last_good is not None else None
    about = [each.place, *([state.product] if state.product else []), *(["certificate not checked"] * state.insecure)]
    return tag(
        "tr",
        tag(
            "td",
            tag("a", state.controller, href=sled_link(state.controller)),
            tag("div", " · ".join(about), class_="small"),
            tag("div", state.error, class_="small") if state.error else None,
        ),
        tag("td", worded(Standing(health), each.outcome)),
        tag("td", took, data_said="took"),
        tag("td", join(chance(each.load), f" {100 * each.load:.0f} %") if each.load else "–"),
        tag(
            "td",
            f"{count(state.requests, 'request')}, {state.bytes_received / 1000:.0f} kB" if state.requests else "–",
            data_said="asked",
        ),
        tag("td", f"{state.failed_rounds} of {state.rounds}, {state.late_rounds} late", data_said="failed"),
        tag("td", str(state.defects), data_said="defects"),
        tag("td", last, title=when, data_said="heard"),
        data_controller=state.controller,
        data_outcome=each.outcome,
    )
