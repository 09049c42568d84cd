"""Work orders: the list by walk with its filter, and one order as a sheet for the hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import tzinfo
from urllib.parse import urlencode

from collector.model import Fallen, Part, Seconds, WorkOrder
from dashboard.drawings.bars import urgency_words
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.lamps import lamp_words, panel
from dashboard.panels.frame import folded
from dashboard.views.answers import NO_RACK, SOONEST, Walk, running_words
from dashboard.views.places import named
from dashboard.views.words import age, clock, count

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


def orders_link(**filters: str | None) -> str:
    """Where the work orders stand, with a filter or an order; what is None is left out."""
    return "./?" + urlencode({"page": "orders", **{name: told for name, told in filters.items() if told}})


def order_line(order: WorkOrder, now: Seconds, zone: tzinfo | None) -> Ink:
    """One line: how soon, what to do, where."""
    down = count(len(order.takes_down), "part")
    return tag(
        "li",
        tag(
            "a",
            tag("span", urgency_words(order.urgency), class_="stands"),
            tag(
                "span",
                tag("b", order.name),
                f": {_sentence(order)}",
                tag("span", f" Takes {down} down.", class_="risks") if order.takes_down else None,
                class_="what",
            ),
            tag("span", order.location.text or "place not told", class_="where"),
            tag(
                "span", f"for {age(now - order.opened)}", class_="when", title=f"since {clock(order.opened, now, zone)}"
            ),
            href=orders_link(order=order.id),
            class_="line",
        ),
        data_order=order.id,
        data_urgency=order.urgency.value,
    )


def _sentence(order: WorkOrder) -> str:
    """The task without the place, which stands beside it."""
    place = order.location.text
    task = order.task.replace(f" at {place}", "", 1) if place else order.task
    return task if task.endswith(".") else f"{task}."


def filters(orders: Sequence[WorkOrder], rack: str | None, urgency: str | None) -> Ink:
    """Links that narrow the list; the address keeps what is chosen."""
    soon = Counter(order.urgency.value for order in orders if not rack or (order.bundle or NO_RACK) == rack)
    racks = Counter(order.bundle or NO_RACK for order in orders if not urgency or order.urgency.value == urgency)
    how_soon = [_choice("any", sum(soon.values()), not urgency, orders_link(rack=rack))]
    how_soon += [
        _choice(each.value, soon[each.value], urgency == each.value, orders_link(rack=rack, urgency=each.value))
        for each in SOONEST
    ]
    where = [_choice("every rack", sum(racks.values()), not rack, orders_link(urgency=urgency))]
    where += [
        _choice(name, racks[name], rack == name, orders_link(rack=name, urgency=urgency)) for name in sorted(racks)
    ]
    return join(
        tag("nav", tag("span", "How soon", class_="of"), *how_soon, class_="choices", aria_label="How soon"),
        tag("nav", tag("span", "Where", class_="of"), *where, class_="choices", aria_label="Where"),
    )


def _choice(words: str, number: int, taken: bool, href: str) -> Ink:
    return tag("a", f"{words} ({number})", href=href, aria_current="true" if taken else None)


def the_walks(found: Sequence[Walk], now: Seconds, zone: tzinfo | None, any_open: bool) -> Ink:
    """Orders by walk."""
    if not found:
        words = "None of the open orders is of this kind." if any_open else "No work order is open."
        return tag("section", tag("p", words, class_="nothing"), data_block="walks")
    return tag("div", *(_walk(each, now, zone) for each in found), data_block="walks")


def _walk(walk: Walk, now: Seconds, zone: tzinfo | None) -> Ink:
    lines = [order_line(order, now, zone) for order in walk.orders]
    return tag(
        "section",
        tag(
            "h2",
            walk.rack,
            tag("span", count(len(walk.orders), "order"), class_="count"),
            tag("a", "all as sheets", href=orders_link(rack=walk.rack, sheets="all"), class_="count"),
        ),
        tag("ol", *lines[:20], class_="lines"),
        folded(lines[20:], "more"),
        data_walk=walk.rack,
    )


def sheet(order: WorkOrder, drawing: Ink | None, parts: Mapping[str, Part], now: Seconds, zone: tzinfo | None) -> Ink:
    """One order for the hand: a page when printed."""
    identity = order.identity
    bring = identity.spare_part_number or identity.part_number
    facts = (
        ("Where", order.location.text or "place not told"),
        ("Part", f"{order.name} ({order.kind.value})"),
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
        tag("div", tag("dl", *told, class_="facts"), drawing, class_="sheet-top"),
        tag("h3", "The lamp"),
        _lamp(order),
        tag("h3", "What goes down"),
        tag("p", _down(order.takes_down)),
        tag("p", running_words(order.running)) if order.running is not None else None,
        tag("h3", "Before"),
        tag("ol", *(tag("li", _short(each)) for each in order.first[:8]), class_="ticks") if order.first else None,
        tag("h3", "Cautions"),
        tag("ul", *(tag("li", _short(each)) for each in order.cautions[:7]), class_="cautions"),
        tag("h3", "At the rack"),
        tag("ol", *(tag("li", each) for each in _AFTER), class_="ticks"),
        tag("p", f"If that does not mend it, try next: {', '.join(otherwise[:4])}.") if otherwise else None,
        tag(
            "div",
            *(tag("span", words) for words in ("Serial of the new one", "By", "Date and time")),
            class_="by-hand",
        ),
        tag("p", f"Order {order.id}; open since {clock(order.opened, now, zone)}.", class_="small"),
        _links(order),
        class_="order-sheet",
        data_sheet=order.id,
        data_urgency=order.urgency.value,
    )


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


def unknown_order(asked: str) -> Ink:
    """Said where the address names an order that is not open."""
    return tag(
        "section",
        tag("p", "No open work order is called ", tag("code", asked), "."),
        tag("p", "It may be done: then its trouble has cleared.", class_="small"),
        class_="notice is-unknown",
        role="status",
        data_notice="unknown-order",
    )
