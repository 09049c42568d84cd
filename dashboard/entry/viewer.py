"""Who looks at the page that is being drawn, as Streamlit knows it."""

from __future__ import annotations

import os
import time
from pathlib import Path

import streamlit as st

from dashboard.people import NOBODY_SIGNS_IN, People, Viewer, load, who_looks

PEOPLE = "SLEDKEEPER_PEOPLE"
"""Environment variable with the path of the people file, set by :mod:`dashboard.serve`."""


@st.cache_resource
def _people(path: str) -> People:
    return load(Path(path)) if path else NOBODY_SIGNS_IN


def people() -> People:
    """The people file that the pages were started with; raises ``PeopleError`` where it went wrong meanwhile."""
    return _people(os.environ.get(PEOPLE, ""))


def viewer() -> Viewer:
    """Who looks now."""
    known = people()
    user = st.user.to_dict() if known.sign_in is not None and st.user.is_logged_in else None
    return who_looks(known, st.context.ip_address, st.context.headers.to_dict(), user, time.time())
