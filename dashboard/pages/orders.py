"""Work orders, addressed as ``?page=orders``, narrowed by ``rack``, ``urgency`` and ``state``; ``order`` shows one as a
sheet, ``sheets`` all of them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from collector.model import Seconds, WorkOrder
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.spot import spot
from dashboard.mount import show
from dashboard.pages import acting
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.order_sheet import print_bar, sheet
from dashboard.panels.orders import filters, lately_closed, orders_link, the_tours, unknown_order
from dashboard.queries import Source
from dashboard.viewer import own_address
from dashboard.views.answers import chosen
from dashboard.views.cutaway import cutaway, layer_of
from dashboard.views.route import tours
from dashboard.views.sled import front_of
from dashboard.views.words import count

TITLE = "Work orders"
_MOST_SHEETS = 40
"""Sheets shown at once."""


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    refreshing(TITLE, lambda: _show(source(state), state))


def _show(store: Source, state: Path) -> None:
    orders, moment, here = store.orders(), now(), zone()
    query = st.query_params
    asked, rack, urgency, hands = (query.get(word) for word in ("order", "rack", "urgency", "state"))
    found = chosen(orders, rack, urgency, hands)
    words = f"{count(len(orders), 'order')} open"
    below: Ink | None = None
    body: list[Ink]
    if asked:
        found = tuple(order for order in (*orders, *store.closed_orders()) if order.id == asked)[:1]
        body = _sheets(store, found, moment) if found else [unknown_order(asked)]
        top = print_bar() if found else None
    elif query.get("sheets"):
        found = tuple(order for tour in tours(found) for order in tour.orders)
        body = _sheets(store, found[:_MOST_SHEETS], moment)
        more = f"The first {_MOST_SHEETS} of {len(found)}. " if len(found) > _MOST_SHEETS else ""
        back = tag("a", "Back to the list", href=orders_link(rack=rack, urgency=urgency))
        top = join(print_bar(), tag("p", f"{more}Each prints on a page of its own. ", back, class_="not-printed"))
    else:
        body = [the_tours(tours(found), moment, here, bool(orders))]
        top = filters(orders, rack, urgency, hands)
        below = lately_closed(store.closed_orders(), moment, here)
    name = head(TITLE, join(words), back=True)
    if asked or query.get("sheets"):
        name = tag("div", name, class_="not-printed")  # the sheet alone goes with the hand
    show("top", name, not_running(store.collector(), moment, state), top)
    if asked and found:
        acting.on_order(state, found[0], store.collector())
    show("orders", *body, below)
    show("foot", foot(moment, here), beat=moment)


def _sheets(store: Source, orders: Sequence[WorkOrder], moment: Seconds) -> list[Ink]:
    base = own_address()
    return [_sheet(store, order, moment, base) for order in orders]


def _sheet(store: Source, order: WorkOrder, moment: Seconds, base: str) -> Ink:
    facts = store.sled(order.controller) if order.controller is not None else None
    if facts is None:
        return sheet(order, None, {}, moment, zone(), base)
    places, name = facts.places, facts.state.controller
    front = front_of(name, places, facts.rolled, facts.statuses, facts.lamps, silent=False)
    part = places.parts.get(order.part)
    shown = {each.part for each in front.blades} if front is not None else set()
    slot = next((each.id for each in places.lineage(part) if each.id in shown), None) if part else None
    within = None
    if part is not None and part.id != slot and part.id != (front.part if front is not None else None):
        plan = cutaway(name, front, places, facts.rolled, (), silent=False)
        within = (plan, layer_of(plan, part.id, places), part.id) if plan is not None else None
    stands = store.glance.stands(name)
    rack, sled = stands if stands is not None else (None, None)
    return sheet(order, spot(rack, sled, front, slot, within), places.parts, moment, zone(), base)
