"""One part opened: how it stands, its readings with limits and trend, what is wrong, what happened, who it was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

from collector.model import Identity, Seconds, Stay
from dashboard.drawings.bars import urgency_words
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.lamps import lamp_words, panel
from dashboard.drawings.marks import worded
from dashboard.panels.answers import left_line, stay_lines, suspect_lines
from dashboard.panels.orders import orders_link
from dashboard.panels.readings import table
from dashboard.panels.sled import condition_lines, event_lines
from dashboard.panels.worked import worked_line
from dashboard.views.part import InHand
from dashboard.views.places import Places, label, named
from dashboard.views.readings import ReadingLine
from dashboard.views.words import count

_EVENTS = 6


@dataclass(frozen=True, slots=True)
class Past:
    """Who stood in a part's place, and where its serial number has been."""

    here: Sequence[Stay]
    of_serial: Sequence[Stay]


def part_head(held: InHand, asked: bool) -> Ink:
    """The part in hand: name, health, place, lamp, what is to be done. ``asked``: whether a person chose it."""
    part = held.part
    return tag(
        "section",
        tag("h2", named(part), tag("span", worded(held.standing), class_="count")),
        tag("p", held.place or "place not told", _holder(held), class_="small"),
        _lamp(held),
        tag("p", f"Its controller says: {held.told}.", class_="small") if held.told else None,
        *(_order(held)),
        class_="part-panel",
        id="part",
        data_part_head=part.id,
        data_reveal=part.id if asked else None,
        data_health=held.standing.health.word,
    )


def part_panel(
    held: InHand,
    places: Places,
    opened: ReadingLine | None,
    unfolded: Ink | None,
    past: Past,
    now: Seconds,
    zone: tzinfo | None,
) -> Ink:
    """All else that is known of the part in hand. ``unfolded``: the history of the opened reading."""
    part = held.part
    pieces = [
        _readings(held, opened, unfolded, now, zone),
        _block("Conditions", "conditions", condition_lines(held.conditions, places, now, zone), len(held.conditions)),
        _block(
            "Suspected",
            "suspected",
            join(*(suspect_lines(one, part.controller, one.part in trouble.also) for trouble, one in held.accused)),
            len(held.accused),
            "suspects",
        ),
        _block("What is left", "left", join(*(left_line(each, each.name) for each in held.lefts)), len(held.lefts)),
        _block("What follows", "worked", join(*map(worked_line, held.worked)), len(held.worked)),
        _block(
            "Events",
            "events",
            event_lines(held.events[:_EVENTS], places, now, zone),
            len(held.events),
        ),
        _identity(part.identity),
        _past(held, past, now, zone),
        _within(held),
    ]
    return tag("section", *pieces, class_="part-panel", data_part_panel=part.id)


def no_part() -> Ink:
    """Said where no part is in hand."""
    words = "Choose a part in a drawing, or from the list of parts further down: its readings, margins, events and past"
    return tag("section", tag("p", f"{words} open here.", class_="nothing"), class_="part-panel", data_part_panel="")


def _holder(held: InHand) -> Ink | None:
    if held.holder is None:
        return None
    return join(" · in ", _link(held.part.controller, held.holder.id, named(held.holder)))


def _link(controller: str, part: str, words: str) -> Ink:
    return tag("a", words, href=sled_link(controller, place=part), data_pick=f"place={part}")


def _lamp(held: InHand) -> Ink | None:
    if held.lamps is None:
        return None
    return tag(
        "p",
        panel(held.lamps, held.part.id),
        tag("span", f"should show {lamp_words(held.lamps)}"),
        class_="lamp-to-find",
        data_lamp_of_part=lamp_words(held.lamps),
    )


def _order(held: InHand) -> list[Ink]:
    return [
        tag(
            "p",
            urgency_words(order.urgency),
            " ",
            tag("a", order.task, href=orders_link(order=order.id)),
            data_part_order=order.id,
        )
        for order in held.orders
    ]


def _readings(held: InHand, opened: ReadingLine | None, unfolded: Ink | None, now: Seconds, zone: tzinfo | None) -> Ink:
    if not held.lines:
        return tag("p", "Nothing is measured at it.", class_="nothing")
    return tag("div", table(held.lines, opened, unfolded, now, zone), class_="of-one", data_block="part-readings")


def _block(title: str, name: str, body: Ink, number: int, css: str = "lines") -> Ink | None:
    if not number:
        return None
    return tag(
        "div",
        tag("h3", title),
        tag("ol", body, class_=css),
        data_part_block=name,
    )


def _identity(identity: Identity) -> Ink | None:
    facts = (
        ("made by", identity.manufacturer),
        ("model", identity.model),
        ("part number", identity.part_number),
        ("spare part number", identity.spare_part_number),
        ("serial", identity.serial),
        ("firmware", identity.firmware),
        ("asset tag", identity.asset_tag),
    )
    told = [join(tag("dt", name), tag("dd", words, data_fact=name)) for name, words in facts if words]
    if not told:
        return None
    return tag("div", tag("h3", "What it calls itself"), tag("dl", *told, class_="facts"), data_part_block="identity")


def _past(held: InHand, past: Past, now: Seconds, zone: tzinfo | None) -> Ink:
    here = stay_lines(past.here, now, zone)
    serial = held.part.identity.serial
    of_serial = stay_lines(past.of_serial, now, zone) if serial else []
    return tag(
        "div",
        tag(
            "details",
            tag("summary", f"Who stood in this place: {count(len(here), 'entry', 'entries')}"),
            tag("ol", *here[:30], class_="lines") if here else tag("p", "Nothing is on record.", class_="nothing"),
            id="stood-here",
            data_block="stays",
            data_place=held.part.id,
        ),
        tag(
            "details",
            tag("summary", f"Where serial number {serial} has been: {count(len(of_serial), 'entry', 'entries')}"),
            tag("ol", *of_serial[:30], class_="lines")
            if of_serial
            else tag("p", "Nothing is on record.", class_="nothing"),
            id="of-serial",
            data_block="stays-of-serial",
        )
        if serial
        else None,
        class_="past",
    )


def _within(held: InHand) -> Ink | None:
    if not held.within:
        return None
    links = [tag("li", _link(each.controller, each.id, label(each))) for each in held.within]
    return tag(
        "details",
        tag("summary", f"Parts in it: {len(links)}"),
        tag("ul", *links, class_="chips"),
        id="parts-within",
    )
