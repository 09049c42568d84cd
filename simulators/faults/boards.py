"""Faults of what sits on the blades, and parts that are others than delivered or not there."""

from __future__ import annotations

from simulators.faults.fault import Arguments, Fault, Target
from simulators.knobs import Knobs
from simulators.parts import serial
from simulators.site import Part, PartKind


def _drive_failure_predicted(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.predicted[target.row] = knobs.predicted.get(target.row, frozenset()) | {target.part.path}


def _part_swapped(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    swapped = dict(knobs.swapped.get(target.row, {}))
    given = arguments.get("serial")
    for path, part in _held(target):
        board = path.removesuffix("/host")  # a host is told by its board's serial number
        if board != path:
            swapped[path] = swapped[board]
        elif path == target.part.path and given is not None:
            swapped[path] = str(int(given)) if isinstance(given, float) and given.is_integer() else str(given)
        else:
            swapped[path] = serial(part.serial[:2], f"{path}, the next one")
    knobs.swapped[target.row] = swapped


def _part_pulled(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    gone = {path for path, _ in _held(target)}
    knobs.pulled[target.row] = knobs.pulled.get(target.row, frozenset()) | gone
    if target.part.kind is PartKind.BLADE:
        knobs.blade_on[target.row, target.blade] = 0.0
    elif target.part.kind is PartKind.FAN:
        knobs.fan_turns[target.row, target.part.index] = 0.0


def _held(target: Target) -> list[tuple[str, Part]]:
    """The part and everything on it, outermost first."""
    top = target.part.path
    return [(path, part) for path, part in target.sled.parts.items() if path == top or path.startswith(f"{top}/")]


FAULTS = (
    Fault(
        name="drive-failure-predicted",
        kinds=(PartKind.DRIVE,),
        text="The drive's own monitoring expects that it will fail; it still works.",
        turn=_drive_failure_predicted,
    ),
    Fault(
        name="part-swapped",
        kinds=(PartKind.BLADE, PartKind.PROCESSOR, PartKind.MEMORY, PartKind.DRIVE, PartKind.FAN),
        text="Another part of the same kind, with all that is on it, stands there: other serial numbers are told.",
        turn=_part_swapped,
        arguments={"serial": None},
    ),
    Fault(
        name="part-pulled",
        kinds=(PartKind.BLADE, PartKind.DRIVE, PartKind.FAN),
        text="The part, with all that is on it, was taken out: its place is listed as empty.",
        turn=_part_pulled,
    ),
)
