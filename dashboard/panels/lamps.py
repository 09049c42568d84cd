"""The lamp reader: which sled, which front, what it shows, what that means. Made for one thumb."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlencode

from collector.assess.lamps import Panel
from collector.model import Lamps, LampState, Part, WorkOrder
from dashboard.drawings.bars import urgency_words
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.lamps import lamp_words, one_lamp, panel
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.panels.orders import orders_link
from dashboard.views.lamps import Decoded, Seen
from dashboard.views.places import label, named
from dashboard.views.words import count

STATES = ((LampState.OFF, "off"), (LampState.ON, "steady"), (LampState.BLINK, "blinking"))
"""As a person says it."""


def lamps_link(**filters: str | None) -> str:
    """Where the lamp reader stands, with what is chosen; what is None is left out."""
    return "./?" + urlencode({"page": "lamps", **{name: told for name, told in filters.items() if told}})


def big(words: str | Ink, pick: str, pressed: bool = False, label_: str | None = None, small: str = "") -> Ink:
    """A button for a thumb."""
    return tag(
        "button",
        tag("span", words),
        tag("span", small, class_="small") if small else None,
        type="button",
        class_="thumb",
        data_pick=pick,
        aria_pressed="true" if pressed else "false",
        aria_label=label_,
    )


def choose_rack(racks: Sequence[tuple[str, str, int]]) -> Ink:
    """Racks as buttons: (id in the address, name, number of sleds)."""
    if not racks:
        return tag("section", tag("p", "The fleet has no sled yet.", class_="nothing"), data_block="choose-rack")
    buttons = [big(name, f"rack={key}", small=count(number, "sled")) for key, name, number in racks]
    return tag(
        "section",
        tag("h2", "Which rack?"),
        tag("div", *buttons, class_="thumbs"),
        data_block="choose-rack",
    )


def choose_sled(rack: str, sleds: Sequence[tuple[str, str, str, Standing]]) -> Ink:
    """A rack's sleds from the top down, as one sees them: (controller, label, place in the rack, standing)."""
    buttons = [
        big(join(tag("b", label_), " ", worded(standing, standing.health.word)), f"at={controller}", small=place)
        for controller, label_, place, standing in sleds
    ]
    return tag(
        "section",
        tag("h2", f"Which sled in {rack}?", tag("span", "from the top down", class_="count")),
        tag("div", *buttons, class_="thumbs one-wide"),
        tag("p", tag("a", "another rack", href=lamps_link())),
        data_block="choose-sled",
    )


def choose_front(parts: Sequence[Part], chosen: str | None, drawing: Ink | None) -> Ink:
    """Which front of a sled: case, blades, supplies."""
    buttons = [
        big(label(part), f"part={part.id}", pressed=part.id == chosen, label_=f"front of {named(part)}")
        for part in parts
    ]
    return tag(
        "section",
        tag("h2", "Which front?"),
        drawing,
        tag("div", *buttons, class_="thumbs paired"),
        data_block="choose-front",
    )


def ask_lamps(part: Part, kind: Panel, seen: Seen) -> Ink:
    """A big panel to tap: each lamp with its three states."""
    rows = [_row("blue", "Blue lamp", seen.blue), _row("amber", _amber_name(kind), seen.amber)]
    if kind is Panel.POWER_SUPPLY:
        rows += [_row("low", "Amber lamp: low voltage", seen.low), _row("backup", "Amber lamp: on backup", seen.backup)]
    return tag(
        "section",
        tag("h2", f"What does {label(part)} show?"),
        tag("p", _plate(part), class_="small"),
        tag("div", *rows, class_="tapped-panel"),
        data_block="ask-lamps",
        data_of=part.id,
        data_reveal=part.id,
    )


def _plate(part: Part) -> str:
    told = (("serial", part.identity.serial), ("model", part.identity.model))
    return ", ".join(f"{name} {words}" for name, words in told if words) or "it tells no serial number"


def _amber_name(kind: Panel) -> str:
    return "Amber lamp: fault" if kind is Panel.POWER_SUPPLY else "Amber lamp"


def _row(name: str, words: str, state: LampState | None) -> Ink:
    colour = "blue" if name == "blue" else "amber"
    buttons = [
        tag(
            "button",
            one_lamp(colour, each, f"choice-{name}-{each.value}"),
            tag("span", said),
            type="button",
            class_="thumb lens",
            data_pick=f"{name}={each.value}",
            aria_pressed="true" if state is each else "false",
            aria_label=f"{words}: {said}",
        )
        for each, said in STATES
    ]
    return tag("div", tag("h3", words), tag("div", *buttons, class_="three"), role="group", aria_label=words)


def answer(part: Part, decoded: Decoded, seen: Lamps, orders: Sequence[WorkOrder]) -> Ink:
    """What it means, how it compares, what to do."""
    fits = {True: "agrees", False: "differs", None: "open"}[decoded.fits]
    lines = [
        tag(
            "p",
            urgency_words(order.urgency),
            " ",
            tag("a", order.task, href=orders_link(order=order.id)),
            data_order_here=order.id,
        )
        for order in orders
    ]
    return tag(
        "section",
        tag("h2", panel(seen, "seen"), f"{lamp_words(seen)}"),
        tag("p", decoded.says, class_="says", data_means=True),
        tag("p", decoded.table, class_="small"),
        tag("p", decoded.against, class_=f"against {fits}", data_against=fits),
        tag("h3", "Check next"),
        tag("ol", *(tag("li", each) for each in decoded.next)),
        tag("h3", "Work orders here"),
        *(lines or [tag("p", "None.", class_="nothing")]),
        tag(
            "p",
            tag("a", "The sled page, at this part", href=sled_link(part.controller, place=part.id), class_="push"),
            class_="pushes",
        ),
        data_block="answer",
        data_reveal=f"{part.id} {lamp_words(seen)}",
        class_="lamp-answer",
    )


def where(sled: str, place: str, told: str, controller: str) -> Ink:
    """The sled that is looked at."""
    return tag(
        "p",
        tag("b", sled),
        f" {place} · {told} ",
        tag("a", "another sled", href=lamps_link()),
        data_at=controller,
        class_="at-sled",
    )


def reverse(wanted: Lamps | None, found: Sequence[tuple[str, str, str]], number: int) -> Ink:
    """The other way round: fronts that should show something; ``found``: (link, name, place)."""
    pairs = (
        (Lamps(LampState.ON, LampState.BLINK), "running, to be found"),
        (Lamps(LampState.OFF, LampState.BLINK), "off, to be found"),
        (Lamps(LampState.ON, LampState.ON), "running with a fault"),
        (Lamps(LampState.OFF, LampState.ON), "a fault, or off with one"),
        (Lamps(LampState.OFF, LampState.OFF), "off, no fault"),
    )
    buttons = [
        tag(
            "button",
            panel(lamps, f"should-{lamps.blue.value}-{lamps.amber.value}"),
            tag("span", f"{lamp_words(lamps)}: {meaning}"),
            type="button",
            class_="thumb",
            data_pick=f"should={lamps.blue.value},{lamps.amber.value}",
            aria_pressed="true" if lamps == wanted else "false",
        )
        for lamps, meaning in pairs
    ]
    return tag(
        "section",
        tag("h2", "Or: where should a lamp be lit?"),
        tag("div", *buttons, class_="thumbs one-wide"),
        _found(wanted, found, number) if wanted is not None else None,
        data_block="reverse",
    )


def _found(wanted: Lamps, found: Sequence[tuple[str, str, str]], number: int) -> Ink:
    words = f"{count(number, 'front')} should show {lamp_words(wanted)}"
    if number > len(found):
        words += f"; the first {len(found)} by place"
    lines = [
        tag("li", tag("a", tag("b", name), f" {place}", href=link, class_="line-link"), data_should=name)
        for link, name, place in found
    ]
    return tag(
        "div",
        tag("p", f"{words}." if number else f"No front should show {lamp_words(wanted)}."),
        tag("ol", *lines, class_="lines"),
        data_found=number,
        data_reveal=f"should {lamp_words(wanted)}",
    )
