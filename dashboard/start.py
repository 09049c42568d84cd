"""Starts the pages' server, everything loaded and the store looked at once, so that the first viewer waits for neither.

``python -m dashboard.start --state DIR -- OPTION…``, as :mod:`dashboard.serve` writes it; options are Streamlit's.
"""

from __future__ import annotations

import argparse
import sys
import threading
from contextlib import suppress
from pathlib import Path

from streamlit.web import cli

from collector.store.errors import StoreError
from collector.store.overview import Chosen
from dashboard.entry import app
from dashboard.pages.common import source

APP = Path(app.__file__)


def _look(state: Path) -> None:
    """Ask once what Rounds asks. A store that can't be read is told by the page."""
    with suppress(StoreError):
        glance = source(state).glance
        glance.rounds(Chosen())
        glance.ways()


def main(argv: list[str]) -> None:
    """Serve until told to end."""
    parser = argparse.ArgumentParser(prog="dashboard.start")
    parser.add_argument("--state", type=Path, required=True)
    parser.add_argument("options", nargs="*")
    given = parser.parse_args(argv)
    threading.Thread(target=_look, args=(given.state,), name="first-look", daemon=True).start()
    cli.main(
        ["run", str(APP), *given.options, "--", "--state", str(given.state)],
        prog_name="streamlit",
        standalone_mode=True,
    )


if __name__ == "__main__":
    main(sys.argv[1:])
