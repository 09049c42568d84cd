"""Margins, addressed as ``?page=margins``: what is left, by rack, least first; ``kind`` and ``rack`` narrow it."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import streamlit as st

from collector.model import MarginKind
from collector.store.errors import StoreError
from dashboard.mount import show
from dashboard.pages.common import EVERY, broken, now, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.margins import filters, racks
from dashboard.queries import Source
from dashboard.views.answers import by_rack, lefts

TITLE = "Margins"


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
    headroom, moment = store.headroom(), now()
    asked, rack = st.query_params.get("kind"), st.query_params.get("rack")
    kind = next((each for each in MarginKind if each.value == asked), MarginKind.HEAT)
    found = lefts([each for each in headroom.margins if each.kind is kind], headroom.places)
    shown = [each for each in by_rack(found, kind) if not rack or each.rack == rack]
    show(
        "top",
        head(TITLE, back=True),
        not_running(store.collector(), moment, state),
        filters(Counter(each.kind for each in headroom.margins), kind, rack),
    )
    show("racks", racks(shown, kind))
    show("foot", foot(moment, zone()), beat=moment)
