"""Who looks at the page that is being drawn, as Streamlit knows it."""

from __future__ import annotations

import os
import time
from pathlib import Path

import streamlit as st

from dashboard.people import NOBODY_SIGNS_IN, PEOPLE, People, Viewer, load, who_looks


@st.cache_resource
def _people(path: str) -> People:
    return load(Path(path)) if path else NOBODY_SIGNS_IN


def people() -> People:
    """The people file that the pages were started with; raises ``PeopleError`` where it went wrong meanwhile."""
    return _people(os.environ.get(PEOPLE, ""))


def viewer() -> Viewer:
    """Who looks now."""
    known = people()
    told = st.user.to_dict() if known.sign_in is not None else {}
    user = told if told.get("is_logged_in") is True else None
    return who_looks(known, st.context.ip_address, st.context.headers.to_dict(), user, time.time())
