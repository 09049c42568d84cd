"""What all pages do: find the store, know the time, look again, and say so when the store can't be read."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import streamlit as st

from collector.model import Seconds
from collector.store.errors import StoreError, StoreMissing
from dashboard.mount import show
from dashboard.panels.frame import foot, head, nothing_yet, unreadable
from dashboard.queries import Source
from dashboard.viewer import zone as zone

EVERY = 3.0
"""Seconds between two looks at the store."""

_TIDY = """<style>
[data-testid="stHeader"], [data-testid="stDialog"] { display: none; }
[data-testid="stMainBlockContainer"] { padding: 1rem clamp(0.9rem, 3vw, 2.5rem) 3rem; }
[data-testid="stExpander"] summary, [data-testid="stFormSubmitButton"] button, .stTextInput input,
  [data-baseweb="select"] > div { min-height: 2.75rem; }
[data-stale], [data-testid="stElementContainer"] { opacity: 1 !important; transition: none !important; }
@page { margin: 12mm 14mm; }
@media print {
  html, body, .stApp, .stApp *:has([data-testid="stMainBlockContainer"]), [data-testid="stMainBlockContainer"] {
    position: static !important; overflow: visible !important; height: auto !important; padding: 0 !important;
    display: block !important; background: white !important; }
  [data-testid="stVerticalBlock"] { gap: 0 !important; }
  [data-testid="stExpander"], [data-testid="stForm"] { display: none !important; }
}
</style>"""


@lru_cache(maxsize=16)
def source(state_dir: Path) -> Source:
    """One source a state directory, shared by all viewers."""
    return Source(state_dir)


def tidy() -> None:
    """Use the width of a narrow screen; drop the empty bar at the top and Streamlit's word about a lost connection,
    which asks for the internet where our own says what is wrong; nothing fades while the page looks again."""
    st.html(_TIDY)


def now() -> Seconds:
    """The time, read here at the edge."""
    return time.time()


@st.fragment(run_every=EVERY)
def refreshing(title: str, draw: Callable[[], None], back: bool = True) -> None:
    """Draw what a page reads of the store, and again every few seconds; say so where the store can't be read.

    ``back``: whether the page that says so leads back to Rounds.
    """
    try:
        draw()
    except StoreError as error:
        _broken(title, error, back)


def _broken(title: str, error: StoreError, back: bool) -> None:
    """Say why there is nothing to see."""
    missing = isinstance(error, StoreMissing)
    words = nothing_yet(error.state_dir) if missing else unreadable(error.problem, error.advice)
    moment = now()
    show("broken", head(title, back=back), words, foot(moment, zone()), beat=moment)
