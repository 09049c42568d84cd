"""``sledkeeper history``: what was where and when, by part, by serial number, or by place."""

from __future__ import annotations

import argparse
from typing import Any

import msgspec

from collector.cli.output import FORMATS, iso, rows
from collector.cli.places import add_state, state_of
from collector.model import Stay
from collector.store.reader import Reader

_SUMMARY = "what was where and when: which part at a position, which positions a serial number had"
_COLUMNS = ("since", "until", "place", "kind", "name", "serial", "part_number", "firmware", "began", "ended")


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser("history", help=_SUMMARY, description=_SUMMARY)
    add_state(parser)
    parser.add_argument("--format", choices=FORMATS, default="table", help="default: %(default)s")
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument(
        "--part", metavar="ID", help="what stood where the part of this id stands, e.g. r01-e1-s2:/redfish/…"
    )
    which.add_argument("--serial", metavar="SERIAL", help="where the parts with this serial number were")
    which.add_argument("--location", metavar="TEXT", help="what stood where the location has this text in it")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the stays, oldest first; 0 whenever the store could be read."""
    with Reader(state_of(arguments)) as reader:
        if arguments.part is not None:
            stays = reader.stays.at(arguments.part)
        elif arguments.serial is not None:
            stays = reader.stays.of_serial(arguments.serial)
        else:
            stays = reader.stays.within(arguments.location)
    rows([_row(stay) for stay in stays], _COLUMNS, arguments.format)
    return 0


def _row(stay: Stay) -> dict[str, Any]:
    return {
        "since": iso(stay.since),
        "until": iso(stay.until),
        "controller": stay.controller,
        "part": stay.part,
        "kind": stay.kind.value,
        "name": stay.name,
        "location": msgspec.to_builtins(stay.location),
        "place": stay.location.text,
        "serial": stay.identity.serial,
        "part_number": stay.identity.part_number,
        "model": stay.identity.model,
        "manufacturer": stay.identity.manufacturer,
        "firmware": stay.identity.firmware,
        "began": stay.began.value,
        "ended": stay.ended.value if stay.ended is not None else None,
        "came_from": stay.came_from,
        "went_to": stay.went_to,
        "position": stay.position,
    }
