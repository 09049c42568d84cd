"""The pages' entry: ``streamlit run dashboard/app.py -- --state DIR``; :func:`dashboard.serve.command` writes that."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import streamlit as st

from dashboard.pages import rounds, sled


def state_dir(argv: list[str]) -> Path:
    """The state directory that the command line names; ends the server where it names none."""
    parser = argparse.ArgumentParser(prog="dashboard/app.py")
    parser.add_argument("--state", type=Path, required=True, metavar="DIR")
    found: Path = parser.parse_args(argv).state
    return found


def main(state: Path) -> None:
    """Choose the page that the address names."""
    st.set_page_config(page_title="sledkeeper", layout="wide", page_icon=":material/view_agenda:")
    opening = st.Page(lambda: rounds.page(state), title="Rounds · sledkeeper", url_path="rounds", default=True)
    one = st.Page(lambda: sled.page(state), title="Sled · sledkeeper", url_path="sled")
    st.navigation([opening, one], position="hidden").run()


if __name__ == "__main__":
    main(state_dir(sys.argv[1:]))
