"""Where state is kept when nobody says, and the options that several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path

import platformdirs


def default_state() -> Path:
    """The platform's user state folder for sledkeeper."""
    return platformdirs.user_state_path("sledkeeper", appauthor=False)


def add_state(parser: argparse.ArgumentParser) -> None:
    """Add ``--state DIR``."""
    parser.add_argument(
        "--state", type=Path, metavar="DIR", default=None, help=f"state directory (default: {default_state()})"
    )


def state_of(arguments: argparse.Namespace) -> Path:
    """The state directory that the command was given, or the default one."""
    state: Path | None = arguments.state
    return state if state is not None else default_state()
