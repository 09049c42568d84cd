"""``sledkeeper fit``: what each sled should hold, as the fleet file says it, against what it was last seen to hold."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from collector.assess.fit import HOLDERS, design_of, misfits, row_of
from collector.assess.tree import Tree
from collector.cli.output import FORMATS, rows
from collector.cli.places import add_state, state_of
from collector.model import Kind, Part
from collector.settings import load
from collector.store.reader import Reader

_SUMMARY = "hold every sled against its design: wrong, missing, extra and misplaced parts, firmware behind"
_COLUMNS = ("place", "how", "kind", "slot", "found", "wanted", "design")
_SLEDS = (Kind.SLED, Kind.ENCLOSURE)


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "fit",
        help=_SUMMARY,
        description="Hold what every sled was last seen to hold against the [[designs]] of the fleet file. "
        "Exit code 1 when one of them differs.",
    )
    parser.add_argument("--config", type=Path, required=True, metavar="FILE", help="the fleet file")
    add_state(parser)
    parser.add_argument("--format", choices=FORMATS, default="table", help="default: %(default)s")
    parser.add_argument("--controller", metavar="NAME", help="only this controller")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the misfits: 0 for none, 1 for some; how many sleds were compared stands on standard error."""
    settings = load(arguments.config)
    designs = [each.design for each in settings.designs]
    known = {controller.name for controller in settings.controllers}
    with Reader(state_of(arguments)) as reader:
        parts, statuses = reader.parts(arguments.controller), reader.statuses(arguments.controller)
    by_controller: dict[str, list[Part]] = {}
    for part in parts:
        if part.controller in known:
            by_controller.setdefault(part.controller, []).append(part)
    found: list[dict[str, Any]] = []
    held = strange = 0
    for of_one in by_controller.values():
        has = [design_of(part, designs) is not None for part in of_one if part.kind in HOLDERS]
        held += sum(has)
        # A sled of no design is worth a word; what stands in it is not, nor is an enclosure around sleds of a design.
        strange += not any(has) and any(part.kind in _SLEDS for part in of_one)
        places = {part.id: part for part in of_one}
        found += [row_of(each, places.get(each.sled)) for each in misfits(Tree(of_one), statuses, designs)]
    rows(found, _COLUMNS, arguments.format)
    told = f"{held} held against {len(designs)} designs"
    if strange:
        told += f"; controllers whose sleds are of none: {strange}"
    if silent := sorted(known - by_controller.keys()) if arguments.controller is None else []:
        told += f"; never walked: {len(silent)}"
    print(told, file=sys.stderr)
    return 1 if found else 0
