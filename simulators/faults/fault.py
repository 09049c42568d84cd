"""What a fault is: name, what it befalls, what it turns in the hardware, how fast it comes, which part mends it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, TypeAlias

from simulators.knobs import Ill, Knobs
from simulators.site import Equipment, Part, PartKind, Site

Argument: TypeAlias = float | str
Arguments: TypeAlias = Mapping[str, Argument]

OVER = "over"
"""Name of the argument that says in how many seconds a slow fault grows from nothing to its full size."""
LONGEST = 30 * 86_400.0
"""Seconds that a fault may take to grow, or to pass, at most."""


class FaultError(ValueError):
    """What was asked for names no fault, no part, a part that cannot have it, or an argument that it does not take."""


class Chance(Protocol):
    """Where a draw's chance comes from: ``random.Random`` and ``numpy.random.Generator`` both are one."""

    def random(self) -> float:
        """A number from 0 up to, not including, 1."""


@dataclass(frozen=True, slots=True)
class Target:
    """The part that a fault is on, as the knobs know it."""

    sled: Equipment
    row: int
    part: Part
    ill: Ill | None = None
    """The sensor that is ill, for the faults of sensors; with the value that it tells where it sticks."""
    span: float = 0.0
    """What is much for that sensor, in its unit: see :data:`simulators.faults.sensors.SPANS`."""
    until: float | None = None
    """When the fault ends by itself, epoch seconds of the simulated clock; None when it does not."""
    grown: float = 1.0
    """How much of a slow fault has come by now, 0 to 1; 1 for all others."""
    age: float = 0.0
    """Seconds since it was switched on."""
    since: float = 0.0
    """When it was switched on, epoch seconds of the simulated clock."""

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


def _itself(part: Part, arguments: Arguments) -> str:
    return part.path


def _any(unit: Equipment, part: Part) -> bool:
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A way in which a part can fail."""

    name: str
    kinds: tuple[PartKind, ...]
    text: str
    """What happens, one sentence for a person."""
    turn: Callable[[Knobs, Target, Arguments], None]
    """Puts the knobs where the fault, as far as it has grown, wants them; healthy positions were set before."""
    arguments: Mapping[str, Argument | None] = field(default_factory=dict)
    """Names with their defaults; a None stands for "what it is now", or for the first there is."""
    limits: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Least and greatest value that a numeric argument may have."""
    draws: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """The range, within the limits, that a drill draws an argument from: neither harmless nor absurd."""
    lasts: str | None = None
    """Name of the argument that says after how many seconds the fault ends by itself."""
    hard: bool = True
    """Whether it shows at once and in full; a soft one grows, or shows in its consequences alone (less air only in what
    warms up for it), or changes neither a reading nor a state: another model or version, in working order, is in
    nothing that is read each round."""
    restless: bool = False
    """Whether its knobs depend on the fault's age for as long as it is on (it comes and goes), grown or not."""
    befalls: Callable[[Equipment, Part], bool] = _any
    """Whether a part of these kinds can have it: e.g. only a sled with coolant can leak."""
    charge: Callable[[Part, Arguments], str] = _itself
    """See :meth:`fru`."""

    def fru(self, part: Part, arguments: Arguments | None = None) -> str:
        """Path of what a technician must replace or mend, for this fault on that part.

        It begins with ``~`` where no controller tells of that thing: a blanking panel, a cable.
        """
        return self.charge(part, {} if arguments is None else arguments)

    def draw(self, rng: Chance) -> dict[str, Argument]:
        """Arguments by chance, the same ones for a generator in the same state; in the order of :attr:`draws`."""
        return {name: low + (high - low) * rng.random() for name, (low, high) in self.draws.items()}

    def targets(self, site: Site) -> list[Part]:
        """All parts of a site that can have it, in the site's order."""
        return [
            part
            for unit in site.equipment
            for part in unit.parts.values()
            if part.kind in self.kinds and self.befalls(unit, part)
        ] + [
            part
            for part in site.network.parts.values()
            if part.kind in self.kinds and self.befalls(site.unit(part.path), part)
        ]


def number(arguments: Arguments, name: str, least: float = float("-inf"), most: float = float("inf")) -> float:
    """A numeric argument; FaultError when it is none or out of its range."""
    value = arguments[name]
    if isinstance(value, str) or not least <= value <= most:
        raise FaultError(f"argument {name} must be a number from {least:g} to {most:g}, not {value!r}")
    return float(value)
