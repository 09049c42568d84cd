"""The catalogue of faults: names, what they befall, what they turn in the hardware; and how a person writes one down.

A fault never writes a reading: it turns :class:`simulators.knobs.Knobs`, and readings, statuses and fan control follow.
A new one needs an entry in :data:`CATALOGUE`, a function that turns knobs, and a knob where none fits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

from simulators.knobs import Knobs, Stuck
from simulators.parts import serial
from simulators.site import Equipment, Part, PartKind, Site
from simulators.telemetry import ControllerCondition, Mode

Argument: TypeAlias = float | str
Arguments: TypeAlias = Mapping[str, Argument]


class FaultError(ValueError):
    """What was asked for names no fault, no part, a part that cannot have it, or an argument that it does not take."""


@dataclass(frozen=True, slots=True)
class Target:
    """The part that a fault is on, as the knobs know it."""

    sled: Equipment
    row: int
    part: Part
    stuck: Stuck | None = None
    """The sensor that sticks, for the fault that needs one."""
    until: float | None = None
    """When the fault ends by itself, epoch seconds of the simulated clock; None when it does not."""

    @property
    def blade(self) -> int:
        """Index of the blade that the part is, or is on; ValueError for a shared part."""
        at: str | None = self.part.path
        while at is not None:
            part = self.sled.parts[at]
            if part.kind is PartKind.BLADE:
                return part.index
            at = part.parent
        raise ValueError(f"{self.part.path} is on no blade")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A way in which a part can fail."""

    name: str
    kinds: tuple[PartKind, ...]
    text: str
    """What happens, one sentence for a person."""
    turn: Callable[[Knobs, Target, Arguments], None]
    arguments: Mapping[str, Argument | None] = field(default_factory=dict)
    """Names with their defaults; a None stands for "what it is now"."""
    lasts: str | None = None
    """Name of the argument that says after how many seconds the fault ends by itself."""


def _fan_seized(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.fan_turns[target.row, target.part.index] = 0.0


def _inlet_blocked(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    left = 1.0 - number(arguments, "fraction", 0.05, 0.95)
    where = slice(None) if target.part.kind is PartKind.SLED else slice(target.blade, target.blade + 1)
    knobs.intake_open[target.row, where] *= left


def _controller_hung(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.silent[target.row] = 1.0
    knobs.controller[target.row] = ControllerCondition(Mode.HUNG)


def _controller_rebooting(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.silent[target.row] = 1.0
    knobs.controller[target.row] = ControllerCondition(Mode.REBOOTING, target.until)


def _blade_power_lost(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.blade_on[target.row, target.blade] = 0.0


def _sensor_stuck(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    if target.stuck is None:
        raise ValueError("a stuck sensor needs to be chosen first")
    knobs.stuck[target.row] = (*knobs.stuck.get(target.row, ()), target.stuck)


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


SENSED = (
    PartKind.SLED,
    PartKind.BLADE,
    PartKind.PROCESSOR,
    PartKind.DRIVE,
    PartKind.FAN,
    PartKind.POWER_SUPPLY,
    PartKind.NETWORK_ADAPTER,
    PartKind.CONTROLLER,
)
"""Kinds of parts that have a sensor of their own."""

CATALOGUE: Mapping[str, Fault] = {
    fault.name: fault
    for fault in (
        Fault(
            name="fan-seized",
            kinds=(PartKind.FAN,),
            text="The rotor stands; air leaks back through it and the other fans have to make up for it.",
            turn=_fan_seized,
        ),
        Fault(
            name="inlet-blocked",
            kinds=(PartKind.SLED, PartKind.BLADE),
            text="Something covers the given fraction of the air intake of the sled, or of one blade.",
            turn=_inlet_blocked,
            arguments={"fraction": 0.75},
        ),
        Fault(
            name="controller-hung",
            kinds=(PartKind.CONTROLLER,),
            text="The management controller answers nothing more; hosts run on, fans go to their fail-safe speed.",
            turn=_controller_hung,
        ),
        Fault(
            name="controller-rebooting",
            kinds=(PartKind.CONTROLLER,),
            text="The management controller restarts and is away for the given seconds; hosts run on.",
            turn=_controller_rebooting,
            arguments={"seconds": 90.0},
            lasts="seconds",
        ),
        Fault(
            name="blade-power-lost",
            kinds=(PartKind.BLADE,),
            text="The blade's 12 V input is dead: its host is off and its own sensors tell nothing.",
            turn=_blade_power_lost,
        ),
        Fault(
            name="sensor-stuck",
            kinds=SENSED,
            text="One sensor of the part (by its id, else its first) keeps telling one value, whatever happens.",
            turn=_sensor_stuck,
            arguments={"sensor": None, "value": None},
        ),
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
}
"""Every fault by name."""


class Injection(NamedTuple):
    """A fault to be switched on."""

    fault: str
    part: str
    arguments: dict[str, Argument] = {}  # noqa: RUF012 - a NamedTuple's default; nobody writes to it
    after: float = 0.0
    """Seconds to wait before."""


def parse(text: str, site: Site) -> Injection:
    """Read ``FAULT@PART``, with ``:name=value`` for each argument and ``+SECONDS`` of delay where wanted.

    For example ``fan-seized@r01-e1-s2/fan1``, ``inlet-blocked@r01-e1-s2:fraction=0.5+30``. FaultError says what is
    wrong and what would have been right.
    """
    name, at, rest = text.strip().partition("@")
    known(name)
    rest, plus, delay = rest.partition("+")
    path, *given = rest.split(":")
    if not at or not path:
        raise FaultError(f"{text!r} names no part; write {name}@PART, e.g. {name}@{_example(name, site)}")
    check(name, path, site)
    arguments: dict[str, Argument] = {}
    for one in given:
        word, equals, value = one.partition("=")
        if not equals or not word or not value:
            raise FaultError(f"{one!r} in {text!r} is no argument; write NAME=VALUE")
        arguments[word] = _value(value)
    complete(name, arguments)
    after = _seconds(delay, text) if plus else 0.0
    return Injection(name, path, arguments, after)


def known(name: str) -> Fault:
    """The fault of that name; FaultError, listing all names, where there is none."""
    try:
        return CATALOGUE[name]
    except KeyError:
        raise FaultError(f"no fault is named {name!r}; there are: {', '.join(CATALOGUE)}") from None


def check(name: str, path: str, site: Site) -> Part:
    """The part at the path; FaultError unless it exists and can have that fault."""
    fault = known(name)
    try:
        part = site.part(path)
    except KeyError as error:
        raise FaultError(f"{error.args[0]}; {name} goes e.g. on {_example(name, site)}") from error
    if part.kind not in fault.kinds:
        raise FaultError(f"{name} cannot befall {path}, a {part.kind}; it befalls: {', '.join(fault.kinds)}")
    return part


def complete(name: str, arguments: Arguments) -> dict[str, Argument]:
    """The arguments with defaults for those not given; FaultError for one that the fault does not take."""
    fault = known(name)
    strange = sorted(set(arguments) - set(fault.arguments))
    if strange:
        takes = ", ".join(fault.arguments) or "none"
        raise FaultError(f"{name} takes no argument {strange[0]!r}; it takes: {takes}")
    full = {word: value for word, value in fault.arguments.items() if value is not None} | dict(arguments)
    if "fraction" in full:
        number(full, "fraction", 0.05, 0.95)
    if "seconds" in full:
        number(full, "seconds", 0.0, 86_400.0)
    return full


def number(arguments: Arguments, name: str, least: float, most: float) -> float:
    """A numeric argument; FaultError when it is none or out of its range."""
    value = arguments[name]
    if isinstance(value, str) or not least <= value <= most:
        raise FaultError(f"argument {name} must be a number from {least:g} to {most:g}, not {value!r}")
    return float(value)


def describe() -> Iterable[str]:
    """A line for each fault: name, what it befalls, arguments, what happens."""
    for fault in CATALOGUE.values():
        words = "".join(f":{word}=…" for word in fault.arguments)
        yield f"{fault.name}@PART{words}  (PART: {', '.join(fault.kinds)})  {fault.text}"


def _value(text: str) -> Argument:
    try:
        return float(text)
    except ValueError:
        return text


def _seconds(text: str, whole: str) -> float:
    value = _value(text)
    if isinstance(value, str) or not 0.0 <= value < float("inf"):
        raise FaultError(f"{text!r} in {whole!r} is no number of seconds to wait")
    return value


def _example(name: str, site: Site) -> str:
    kinds = CATALOGUE[name].kinds
    parts = (part.path for unit in site.equipment for part in unit.parts.values() if part.kind in kinds)
    return next(parts, "(no such part on this site)")
