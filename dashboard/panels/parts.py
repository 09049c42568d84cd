"""The Parts page's parts: the search and what it finds, failure rates, what does not fit, what was changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from urllib.parse import urlencode

from collector.assess.ledger import Line
from collector.model import Kind, Misfit, Misfitting, Seconds, Stay
from dashboard.drawings.ink import Ink, join, sled_link, tag, text
from dashboard.drawings.rates import axis, rate
from dashboard.views.parts import Rates, called, decades, figure, hours_words, rate_words, turned_words
from dashboard.views.places import tail_of
from dashboard.views.words import age, clock, count

MOST = 100
"""Parts shown at once."""
COUNTED = 2000
"""Parts counted at most."""
MISFITS = 60
_LINES = 40
"""Part numbers of one kind shown at once."""
_KINDS = 9
"""Kinds offered beside the search; the rest unfolds."""


def link(find: str = "", kind: Kind | None = None, gone: bool = False, how: Misfitting | None = None) -> str:
    """Where the parts stand, narrowed."""
    told = {
        **({"find": find} if find else {}),
        **({"kind": kind.value} if kind else {}),
        **({"gone": "1"} if gone else {}),
        **({"how": how.value} if how else {}),
    }
    return "./?" + urlencode({"page": "parts", **told})


def search(find: str, kind: Kind | None, gone: bool, kinds: Mapping[Kind, int]) -> Ink:
    """The search and the kinds; all of it stands in the address."""
    kept = [("page", "parts"), *([("kind", kind.value)] if kind else []), *([("gone", "1")] if gone else [])]
    field = tag(
        "form",
        *(tag("input", type="hidden", name=name, value=value) for name, value in kept),
        tag("label", "Part number, serial, model, firmware, place, kind", for_="find"),
        tag("input", type="search", name="find", id="find", value=find or None, maxlength=120),
        tag("button", "Find", type="submit", class_="act"),
        class_="find",
        role="search",
    )
    offered = list(kinds.items())
    near, far = offered[:_KINDS], offered[_KINDS:]
    ways = [_kind(each, number, find, kind, gone) for each, number in near]
    more = (
        tag(
            "details",
            tag("summary", f"{len(far)} more kinds", class_="small"),
            tag("div", *(_kind(each, number, find, kind, gone) for each, number in far), class_="choices"),
            id="more-kinds",
        )
        if far
        else None
    )
    return join(
        field,
        tag(
            "nav",
            tag("span", "Kind", class_="of"),
            _choice("any", kind is None, link(find, None, gone)),
            *ways,
            class_="choices",
            aria_label="Kind of part",
        ),
        more,
        tag(
            "nav",
            tag("span", "Of those", class_="of"),
            _choice("in place now", not gone, link(find, kind, False)),
            _choice("gone", gone, link(find, kind, True)),
            class_="choices",
            aria_label="In place or gone",
        ),
    )


def _kind(each: Kind, number: int, find: str, kind: Kind | None, gone: bool) -> Ink:
    return _choice(f"{each.value} ({number:,})", each is kind, link(find, each, gone))


def _choice(words: str, taken: bool, href: str) -> Ink:
    return tag("a", words, href=href, aria_current="true" if taken else None)


def found(stays: Sequence[Stay], number: int, asked: bool, gone: bool, now: Seconds, zone: tzinfo | None) -> Ink:
    """What the search found."""
    title = tag("h2", "What is where" if not gone else "What was where", tag("span", _told(number), class_="count"))
    if not asked:
        words = "Search for a part number, a serial number, a place; or choose a kind."
        return tag("section", tag("h2", "What is where"), tag("p", words, class_="nothing"), data_block="found")
    if not stays:
        words = "No part is like that. Each word must stand in its name, kind, numbers, firmware, place or controller."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="found")
    more = f"The first {len(stays)}; narrow the search, or take the file below." if number > len(stays) else None
    ended = ("until",) if gone else ()
    heads = ("part", "kind", "place", "part number", "serial", "model", "firmware", "there since", *ended)
    return tag(
        "section",
        title,
        tag("p", more, class_="small") if more else None,
        tag(
            "table",
            tag("thead", tag("tr", *(tag("th", head, scope="col") for head in heads))),
            tag("tbody", *(_stay(each, now, zone) for each in stays)),
            class_="plates ledger",
        ),
        data_block="found",
        data_number=number,
    )


def _told(number: int) -> str:
    return f"{COUNTED:,} or more parts" if number >= COUNTED else count(number, "part")


def _stay(stay: Stay, now: Seconds, zone: tzinfo | None) -> Ink:
    one = stay.identity
    cells = [
        ("part number", one.part_number),
        ("serial", one.serial),
        ("model", " ".join(each for each in (one.manufacturer, one.model) if each) or None),
        ("firmware", one.firmware),
    ]
    ends = [stay.since] + ([stay.until] if stay.until is not None else [])
    return tag(
        "tr",
        tag("td", tag("a", stay.name or tail_of(stay.part), href=sled_link(stay.controller, place=stay.part))),
        tag("td", stay.kind.value),
        tag("td", stay.location.text or stay.controller),
        *(tag("td", told or "–", data_said=name if told else None) for name, told in cells),
        *(
            tag("td", f"{age(now - each)} ago", title=clock(each, now, zone), data_said=word)
            for word, each in zip(("since", "until"), ends, strict=False)
        ),
        data_part_found=one.serial or stay.part,
    )


def rates(groups: Sequence[Rates]) -> Ink:
    """Failure rates, a group a kind: open where something failed."""
    title = tag("h2", "How often they fail", tag("span", "failures a million hours in place", class_="count"))
    if not groups:
        words = "No part has been walked yet."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="rates")
    key = (
        "The bar spans the exact 90 % limits of the rate (Poisson), the stroke is the rate itself, the dashed line "
        "that of the whole kind. Without a failure there is only an upper limit. A failure is a part that a trouble "
        "named first, surely enough; hours count from the first walk."
    )
    shown = [_group(each) for each in groups if each.failures]
    calm = [each for each in groups if not each.failures]
    words = f"{count(len(calm), 'kind')} without a failure: {count(sum(each.parts for each in calm), 'part')}"
    quiet = (
        tag("details", tag("summary", words), *map(_group, calm), open=True if not shown else None, id="calm")
        if calm
        else None
    )
    return tag("section", title, tag("p", text(key, 600), class_="small"), *shown, quiet, data_block="rates")


def _group(group: Rates) -> Ink:
    ends = decades(group.lines)
    shown = group.lines[:_LINES]
    rest = len(group.lines) - len(shown)
    words = f"{count(group.parts, 'part')}, {hours_words(group.hours)}, {count(group.failures, 'failure')}"
    return tag(
        "details",
        tag("summary", tag("h3", group.kind.value), tag("span", words, class_="small")),
        tag(
            "table",
            tag(
                "thead",
                tag(
                    "tr",
                    tag("th", "part number, model, firmware", scope="col"),
                    tag("th", "parts, hours", scope="col"),
                    tag("th", "failed", scope="col"),
                    tag("th", tag("span", "rate and limits", class_="unseen"), axis(*ends), scope="col"),
                    tag("th", "a million hours", scope="col"),
                ),
            ),
            tag("tbody", *(_line(line, group.rate, ends) for line in shown)),
            class_="rates",
        ),
        tag("p", f"{rest} more with fewer failures: take the file below.", class_="small") if rest else None,
        open=True if group.failures else None,
        id=f"rates-{group.kind.value}",
        data_section=group.kind.value,
    )


def _line(line: Line, kind: float | None, ends: tuple[int, int]) -> Ink:
    more = None
    if line.more_than_its_kind and line.p is not None:
        more = tag("b", f"fails more often than the others of its kind (p {line.p:.1g})", class_="more")
    return tag(
        "tr",
        tag("td", called(line), tag("div", more) if more else None),
        tag("td", f"{line.parts:,}, {hours_words(line.hours)}", class_="narrow"),
        tag("td", f"{line.failures}", class_="narrow", data_said="failed"),
        tag("td", rate(line.low, line.rate, line.high, kind, ends), class_="drawn"),
        tag("td", rate_words(line)),
        data_ledger=line.part_number or "",
        data_failures=line.failures,
        data_high=figure(line.high) if line.high is not None else None,
    )


_HOW = {
    Misfitting.WRONG: "another part than the design wants",
    Misfitting.MISSING: "nothing where the design wants a part",
    Misfitting.EXTRA: "more than the design wants",
    Misfitting.MISPLACED: "right for another slot",
    Misfitting.BEHIND: "older firmware than the design wants",
}


def misfits(
    shown: Sequence[Misfit], numbers: Mapping[Misfitting, int], how: Misfitting | None, find: str, kind: Kind | None
) -> Ink:
    """What does not fit its design, as the last walks found."""
    whole = sum(numbers.values())
    title = tag("h2", "What does not fit", tag("span", "as the fleet file's designs have it", class_="count"))
    if not whole:
        words = "Nothing: every sled of a design holds what it should. A sled of no design can't differ from one."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="misfits")
    ways = [_choice(f"all ({whole})", how is None, link(find, kind))]
    ways += [
        _choice(f"{each.value} ({number})", each is how, link(find, kind, how=each)) for each, number in numbers.items()
    ]
    total = numbers.get(how, 0) if how is not None else whole
    more = f"The first {len(shown)} of {total}; the file below has all." if total > len(shown) else None
    return tag(
        "section",
        title,
        tag("nav", tag("span", "How", class_="of"), *ways, class_="choices", aria_label="How it does not fit"),
        tag("p", more, class_="small") if more else None,
        tag("ol", *map(_misfit, shown), class_="lines"),
        data_block="misfits",
    )


def _misfit(misfit: Misfit) -> Ink:
    return tag(
        "li",
        tag(
            "div",
            tag("span", misfit.how.value, class_="stands"),
            tag(
                "span",
                tag("a", misfit.controller, href=sled_link(misfit.controller)),
                f", {misfit.kind.value} {misfit.slot or ''}: ",
                tag("b", misfit.found),
                class_="what",
            ),
            tag("span", f"design {misfit.design} wants {misfit.wanted}" if misfit.wanted else "", class_="where"),
            tag("span", _HOW[misfit.how], class_="when"),
            class_="line",
        ),
        data_misfit=misfit.how.value,
        data_of=misfit.part or misfit.sled,
    )


def turned(ended: Sequence[tuple[Stay, Stay | None]], now: Seconds, zone: tzinfo | None) -> Ink:
    """What was changed lately: swapped, moved, gone, other firmware."""
    title = tag("h2", "What was changed", tag("span", "newest first", class_="count"))
    if not ended:
        words = "Nothing since the first walk: every part stands where it was first seen."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="turned")
    return tag(
        "section",
        title,
        tag("ol", *(_turned(stay, after, now, zone) for stay, after in ended), class_="lines"),
        data_block="turned",
    )


def _turned(stay: Stay, after: Stay | None, now: Seconds, zone: tzinfo | None) -> Ink:
    until = stay.until if stay.until is not None else now
    return tag(
        "li",
        tag(
            "div",
            tag("span", stay.ended.value if stay.ended is not None else "gone", class_="stands"),
            tag(
                "span",
                tag("a", f"{stay.name} ({stay.kind.value})", href=sled_link(stay.controller, place=stay.part)),
                f": {turned_words(stay, after)}",
                class_="what",
            ),
            tag("span", stay.location.text or stay.controller, class_="where"),
            tag("span", f"{age(now - until)} ago", title=clock(until, now, zone), class_="when"),
            class_="line",
        ),
        data_turned=stay.identity.serial or stay.name,
    )
