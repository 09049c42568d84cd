"""The Margins page's parts: what of, where, strips of headroom, what one loss would do, trends, energy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import urlencode

from collector.model import Margin, MarginKind
from dashboard.drawings.headroom import Scale, axis, scale, share, strip
from dashboard.drawings.ink import Ink, join, sled_link, tag, text
from dashboard.views.headroom import (
    Drawn,
    Loss,
    Shelf,
    Strip,
    energy_words,
    left_words,
    shown_left,
    unit_of,
    used_words,
)
from dashboard.views.units import PLAIN, Units
from dashboard.views.words import age, count

MOST = 60
"""Racks shown at once."""
SLEDS = 40
"""Sleds of one enclosure shown at once."""
LOSSES = 12
"""Losses shown at once."""

_OF: Mapping[MarginKind, str] = {
    MarginKind.HEAT: "Up to the limit of each part",
    MarginKind.AIR: "Up to the limit of the air that is drawn in",
    MarginKind.SWING: "What the air that is drawn in may still change by",
    MarginKind.POWER: "Watts up to each rating",
    MarginKind.REDUNDANCY: "Watts up to the rating of what remains when the largest one fails",
}
_NONE: Mapping[MarginKind, str] = {
    MarginKind.HEAT: "No part tells a temperature with a limit, or not enough has been read yet.",
    MarginKind.AIR: "No inlet air is told, or no limit for it: give places their class and altitude in the fleet file.",
    MarginKind.SWING: "No inlet air is told, or no class for it: give places their class in the fleet file.",
    MarginKind.POWER: "No power with a rating is told: give racks their feeds in the fleet file.",
    MarginKind.REDUNDANCY: "Nothing that shares a load tells its rating: give racks their feeds in the fleet file.",
}


def link(kind: MarginKind, rack: str | None = None) -> str:
    """Where the margins stand, of one kind and one rack."""
    return "./?" + urlencode({"page": "margins", "kind": kind.value, **({"rack": rack} if rack else {})})


def filters(numbers: Mapping[MarginKind, int], kind: MarginKind, rack: str | None) -> Ink:
    """Links that choose what the margins are of; the way back from one rack to all."""
    ways = [
        tag(
            "a",
            f"{each.value} ({numbers.get(each, 0):,})",
            href=link(each, rack),
            aria_current="true" if each is kind else None,
        )
        for each in MarginKind
    ]
    back = None
    if rack:
        back = tag(
            "nav",
            tag("span", "Where", class_="of"),
            tag("a", "every rack", href=link(kind)),
            tag("span", rack),
            class_="choices",
            aria_label="Where",
        )
    return join(tag("nav", tag("span", "Left of", class_="of"), *ways, class_="choices", aria_label="Left of"), back)


def racks(
    found: Sequence[Strip], places: Sequence[Margin], kind: MarginKind, of: Scale | None, names: Mapping[str, str],
    units: Units = PLAIN,
) -> Ink:  # fmt: skip
    """A line a rack, a stroke a sled; first what racks as a whole have left, where that is known."""
    title = tag("h2", "By rack", tag("span", f"{_OF[kind].lower()}, least first", class_="count"))
    whole = [_place(each, kind, units) for each in places if each.kind is kind]
    if not found or of is None:
        words = "" if whole else _NONE[kind]
        return tag(
            "section",
            title,
            tag("ol", *whole, class_="lines") if whole else None,
            tag("p", words, class_="nothing") if words else None,
            data_block="racks-left",
        )
    more = f"The {MOST} racks with the least left, of {len(found):,}." if len(found) > MOST else None
    lines = [_rack(each, kind, of, names, units) for each in found[:MOST]]
    return tag(
        "section",
        title,
        tag("ol", *whole, class_="lines") if whole else None,
        tag("p", text(_key("sled or shelf"), 400), class_="small"),
        tag("p", more, class_="small") if more else None,
        tag("ol", _axis(of), *lines, class_="lines rooms"),
        data_block="racks-left",
    )


def _key(each: str) -> str:
    return (
        f"Every stroke is what one {each} has left, the long one the least of them; to the right of the upright line "
        "the limit is passed. Lines under one scale share it."
    )


def _axis(of: Scale) -> Ink:
    return tag("li", tag("div", tag("span", axis(of), class_="where"), class_="room-line head-line"), aria_hidden=True)


def _rack(each: Strip, kind: MarginKind, of: Scale, names: Mapping[str, str], units: Units) -> Ink:
    told = left_words(shown_left(each.least, units), of.unit)
    where = each.controller or ""
    return tag(
        "li",
        tag(
            "div",
            tag("h3", tag("a", each.name, href=link(kind, each.name)), class_="what"),
            tag("span", strip(each.lefts, of), class_="where"),
            tag("b", told, class_=_tone(each.least)),
            tag(
                "span",
                tag("a", where, href=sled_link(where)) if where else None,
                f" {names.get(each.least.part, '')}: {used_words(each.least, units)}; {len(each.lefts)} there",
                class_="small about",
            ),
            class_="room-line",
        ),
        data_rack_left=each.name,
        data_left=told,
    )


def _tone(margin: Margin) -> str:
    return "left is-critical" if margin.left < 0 else "left"


def _place(margin: Margin, kind: MarginKind, units: Units) -> Ink:
    unit = unit_of(kind, units)
    return tag(
        "li",
        tag(
            "div",
            tag("span", "whole rack", class_="stands"),
            tag("span", tag("a", margin.part, href=link(kind, margin.part)), ": ", class_="what"),
            tag("span", margin.basis, class_="where small"),
            tag("span", tag("b", left_words(shown_left(margin, units), unit), class_=_tone(margin)), class_="when"),
            class_="line",
        ),
        data_place_left=margin.part,
    )


def shelves(found: Sequence[Shelf], kind: MarginKind, names: Mapping[str, str], units: Units = PLAIN) -> Ink:
    """One rack: a group an enclosure, a line a sled, a stroke a part."""
    title = tag("h2", "By enclosure and sled", tag("span", f"{_OF[kind].lower()}, least first", class_="count"))
    if not found:
        return tag("section", title, tag("p", _NONE[kind], class_="nothing"), data_block="sleds-left")
    groups = []
    for shelf in found:
        of = scale(shelf.whole.lefts, unit_of(kind, units))
        told = left_words(shown_left(shelf.whole.least, units), of.unit)
        lines = [_sled(each, of, names, units) for each in shelf.sleds[:SLEDS]]
        rest = len(shelf.sleds) - len(lines)
        groups.append(
            tag(
                "section",
                tag("h3", shelf.name, " ", tag("span", told, class_="small")),
                tag("ol", _axis(of), *lines, class_="lines rooms"),
                tag("p", f"and {rest} with more left", class_="small") if rest else None,
                data_enclosure_left=shelf.name,
            )
        )
    return tag("section", title, tag("p", text(_key("part"), 400), class_="small"), *groups, data_block="sleds-left")


def _sled(each: Strip, of: Scale, names: Mapping[str, str], units: Units) -> Ink:
    told = left_words(shown_left(each.least, units), of.unit)
    controller = each.controller or ""
    return tag(
        "li",
        tag(
            "div",
            tag("span", tag("a", each.name, href=sled_link(controller)), f" {controller}", class_="what"),
            tag("span", strip(each.lefts, of), class_="where"),
            tag("b", told, class_=_tone(each.least)),
            tag(
                "span",
                f"{names.get(each.least.part, '')}: {used_words(each.least, units)}{_load(each.least)}",
                class_="small about",
            ),
            class_="room-line",
        ),
        data_sled_left=controller,
        data_left=told,
    )


def _load(margin: Margin) -> str:
    if margin.watts is None or margin.unit == "W":
        return ""
    return f"; {margin.watts:,.0f} W more load would use it up"


def losses(found: Sequence[Loss], looked: int, whole: int) -> Ink:
    """What the failure of one fan, supply or feed would do, the worst first."""
    title = tag("h2", "If one fails", tag("span", "fan, supply or feed, the worst first", class_="count"))
    where = f"Looked at {count(looked, 'controller')}" + (
        f" of {whole:,}: those with the least left. Choose a rack for its own." if whole > looked else "."
    )
    taken = (
        "Fans: the others speed up as far as they can, and no air leaks back through the one that stands; where it "
        "does, less is left than is said. Of fans and supplies that are alike the worst one is told."
    )
    if not found:
        words = f"{where} None tells full speeds of its fans, or ratings of what feeds it."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="losses")
    return tag(
        "section",
        title,
        tag("p", text(f"{where} {taken}", 500), class_="small"),
        tag("ol", *map(_loss, found), class_="lines"),
        data_block="losses",
    )


def _loss(each: Loss) -> Ink:
    return tag(
        "li",
        tag(
            "div",
            tag("span", tag("b", each.left, class_="left is-critical" if each.bad else "left"), class_="stands"),
            tag(
                "span",
                tag("a", each.controller, href=sled_link(each.controller)),
                f", {each.name}: {each.says}",
                class_="what",
            ),
            tag("span", f"hang on it: {each.hits}" if each.hits else "nothing is told to hang on it", class_="where"),
            tag("span", each.basis, class_="when"),
            class_="line wide-when",
        ),
        data_loss=each.name,
        data_bad=each.bad or None,
    )


def trends(found: Sequence[tuple[str, str, str, str]], span: float) -> Ink | None:
    """Where the least go: (controller, name, trend, forecast) of each."""
    if not found:
        return None
    lines = [
        tag(
            "li",
            tag(
                "div",
                tag("span", tag("a", controller, href=sled_link(controller)), class_="stands"),
                tag("span", name, class_="what"),
                tag("span", says, class_="where"),
                tag("span", forecast or "no forecast", class_="when"),
                class_="line wide-when",
            ),
            data_trend=name,
        )
        for controller, name, says, forecast in found
    ]
    return tag(
        "section",
        tag("h2", "Where the least go", tag("span", f"trend over the last {age(span)}, to the limit", class_="count")),
        tag("ol", *lines, class_="lines"),
        data_block="trends",
    )


def energy(found: Sequence[Drawn], span: float) -> Ink | None:
    """What a rack's sleds and shelves drew over the last while, the most first."""
    if not found:
        return None
    most = max(each.joules for each in found)
    sleds = [each for each in found if each.holds == "sled"]
    total = (
        f"All sleds together {energy_words(sum(each.joules for each in sleds))}, "
        f"{sum(each.mean for each in sleds):,.0f} W in the mean. A power shelf carries them: do not add it to them."
    )
    heads = ("", "energy", "share", "mean", "peak", "now")
    return tag(
        "section",
        tag("h2", "Energy", tag("span", f"of the last {age(span)}, from power and its times", class_="count")),
        tag("p", total, class_="small") if sleds else None,
        tag(
            "table",
            tag(
                "thead",
                tag("tr", *(tag("th", head or tag("span", "what", class_="unseen"), scope="col") for head in heads)),
            ),
            tag("tbody", *(_drawn(each, most) for each in found)),
            class_="energy",
        ),
        data_block="energy",
    )


def _drawn(each: Drawn, most: float) -> Ink:
    return tag(
        "tr",
        tag(
            "td",
            tag("a", each.name, href=sled_link(each.controller)),
            tag("div", " ".join(word for word in (each.enclosure, each.controller) if word), class_="small"),
        ),
        tag("td", energy_words(each.joules), class_="narrow"),
        tag("td", share(each.joules, most), class_="drawn"),
        tag("td", f"{each.mean:,.0f} W", class_="narrow", data_said="mean"),
        tag("td", f"{each.peak:,.0f} W", class_="narrow", data_said="peak"),
        tag("td", f"{each.now:,.0f} W" if each.now is not None else "–", class_="narrow", data_said="now"),
        data_energy=each.controller,
    )
