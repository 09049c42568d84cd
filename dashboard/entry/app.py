"""The pages' entry: ``streamlit run dashboard/entry/app.py -- --state DIR``, as :mod:`dashboard.serve` writes it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import streamlit as st

from collector.text import plain
from dashboard.drawings.ink import tag
from dashboard.entry.gate import let_in, who_is_in
from dashboard.mount import show
from dashboard.pages import controllers, lamps, margins, orders, parts, rounds, sled
from dashboard.panels.preferences import choices
from dashboard.viewer import ADDRESS, preferences, to_keep
from dashboard.views.preferences import written


def state_dir(argv: list[str]) -> Path:
    """The state directory that the command line names; ends the server where it names none."""
    parser = argparse.ArgumentParser(prog="app.py")
    parser.add_argument("--state", type=Path, required=True, metavar="DIR")
    found: Path = parser.parse_args(argv).state
    return found


# Drawn here and served from here: named icons would be fetched from elsewhere.
ICON = tag(
    "svg",
    tag("rect", width=32, height=32, fill="#1C2126"),
    tag("path", d="M4 12H11L16 5L21 12H28M4 22H28", fill="none", stroke="#FBF9F4", stroke_width=3),
    xmlns="http://www.w3.org/2000/svg",
    viewBox="0 0 32 32",
)


PAGES: dict[str, tuple[str, Callable[[Path], None]]] = {
    "orders": (orders.TITLE, orders.page),
    "lamps": (lamps.TITLE, lamps.page),
    "margins": (margins.TITLE, margins.page),
    "parts": (parts.TITLE, parts.page),
    "controllers": (controllers.TITLE, controllers.page),
}
"""By the word in the address."""


def main(state: Path) -> None:
    """Show the page that the address names: ``?sled=NAME`` one sled, ``?page=WORD`` one of PAGES, else Rounds."""
    asked = st.query_params.get("sled")
    title, draw = PAGES.get(st.query_params.get("page", ""), (rounds.TITLE, rounds.page))
    title = plain(asked, 40) if asked else title
    st.set_page_config(page_title=f"{title} · sledkeeper", layout="wide", page_icon=ICON)
    who = let_in()
    if who is None:
        return
    if asked is None:
        draw(state)
    else:
        sled.page(state, asked)
    _choices()
    who_is_in(who)


def _choices() -> None:
    """What a viewer chooses once for all pages, at the foot of each."""
    now = preferences()
    told = [(name, value) for name in st.query_params if name != ADDRESS for value in st.query_params.get_all(name)]
    show("view", choices(now, "./?" + urlencode([*told, (ADDRESS, written(now))])), cookies=to_keep())


if __name__ == "__main__":
    main(state_dir(sys.argv[1:]))
