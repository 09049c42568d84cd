"""Work orders: the list as tours with its filter, who has which, what closed lately."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import tzinfo
from urllib.parse import urlencode

from collector.model import OrderState, Seconds, Urgency, WorkOrder
from dashboard.drawings.bars import urgency_words
from dashboard.drawings.ink import Ink, join, tag
from dashboard.panels.frame import folded
from dashboard.views.answers import NO_RACK, SOONEST, chosen
from dashboard.views.route import HANDS, Stop, Tour, natural
from dashboard.views.words import age, clock, count


def orders_link(**filters: str | None) -> str:
    """Where the work orders stand, with a filter or an order; what is None is left out."""
    return "./?" + urlencode({"page": "orders", **{name: told for name, told in filters.items() if told}})


def order_line(order: WorkOrder, now: Seconds, zone: tzinfo | None) -> Ink:
    """One line: how soon, what to do, where."""
    down = count(len(order.takes_down), "part")
    state = state_words(order, now)
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
            tag(
                "span",
                order.location.text or "place not told",
                tag("em", state, class_="held") if state else None,
                class_="where",
            ),
            tag(
                "span", f"for {age(now - order.opened)}", class_="when", title=f"since {clock(order.opened, now, zone)}"
            ),
            href=orders_link(order=order.id),
            class_="line",
        ),
        data_order=order.id,
        data_urgency=order.urgency.value,
        data_order_state=order.state.value,
    )


def _sentence(order: WorkOrder) -> str:
    """The task without the place, which stands beside it."""
    place = order.location.text
    task = order.task.replace(f" at {place}", "", 1) if place else order.task
    return task if task.endswith(".") else f"{task}."


def filters(orders: Sequence[WorkOrder], rack: str | None, urgency: str | None, state: str | None = None) -> Ink:
    """Links that narrow the list; the address keeps what is chosen."""
    soon = Counter(order.urgency.value for order in chosen(orders, rack, None, state))
    racks = Counter(order.bundle or NO_RACK for order in chosen(orders, None, urgency, state))
    states = Counter(order.state.value for order in chosen(orders, rack, urgency))

    def link(**other: str | None) -> str:
        return orders_link(**{"rack": rack, "urgency": urgency, "state": state, **other})

    how_soon = [_choice("any", sum(soon.values()), not urgency, link(urgency=None))]
    how_soon += [
        _choice(each.value, soon[each.value], urgency == each.value, link(urgency=each.value)) for each in SOONEST
    ]
    where = [_choice("every rack", sum(racks.values()), not rack, link(rack=None))]
    where += [_choice(name, racks[name], rack == name, link(rack=name)) for name in sorted(racks, key=natural)]
    hands = [_choice("any", sum(states.values()), not state, link(state=None))]
    hands += [_choice(each.value, states[each.value], state == each.value, link(state=each.value)) for each in HANDS]
    return join(
        tag("nav", tag("span", "Whose hands", class_="of"), *hands, class_="choices", aria_label="Whose hands"),
        tag("nav", tag("span", "How soon", class_="of"), *how_soon, class_="choices", aria_label="How soon"),
        tag("nav", tag("span", "Where", class_="of"), *where, class_="choices", aria_label="Where"),
    )


def _choice(words: str, number: int, taken: bool, href: str) -> Ink:
    return tag("a", f"{words} ({number})", href=href, aria_current="true" if taken else None)


def the_tours(found: Sequence[Tour], now: Seconds, zone: tzinfo | None, any_open: bool) -> Ink:
    """Orders by tour and rack, in the order of the walk."""
    if not found:
        words = "None of the open orders is of this kind." if any_open else "No work order is open."
        return tag("section", tag("p", words, class_="nothing"), data_block="tours")
    return tag("div", *(_tour(each, now, zone) for each in found), data_block="tours")


_TOURS = {Urgency.NOW: "Go now", Urgency.TODAY: "Go today", Urgency.NEXT_VISIT: "On the next visit"}


def _tour(tour: Tour, now: Seconds, zone: tzinfo | None) -> Ink:
    words = f"{count(len(tour.orders), 'order')} at {count(len(tour.stops), 'rack')}"
    stops = [_stop(stop, place, len(tour.stops), tour.urgency, now, zone) for place, stop in enumerate(tour.stops, 1)]
    return tag(
        "section",
        tag("h2", _TOURS[tour.urgency], tag("span", f"{words}, in the order of the walk", class_="count")),
        *stops,
        data_tour=tour.urgency.value,
    )


def _stop(stop: Stop, place: int, of: int, urgency: Urgency, now: Seconds, zone: tzinfo | None) -> Ink:
    lines = [order_line(order, now, zone) for order in stop.orders]
    later = sum(1 for order in stop.orders if order.urgency is not urgency)
    told = f"stop {place} of {of}, " if of > 1 else ""
    words = f"{told}from the bottom up" + (f"; {later} less urgent, while you are there" if later else "")
    return tag(
        "div",
        tag(
            "h3",
            stop.rack,
            tag("span", f" {words} ", class_="small"),
            tag("a", "all as sheets", href=orders_link(rack=stop.rack, sheets="all")),
        ),
        tag("ol", *lines[:20], class_="lines"),
        folded(lines[20:], "more"),
        data_walk=stop.rack,
    )


def lately_closed(orders: Sequence[WorkOrder], now: Seconds, zone: tzinfo | None) -> Ink | None:
    """Orders that closed, newest first, folded; None where there are none."""
    lines = [
        tag(
            "li",
            tag("b", order.name),
            f" {order.location.text or 'place not told'}: closed {clock(order.closed, now, zone)}",
            tag("div", _steps(order, now, zone), class_="small"),
            data_closed_order=order.id,
        )
        for order in orders
        if order.closed is not None
    ]
    if not lines:
        return None
    return tag(
        "section",
        tag("details", tag("summary", f"Closed lately: {len(lines)}"), tag("ul", *lines), id="closed-orders"),
        data_block="closed",
    )


def _steps(order: WorkOrder, now: Seconds, zone: tzinfo | None) -> str:
    if order.handling is None:
        return "nobody took it: what it was for cleared by itself"
    told = [f"{step.state.value} {step.who}, {clock(step.at, now, zone)}" for step in order.handling.steps]
    return "; ".join([*told, order.handling.serial_note]).rstrip("; ")


def state_words(order: WorkOrder, now: Seconds) -> str:
    """How far an order is and who has it, e.g. ``taken by Tamsin Orrel, 12 min``; "" while it is open."""
    handling = order.handling
    if order.state is OrderState.OPEN or handling is None:
        return ""
    return f"{order.state.value}: {handling.who}, {age(now - handling.since)}"


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
