"""Who looks: what this browser chose, from the address, this session and the browser's cookie, in this order."""

from __future__ import annotations

import os
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import streamlit as st

from dashboard.serve import PUBLIC_URL
from dashboard.views.preferences import Preferences, chosen, written

COOKIE = "sledkeeper_view"
"""The browser's choices; dashboard/mount.py writes it."""
ADDRESS = "view"
_SESSION = "chosen_view"


def cookie(name: str) -> str:
    """A cookie as the browser sent it when it connected; "" where it has none."""
    try:
        return str(st.context.cookies.get(name, ""))
    except AttributeError:  # no browser: a test drives the page
        return ""


def preferences() -> Preferences:
    """What the viewer chose; an address that says something is obeyed first, so that it can be shared."""
    kept = st.session_state.get(_SESSION)
    before = chosen(str(kept) if kept is not None else cookie(COOKIE))
    return chosen(st.query_params.get(ADDRESS, ""), before)


def prefer(word: str) -> None:
    """Put one choice over those that hold, for the rest of this session: a cookie comes only with the next page."""
    st.session_state[_SESSION] = written(chosen(word, preferences()))
    if ADDRESS in st.query_params:
        del st.query_params[ADDRESS]


def to_keep() -> dict[str, str]:
    """The cookie that the browser is to keep: what was chosen in this session, and nothing for a mere address."""
    kept = st.session_state.get(_SESSION)
    return {} if kept is None else {COOKIE: str(kept)}


def own_address() -> str:
    """The pages' own address as others reach it: what the server was told, else what this browser asked for."""
    told = os.environ.get(PUBLIC_URL, "")
    if told:
        return told
    try:
        asked = st.context.url or ""
    except AttributeError:  # no browser: a test drives the page
        asked = ""
    return asked.partition("?")[0].partition("#")[0].rstrip("/")


def zone() -> ZoneInfo | None:
    """The zone to tell times in; None for UTC: chosen, or the browser tells no zone, or one that is not known."""
    if preferences().utc:
        return None
    name = st.context.timezone
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return None
