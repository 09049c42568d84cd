"""Controllers, addressed as ``?page=controllers``: the telemetry's health; ``outcome``, ``need``, ``find`` narrow."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard.mount import show
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels.controllers import MOST, costs, filters, table, unread
from dashboard.panels.frame import foot, head, not_running
from dashboard.queries import Source
from dashboard.views.controllers import Need, cost, heard, narrowed, needs, outcomes

TITLE = "Controllers"


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    refreshing(TITLE, lambda: _show(source(state), state))


def _show(store: Source, state: Path) -> None:
    collector, moment, here = store.collector(), now(), zone()
    interval = collector.poll_interval if collector is not None else None
    places = store.places()
    found = heard(store.controllers(), lambda each: places.controller_place(each.controller), interval, moment)
    outcome, find = st.query_params.get("outcome"), (st.query_params.get("find") or "")[:120].strip()
    need = next((each for each in Need if each.value == st.query_params.get("need")), None)
    shown = narrowed(found, outcome, need, find)
    faulty = [each.state.controller for each in shown[:MOST] if each.state.defects]
    show(
        "top",
        head(TITLE, costs(cost(found)), back=True),
        not_running(collector, moment, state),
        filters(outcomes(found), needs(found), outcome, need, find),
    )
    defects = store.defects_of(faulty) if need is Need.DEFECTS or find else None
    show("controllers", table(shown, moment, here, defects))
    show("unread", unread(store.unread()))
    show("foot", foot(moment, here), beat=moment)
