"""The Margins page's parts: what of, where, and a line a rack with the least left first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import urlencode

from collector.model import MarginKind
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.panels.answers import left_line
from dashboard.views.answers import Left, RackLeft

_INNER = 30
"""Parts of a rack shown when it is unfolded."""
MOST = 200
"""Racks shown at once."""

_OF: Mapping[MarginKind, str] = {
    MarginKind.HEAT: "Kelvin up to the limit of each part",
    MarginKind.AIR: "Kelvin up to the limit of the air that is drawn in",
    MarginKind.POWER: "Watts up to each rating",
    MarginKind.REDUNDANCY: "Watts up to the rating of what remains when the largest one fails",
}


def link(kind: MarginKind, rack: str | None = None) -> str:
    """Where the margins stand, of one kind and one rack."""
    return "./?" + urlencode({"page": "margins", "kind": kind.value, **({"rack": rack} if rack else {})})


def filters(numbers: Mapping[MarginKind, int], kind: MarginKind, rack: str | None) -> Ink:
    """Links that choose what the margins are of; the way back from one rack to all."""
    ways = [
        tag(
            "a",
            f"{each.value} ({numbers.get(each, 0)})",
            href=link(each, rack),
            aria_current="true" if each is kind else None,
        )
        for each in MarginKind
    ]
    back = None
    if rack:
        back = tag(
            "nav", tag("span", "Where", class_="of"), tag("a", "every rack", href=link(kind)), rack, class_="choices"
        )
    return join(
        tag("nav", tag("span", "Left of", class_="of"), *ways, class_="choices", aria_label="Left of"),
        back,
        tag("p", f"{_OF[kind]}; the bar reaches from the limit in its middle.", class_="small"),
    )


def racks(found: Sequence[RackLeft], kind: MarginKind) -> Ink:
    """A line a rack: its least, and the rest to be unfolded."""
    if not found:
        words = "No margin of this kind is known: no limit is told, or not enough has been read yet."
        return tag("p", words, class_="nothing", data_block="racks-left")
    more = tag("p", f"The first {MOST} of {len(found)} racks.", class_="small") if len(found) > MOST else None
    return join(more, tag("div", *(_rack(each, kind) for each in found[:MOST]), data_block="racks-left"))


def _rack(each: RackLeft, kind: MarginKind) -> Ink:
    inner = [_line(one) for one in each.others[:_INNER]]
    rest = len(each.others) - len(inner)
    words = f"{len(each.others)} with more left" + (f"; the {_INNER} nearest" if rest else "")
    return tag(
        "section",
        tag("h3", tag("a", each.rack, href=link(kind, each.rack))),
        tag("ol", _line(each.least), class_="lines"),
        tag("details", tag("summary", words, class_="small"), tag("ol", *inner, class_="lines"), id=f"left-{each.rack}")
        if inner
        else None,
        data_rack_left=each.rack,
    )


def _line(each: Left) -> Ink:
    controller = each.margin.controller
    if controller is None:
        return left_line(each, each.name)
    return left_line(each, f"{controller}, {each.name}", sled_link(controller))
