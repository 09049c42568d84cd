"""A sled's answers: suspects with what speaks for and against them, what its parts have left, who stood where."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from collector.model import Seconds, Stay, Suspect, WorkOrder
from dashboard.drawings.bars import chance, reserve, urgency_words
from dashboard.drawings.ink import Ink, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.panels.frame import folded
from dashboard.panels.orders import orders_link
from dashboard.views.answers import Accused, Left, least_of_each, likelihood, percent
from dashboard.views.words import age, clock, count

_REASONS = 6
"""Sentences for, and against, shown of one suspect."""
_LEFTS = 4
"""Margins shown at once; the rest unfolds."""


def suspects(
    found: Sequence[Accused], orders: Sequence[WorkOrder], controller: str, now: Seconds, zone: tzinfo | None
) -> Ink | None:
    """What may explain the trouble that this sled shows or causes; None where there is none."""
    if not found:
        return None
    return tag(
        "section",
        tag("h2", "What may have failed", tag("span", count(len(found), "trouble"), class_="count")),
        *(_trouble(each, orders, controller, now, zone) for each in found),
        data_block="suspects",
    )


def _trouble(accused: Accused, orders: Sequence[WorkOrder], controller: str, now: Seconds, zone: tzinfo | None) -> Ink:
    trouble = accused.trouble
    since = f"for {age(now - trouble.opened)}"
    listed = [
        suspect_lines(each, controller, each.part in trouble.also) for each in (*accused.here, *accused.elsewhere)
    ]
    none = None if listed else tag("p", "No known fault of any part explains it.", class_="nothing")
    unexplained = (
        f"That none of the known faults explains it: {likelihood(trouble.unexplained)}, {percent(trouble.unexplained)}."
        if trouble.unexplained >= 0.01
        else None
    )
    signs = list(dict.fromkeys(trouble.signs))
    return tag(
        "section",
        tag("h3", worded(Standing(trouble.severity)), " ", tag("span", since, class_="small")),
        tag("p", *_orders(trouble.id, orders)),
        none,
        tag("ol", *listed, class_="suspects"),
        _alike(accused.alike),
        tag("p", tag("b", "Look next: "), trouble.next_look, data_next_look=True) if trouble.next_look else None,
        tag("p", unexplained, class_="small") if unexplained else None,
        _weaker(trouble.weaker),
        tag(
            "details",
            tag(
                "summary", f"{count(len(signs), 'sign')} seen since {clock(trouble.opened, now, zone)}", class_="small"
            ),
            tag("ul", *(tag("li", each) for each in signs[:40]), class_="evidence"),
            id=f"signs-{trouble.id}"[:200],
        )
        if signs
        else None,
        data_trouble=trouble.id,
    )


def _weaker(told: Sequence[str]) -> Ink | None:
    """What makes the answer weaker than it might be."""
    if not told:
        return None
    return tag(
        "div",
        tag("span", "less sure because", class_="small"),
        tag("ul", *(tag("li", each) for each in told), class_="evidence"),
        data_weaker=len(told),
    )


def _orders(trouble: str, orders: Sequence[WorkOrder]) -> list[Ink | str]:
    """Links to what is to be done about it."""
    told: list[Ink | str] = []
    for order in orders:
        if order.trouble == trouble:
            told += [urgency_words(order.urgency), " ", tag("a", order.task, href=orders_link(order=order.id)), " "]
    return told or ["No work order: nothing is sure enough yet to send somebody for."]


def suspect_lines(suspect: Suspect, controller: str, also: bool) -> Ink:
    """A suspect with how sure it is and what speaks for and against it."""
    name: Ink | str = f"{suspect.name} ({suspect.kind.value})"
    if suspect.controller is not None and suspect.controller != controller:
        name = tag("a", name, href=sled_link(suspect.controller))
    where = "" if suspect.controller == controller else (suspect.location.text or "place not told")
    return tag(
        "li",
        tag(
            "div",
            tag("b", name),
            f" {suspect.fault}; mends it: {suspect.remedy}",
            " (besides the first)" if also else None,
            tag("div", where, class_="small") if where else None,
        ),
        tag(
            "div",
            chance(suspect.probability),
            " ",
            tag("b", percent(suspect.probability), data_percent=True),
            f" {likelihood(suspect.probability)}",
            class_="how-sure",
        ),
        _reasons("speaks for it", suspect.speaks_for),
        _reasons("speaks against it", suspect.speaks_against),
        data_suspect=suspect.part,
    )


def _reasons(words: str, told: Sequence[str]) -> Ink | None:
    reasons = list(dict.fromkeys(told))
    if not reasons:
        return None
    more = [tag("li", f"and {len(reasons) - _REASONS} more")] if len(reasons) > _REASONS else []
    listed = [tag("li", each) for each in reasons[:_REASONS]]
    return tag(
        "div",
        tag("span", words, class_="small"),
        tag("ul", *listed, *more, class_="evidence"),
        data_reasons=words.split()[1],
    )


def _alike(alike: Sequence[Suspect]) -> Ink | None:
    if not alike:
        return None
    names = ", ".join(each.name for each in alike)
    return tag("p", f"The evidence can't tell these {len(alike)} apart: {names}.", data_alike=len(alike))


def margins(found: Sequence[Left]) -> Ink:
    """What this sled's parts have left."""
    title = tag("h2", "What is left", tag("span", "up to the limits, the least of each kind first", class_="count"))
    if not found:
        words = "No margin is known: no part of it tells a limit, or not enough has been read yet."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="margins")
    lines = [left_line(each, each.name) for each in least_of_each(found)]
    return tag(
        "section",
        title,
        tag("ol", *lines[:_LEFTS], class_="lines"),
        folded(lines[_LEFTS:], "with more left"),
        data_block="margins",
    )


def left_line(each: Left, name: str, href: str | None = None) -> Ink:
    """One margin: how much, of what, in which part, and by what limit."""
    margin = each.margin
    load = f"{margin.watts:.0f} W more load would use it up" if margin.watts is not None and margin.unit != "W" else ""
    basis = "; ".join(step for step in (margin.basis, load) if step)
    shown: Ink | str = tag("a", name, href=href) if href is not None else tag("b", name)
    return tag(
        "li",
        tag(
            "div",
            tag("span", reserve(each.share), class_="stands"),
            tag("span", shown, f", {margin.kind.value}: ", tag("b", each.left), class_="what"),
            tag("span", basis, class_="where small"),
            tag("span", each.used, class_="when"),
            class_="line",
        ),
        data_margin=margin.part,
        data_kind=margin.kind.value,
    )


def stay_lines(found: Sequence[Stay], now: Seconds, zone: tzinfo | None) -> list[Ink]:
    """What stood in a place, or where a serial number has been, newest first."""
    return [_stay(each, now, zone) for each in reversed(found)]


def _stay(stay: Stay, now: Seconds, zone: tzinfo | None) -> Ink:
    identity = stay.identity
    told = (
        ("serial", identity.serial),
        ("part number", identity.part_number),
        ("model", identity.model),
        ("firmware", identity.firmware),
    )
    words = ", ".join(f"{name} {value}" for name, value in told if value) or "tells no serial number"
    moves = []
    if stay.came_from:
        moves.append(f"came from {stay.came_from}")
    if stay.went_to:
        moves.append(f"went to {stay.went_to}")
    ended = f"; {stay.ended.value} {clock(stay.until, now, zone)}" if stay.ended and stay.until is not None else ""
    until = stay.until if stay.until is not None else now
    return tag(
        "li",
        tag(
            "div",
            tag("span", "there now" if stay.until is None else "gone", class_="stands"),
            tag("span", tag("b", stay.name), f": {words}", class_="what"),
            tag("span", f"{stay.began.value} {clock(stay.since, now, zone)}{ended}", *_moved(moves), class_="where"),
            tag("span", f"for {age(until - stay.since)}", class_="when"),
            class_="line",
        ),
        data_stay=identity.serial or stay.name,
        data_lasts=True if stay.until is None else None,
    )


def _moved(moves: Sequence[str]) -> list[Ink]:
    return [tag("div", "; ".join(moves), class_="small")] if moves else []
