"""The door before the pages, where people sign in: nobody without a role sees anything behind it."""

from __future__ import annotations

import streamlit as st

from dashboard.drawings.ink import tag
from dashboard.entry.viewer import viewer
from dashboard.mount import show
from dashboard.pages.common import tidy
from dashboard.people import PeopleError, Role, Viewer


def let_in() -> Viewer | None:
    """Who looks, if they may; else the page says what to do, and there is nobody."""
    try:
        who = viewer()
    except PeopleError as error:
        _door("The people file can't be used", [*error.problems, "Mend it, and start the pages again."])
        return None
    if who.role is not Role.STRANGER:
        return who
    _door("sledkeeper", [who.why_not[:1].upper() + who.why_not[1:] + "."])
    if who.name and "too long ago" not in who.why_not:
        st.button("Sign out", on_click=st.logout, key="sign-out")
    else:
        st.button("Sign in", on_click=st.login, key="sign-in", type="primary")
    return None


def who_is_in(who: Viewer) -> None:
    """At the foot of each page: as whom somebody is signed in, and the way out."""
    if not who.name:
        return
    show("who", tag("p", f"Signed in as {who.name}, {who.role.word}.", class_="aside small", data_role=who.role.word))
    st.button("Sign out", on_click=st.logout, key="sign-out")


def _door(title: str, sentences: list[str]) -> None:
    tidy()
    show("door", tag("h1", title), *(tag("p", sentence) for sentence in sentences))
