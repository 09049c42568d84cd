"""``sledkeeper ledger``: how long parts of each part number and firmware ran, and how many of them failed."""

from __future__ import annotations

import argparse
import time

from collector.assess.ledger import ledger
from collector.cli.output import FORMATS, rows
from collector.cli.places import add_state, state_of
from collector.model import Kind
from collector.store.reader import Reader

_SUMMARY = "failures and hours by part number and firmware, with exact limits of the rate"
_COLUMNS = (
    *("kind", "part_number", "model", "firmware", "parts", "hours", "failures"),
    *("per_million_hours", "low", "high", "more_than_its_kind"),
)


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "ledger",
        help=_SUMMARY,
        description="Failures and hours in place by part number and firmware: the rate a million hours with its exact "
        "Poisson limits (90 %%), and which part numbers fail significantly more often than others of their kind. A "
        "failure is a part that a trouble named first, surely enough.",
    )
    add_state(parser)
    parser.add_argument("--format", choices=FORMATS, default="table", help="default: %(default)s")
    parser.add_argument("--kind", choices=[kind.value for kind in Kind], metavar="KIND", help="only parts of this kind")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the ledger, by kind, the worst rate first; 0 whenever the store could be read."""
    with Reader(state_of(arguments)) as reader:
        stays, troubles = reader.stays.all(), reader.answers.troubles(open_only=False)
        mark = reader.collector()
    # Nobody knows what stood where after the collector was last heard of.
    now = time.time() if mark is None else min(time.time(), mark.heartbeat)
    lines = ledger(stays, troubles, now)
    rows([line.row() for line in lines if arguments.kind in (None, line.kind.value)], _COLUMNS, arguments.format)
    return 0
