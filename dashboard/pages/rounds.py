"""Rounds: the walk through the aisle. What needs hands first, who does not answer, and the racks."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from collector.model import Health
from collector.store.errors import StoreError
from dashboard.mount import show
from dashboard.pages.common import EVERY, broken, now, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.rounds import floors, found_wrong, hands_first, heard, not_answering, racks_head, unplaced
from dashboard.queries import Fleet
from dashboard.views.telemetry import Running, running, telemetry

TITLE = "Rounds"


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    _refreshing(state)


@st.fragment(run_every=EVERY)
def _refreshing(state: Path) -> None:
    try:
        fleet = source(state).fleet()
    except StoreError as error:
        broken(TITLE, error)
        return
    _show(fleet, state)


def _show(fleet: Fleet, state: Path) -> None:
    moment, here = now(), zone()
    interval = fleet.collector.poll_interval if fleet.collector is not None else None
    told = telemetry(fleet.controllers, fleet.coverage.valued, fleet.coverage.sensors, moment, interval)
    drawn = fleet.floor
    unknown = sum(1 for sled in drawn.sleds if sled.holds == "sled" and sled.standing.health is Health.UNKNOWN)
    show(
        "top",
        head(TITLE, heard(told, moment)),
        not_running(fleet.collector, moment, state),
        hands_first(fleet.orders, fleet.tasks, moment, here),
        found_wrong(fleet.tasks, moment, here, unknown),
        not_answering(fleet.silent, moment, here),
        racks_head(drawn),
    )
    stale = running(fleet.collector, moment) is not Running.YES
    for place, piece in enumerate(floors(drawn.rows, stale)):
        show(f"row-{place}", piece)
    show("foot", unplaced(drawn), foot(moment, here), beat=moment)
