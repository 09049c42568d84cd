"""Controllers, addressed as ``?page=controllers``: the telemetry's health; ``outcome`` and ``defects`` narrow it."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from collector.store.errors import StoreError
from dashboard.mount import show
from dashboard.pages.common import EVERY, broken, now, source, tidy, zone
from dashboard.panels.controllers import costs, filters, table
from dashboard.panels.frame import foot, head, not_running
from dashboard.queries import Source
from dashboard.views.controllers import cost, heard, narrowed, outcomes

TITLE = "Controllers"


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
    collector, moment, here = store.collector(), now(), zone()
    interval = collector.poll_interval if collector is not None else None
    found = heard(store.controllers(), store.places(), interval)
    outcome, defects = st.query_params.get("outcome"), bool(st.query_params.get("defects"))
    show(
        "top",
        head(TITLE, costs(cost(found)), back=True),
        not_running(collector, moment, state),
        filters(outcomes(found), outcome, defects),
    )
    show("controllers", table(narrowed(found, outcome, defects), moment, here))
    show("foot", foot(moment, here), beat=moment)
