"""Faults of what sits on the blades, and parts that are others than delivered or not there."""

from __future__ import annotations

from simulators.designs import REVISED
from simulators.digital import Checks, Lamp, Storm, Wear
from simulators.faults.fault import OVER, Arguments, Fault, FaultError, Target, number
from simulators.knobs import Knobs
from simulators.parts import Equipment, serial
from simulators.report import has_lamp
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


def _memory_correctable(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.electronics(target.row).storms[target.part.path] = Storm(
        target.since, number(arguments, "per_hour"), number(arguments, OVER)
    )


def _memory_uncorrectable(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    electronics = knobs.electronics(target.row)
    storm = Storm(target.since, number(arguments, "per_hour"), 1.0, uncorrectable=1)
    electronics.storms[target.part.path] = storm
    if number(arguments, "halt") >= 0.5:
        _halt(knobs, target)


def _halt(knobs: Knobs, target: Target) -> None:
    blade = target.part.path.rpartition("/")[0]
    knobs.electronics(target.row).halted.add(f"{blade}/host")
    knobs.running[target.row, target.blade] = 0.0


def _processor_failing(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.electronics(target.row).checks[target.part.path] = Checks(target.since, number(arguments, OVER))
    if target.grown >= 1.0:
        _halt(knobs, target)


def _drive_wearing(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    left, per_day = number(arguments, "left"), number(arguments, "per_day")
    knobs.electronics(target.row).wears[target.part.path] = Wear(target.since, left, per_day)


def _drive_dead(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    gone = number(arguments, "gone") >= 0.5
    knobs.electronics(target.row).dead[target.part.path] = "Absent" if gone else "UnavailableOffline"


def _wrong_board(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    part = target.part
    stands = REVISED[part.item.part_number]
    boards, swapped = knobs.electronics(target.row).boards, dict(knobs.swapped.get(target.row, {}))
    number_ = serial(part.serial[:2], f"{part.path}, another model")
    for path in (part.path, f"{part.path}/host") if part.kind is PartKind.BLADE else (part.path,):
        boards[path], swapped[path] = stands, number_
    knobs.swapped[target.row] = swapped


def _wrong_firmware(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    given, own = arguments.get("version"), target.part.item.firmware
    assert own is not None, "it befalls only parts that run some"
    knobs.electronics(target.row).versions[target.part.path] = older(own) if given is None else f"{given}"


def older(version: str) -> str:
    """The version before: its last number above nought is one less, and what follows that is as great as it gets."""
    digits = [i for i, char in enumerate(version) if char.isdigit()]
    spans: list[list[int]] = []
    for i in digits:
        if spans and spans[-1][-1] == i - 1:
            spans[-1].append(i)
        else:
            spans.append([i])
    for span in reversed(spans):
        value = int(version[span[0] : span[-1] + 1])
        if value > 0:
            return f"{version[: span[0]]}{value - 1:0{len(span)}d}{version[span[-1] + 1 :]}"
    raise FaultError(f"nothing is older than {version}")


def _lamp_stuck(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    lit = number(arguments, "lit") >= 0.5
    knobs.electronics(target.row).lamps[target.part.path] = Lamp(lit, noticed=True)


def _lamp_lying(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    lit = number(arguments, "lit") >= 0.5
    knobs.electronics(target.row).lamps[target.part.path] = Lamp(lit, noticed=False)


def _runs_firmware(unit: Equipment, part: Part) -> bool:
    return part.item.firmware is not None


def _has_another(unit: Equipment, part: Part) -> bool:
    return part.item.part_number in REVISED


def _held(target: Target) -> list[tuple[str, Part]]:
    """The part and everything on it, outermost first."""
    top = target.part.path
    return [(path, part) for path, part in target.sled.parts.items() if path == top or path.startswith(f"{top}/")]


_LAMPED = (
    PartKind.SHELF,
    PartKind.SLED,
    PartKind.BLADE,
    PartKind.DRIVE,
    PartKind.FAN,
    PartKind.POWER_SUPPLY,
)

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
    Fault(
        name="memory-correctable",
        kinds=(PartKind.MEMORY,),
        text="A memory module's errors are corrected again and again, up to so many an hour; the counters run.",
        turn=_memory_correctable,
        arguments={"per_hour": 600.0, OVER: 1800.0},
        limits={"per_hour": (1.0, 1e6), OVER: (1.0, 30 * 86_400.0)},
        draws={"per_hour": (200.0, 3000.0), OVER: (300.0, 3600.0)},
        hard=False,
    ),
    Fault(
        name="memory-uncorrectable",
        kinds=(PartKind.MEMORY,),
        text="A memory module has an error that can't be corrected, and many that can; with halt=1 the host stops.",
        turn=_memory_uncorrectable,
        arguments={"per_hour": 900.0, "halt": 1.0},
        limits={"per_hour": (0.0, 1e6), "halt": (0.0, 1.0)},
        draws={"per_hour": (300.0, 3000.0), "halt": (0.0, 1.0)},
    ),
    Fault(
        name="processor-failing",
        kinds=(PartKind.PROCESSOR,),
        text="A processor finds errors in itself: it corrects them at first, then it can't and its host stops.",
        turn=_processor_failing,
        arguments={OVER: 600.0},
        limits={OVER: (0.0, 30 * 86_400.0)},
        draws={OVER: (120.0, 1200.0)},
        hard=False,
    ),
    Fault(
        name="drive-wearing",
        kinds=(PartKind.DRIVE,),
        text="A drive's media wear out: of its life so many percent are left, and fewer by so many a day.",
        turn=_drive_wearing,
        arguments={"left": 14.0, "per_day": 24.0},
        limits={"left": (0.0, 100.0), "per_day": (0.0, 10_000.0)},
        draws={"left": (10.5, 16.0), "per_day": (24.0, 120.0)},
        hard=False,
    ),
    Fault(
        name="drive-dead",
        kinds=(PartKind.DRIVE,),
        text="A drive answers nothing more: it is told as failed, or with gone=1 as not there.",
        turn=_drive_dead,
        arguments={"gone": 0.0},
        limits={"gone": (0.0, 1.0)},
        draws={"gone": (0.0, 1.0)},
    ),
    Fault(
        name="wrong-board",
        kinds=(PartKind.BLADE, PartKind.MEMORY, PartKind.DRIVE, PartKind.PROCESSOR, PartKind.POWER_SUPPLY),
        text="Another model than the design has stands in the part's place; it works, and nobody warns of it.",
        turn=_wrong_board,
        hard=False,
        befalls=_has_another,
    ),
    Fault(
        name="wrong-firmware",
        kinds=(
            PartKind.CONTROLLER,
            PartKind.NETWORK_ADAPTER,
            PartKind.HOST,
            PartKind.DRIVE,
            PartKind.POWER_SUPPLY,
        ),
        text="The part runs another version of its firmware than its like: the given one, else the one before.",
        turn=_wrong_firmware,
        arguments={"version": None},
        hard=False,
        befalls=_runs_firmware,
    ),
    Fault(
        name="lamp-stuck",
        kinds=_LAMPED,
        text="The locate lamp stays off, or with lit=1 on, whatever is asked; its controller sees that and tells it.",
        turn=_lamp_stuck,
        arguments={"lit": 0.0},
        limits={"lit": (0.0, 1.0)},
        draws={"lit": (0.0, 1.0)},
        befalls=has_lamp,
    ),
    Fault(
        name="lamp-lying",
        kinds=_LAMPED,
        text="The locate lamp stays on, or with lit=0 off, while its controller tells what was asked.",
        turn=_lamp_lying,
        arguments={"lit": 1.0},
        limits={"lit": (0.0, 1.0)},
        draws={"lit": (0.0, 1.0)},
        befalls=has_lamp,
    ),
)
