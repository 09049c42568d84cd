"""Work orders, addressed as ``?page=orders``, narrowed by ``rack`` and ``urgency``; ``order`` shows one as a sheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from collector.model import Kind, Seconds, WorkOrder
from collector.store.errors import StoreError
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.spot import spot
from dashboard.mount import show
from dashboard.pages.common import EVERY, broken, now, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.orders import filters, orders_link, sheet, the_walks, unknown_order
from dashboard.queries import Source
from dashboard.views.answers import chosen, walks
from dashboard.views.floor import Floor
from dashboard.views.sled import front_of
from dashboard.views.words import count

TITLE = "Work orders"
_MOST_SHEETS = 40
"""Sheets shown at once."""


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    _refreshing(state)


@st.fragment(run_every=EVERY)
def _refreshing(state: Path) -> None:
    try:
        _show(source(state), state)
    except StoreError as error:
        broken(TITLE, error, back=True)


def _show(store: Source, state: Path) -> None:
    orders, moment, here = store.orders(), now(), zone()
    asked, rack = st.query_params.get("order"), st.query_params.get("rack")
    urgency = st.query_params.get("urgency")
    found = chosen(orders, rack, urgency)
    words = f"{count(len(orders), 'order')} open"
    body: list[Ink]
    if asked:
        found = tuple(order for order in orders if order.id == asked)
        body = _sheets(store, found, moment) if found else [unknown_order(asked)]
        top = None
    elif st.query_params.get("sheets"):
        body = _sheets(store, found[:_MOST_SHEETS], moment)
        more = f"The first {_MOST_SHEETS} of {len(found)}. " if len(found) > _MOST_SHEETS else ""
        back = tag("a", "Back to the list", href=orders_link(rack=rack, urgency=urgency))
        top = tag("p", f"{more}Each prints on a page of its own. ", back, class_="not-printed")
    else:
        body = [the_walks(walks(found), moment, here, bool(orders))]
        top = filters(orders, rack, urgency)
    name = head(TITLE, join(words), back=True)
    if asked or st.query_params.get("sheets"):
        name = tag("div", name, class_="not-printed")  # the sheet alone goes with the hand
    show("top", name, not_running(store.collector(), moment, state), top)
    show("orders", *body)
    show("foot", foot(moment, here), beat=moment)


def _sheets(store: Source, orders: Sequence[WorkOrder], moment: Seconds) -> list[Ink]:
    floor = store.fleet().floor
    return [_sheet(store, floor, order, moment) for order in orders]


def _sheet(store: Source, floor: Floor, order: WorkOrder, moment: Seconds) -> Ink:
    facts = store.sled(order.controller) if order.controller is not None else None
    if facts is None:
        return sheet(order, None, {}, moment, zone())
    places = facts.places
    front = front_of(facts.state.controller, places, facts.rolled, facts.statuses, facts.lamps, silent=False)
    part = places.parts.get(order.part)
    blade = next((each.id for each in places.lineage(part) if each.kind is Kind.BLADE), None) if part else None
    stands = next(
        (
            (rack, sled)
            for row in floor.rows
            for rack in row.racks
            for sled in rack.sleds
            if sled.controller == order.controller
        ),
        None,
    )
    rack, sled = stands if stands is not None else (None, None)
    return sheet(order, spot(rack, sled, front, blade), places.parts, moment, zone())
