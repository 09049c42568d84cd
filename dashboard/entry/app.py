"""The pages' entry: ``streamlit run dashboard/entry/app.py -- --state DIR``, as :mod:`dashboard.serve` writes it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import streamlit as st

from collector.text import plain
from dashboard.drawings.ink import tag
from dashboard.pages import rounds, sled


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


def main(state: Path) -> None:
    """Show the page that the address names: Rounds, or with ``?sled=NAME`` one sled."""
    asked = st.query_params.get("sled")
    title = f"{plain(asked, 40)} · sledkeeper" if asked else "Rounds · sledkeeper"
    st.set_page_config(page_title=title, layout="wide", page_icon=ICON)
    if asked is None:
        rounds.page(state)
    else:
        sled.page(state, asked)


if __name__ == "__main__":
    main(state_dir(sys.argv[1:]))
