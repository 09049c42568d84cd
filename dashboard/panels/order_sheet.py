"""One work order as a sheet for the hand: a page when printed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import tzinfo

from collector.model import Fallen, Kind, Part, Seconds, WorkOrder
from dashboard.drawings.bars import urgency_words
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.lamps import lamp_words, panel
from dashboard.drawings.qr import code
from dashboard.panels.orders import orders_link
from dashboard.views.answers import NO_RACK, running_words
from dashboard.views.places import named
from dashboard.views.words import clock

_DOWN = 12
"""Parts that go down named one by one; more are counted by kind, so that a sheet stays one page."""
_LONG = 170
"""Characters of a sentence on a sheet: one told by a controller must not push the rest off the page."""

_AFTER = (
    "Place found; the label is the one on this sheet",
    "Serial number compared with this sheet",
    "Old part out",
    "New part in, the catch holds",
    "Front shows blue on, amber off",
    "The sled page shows nothing open on it any more",
)
"""Common practice, no source."""


def print_bar() -> Ink:
    """What stands over sheets, and is not printed."""
    return tag(
        "p",
        tag("button", "Print", class_="push", type="button", data_print=True),
        class_="pushes not-printed",
    )


def sheet(
    order: WorkOrder,
    drawing: Ink | None,
    parts: Mapping[str, Part],
    now: Seconds,
    zone: tzinfo | None,
    base: str = "",
) -> Ink:
    """One order for the hand: a page when printed. ``base``: the pages' own address, for the code that leads back to
    the sled page; no code without it."""
    identity = order.identity
    bring = identity.spare_part_number or identity.part_number
    facts = (
        ("Where", order.location.text or "place not told"),
        ("Part", order.name if order.kind is Kind.OTHER else f"{order.name} ({order.kind.value})"),
        ("Made by", " ".join(step for step in (identity.manufacturer, identity.model) if step)),
        ("Bring part number", bring or "not told"),
        ("Serial of the old one", identity.serial or "not told"),
    )
    told = [join(tag("dt", name), tag("dd", _short(words), data_fact=name.lower())) for name, words in facts if words]
    otherwise = [named(parts[each]) if each in parts else each.rsplit("/", 1)[-1] for each in order.otherwise]
    return tag(
        "section",
        tag("h2", _short(order.task), tag("span", urgency_words(order.urgency), class_="count")),
        tag("p", _short(order.reason)),
        tag("div", tag("dl", *told, class_="facts"), _code(order, base), class_="sheet-top"),
        drawing,
        tag("h3", "The lamp"),
        _lamp(order),
        tag(
            "div",
            tag(
                "div",
                tag("h3", "What goes down"),
                tag("p", _down(order.takes_down)),
                tag("p", running_words(order.running)) if order.running is not None else None,
                tag("h3", "Before"),
                tag("ol", *(tag("li", _short(each)) for each in order.first[:8]), class_="ticks")
                if order.first
                else tag("p", "Nothing in particular."),
                tag("h3", "At the rack"),
                tag("ol", *(tag("li", each) for each in _AFTER), class_="ticks"),
            ),
            tag(
                "div",
                tag("h3", "Cautions"),
                tag("ul", *(tag("li", _short(each)) for each in order.cautions[:7]), class_="cautions"),
                tag("p", f"If that does not mend it, try next: {', '.join(otherwise[:4])}.") if otherwise else None,
            ),
            class_="two",
        ),
        tag(
            "div",
            *(tag("span", words) for words in ("Serial of the new one", "By", "Date and time")),
            class_="by-hand",
        ),
        tag("p", _hands(order, now, zone), class_="small", data_hands=order.state.value) if order.handling else None,
        tag("p", f"Order {order.id}; open since {clock(order.opened, now, zone)}.", class_="small"),
        _links(order),
        class_="order-sheet",
        data_sheet=order.id,
        data_urgency=order.urgency.value,
    )


def _code(order: WorkOrder, base: str) -> Ink | None:
    """The way back to the sled page, for the phone in the other hand."""
    if not base or order.controller is None:
        return None
    address = f"{base.rstrip('/')}/{sled_link(order.controller, place=order.part).removeprefix('./')}"
    drawn = code(address, "code that leads to the sled page")
    return None if drawn is None else tag("div", drawn, tag("div", "sled page", class_="small"), data_leads_to=address)


def _hands(order: WorkOrder, now: Seconds, zone: tzinfo | None) -> str:
    """Who did what about it, and what the serial numbers say."""
    if order.handling is None:
        return ""
    told = [f"{step.state.value}: {step.who}, {clock(step.at, now, zone)}" for step in order.handling.steps[-4:]]
    return ". ".join([*told, order.handling.serial_note]).rstrip(". ") + "."


def _links(order: WorkOrder) -> Ink:
    sled = tag("a", "The sled page", href=sled_link(order.controller)) if order.controller is not None else None
    walk = tag("a", "All orders of this rack", href=orders_link(rack=order.bundle or NO_RACK))
    return tag("p", sled, " · " if sled is not None else None, walk, class_="not-printed")


def _lamp(order: WorkOrder) -> Ink:
    if order.lamp is None:
        return tag(
            "p", _short(order.lamp_text) if order.lamp_text else "It has no lamp of its own.", data_lamp_to_find="none"
        )
    return tag(
        "p",
        panel(order.lamp, order.part),
        _short(order.lamp_text or lamp_words(order.lamp)),
        class_="lamp-to-find",
        data_lamp_to_find=lamp_words(order.lamp),
    )


def _down(fallen: Sequence[Fallen]) -> str:
    if not fallen:
        return "Nothing else."
    if len(fallen) <= _DOWN:
        return "; ".join(_short(each.name, 60) for each in fallen) + "."
    kinds = Counter(each.kind.value for each in fallen)
    return ", ".join(f"{number} of kind {kind}" for kind, number in kinds.most_common(12)) + "."


def _short(words: str, most: int = _LONG) -> str:
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"
