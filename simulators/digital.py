"""What faults turn in the electronics of one sled or shelf, and how that goes on by itself as time passes.

Everything here is a function of simulated time (epoch seconds): nothing needs a step of the physics, and any moment can
be asked for in any order. A sled without such faults has no :class:`Digital` at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from simulators.chance import key, uniform
from simulators.items import Item
from simulators.telemetry import State

DAY = 86_400.0
CORRECTABLE_A_DAY = 120
"""Corrected errors of one memory module within a day above which the controller warns (common practice, no source)."""
LIFE_LOW = 10
"""Percent of a drive's media life left below which the controller warns (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Flap:
    """A contact that comes and goes: lost in some spans of :attr:`period` seconds, the first one among them."""

    where: str
    """Path of what is lost with it: an adapter's port, a drive, a blade."""
    since: float
    period: float
    duty: float
    """Part of the spans in which it is lost, 0 to 1."""

    def lost(self, time: float) -> bool:
        """Whether there is no contact at ``time``."""
        span = math.floor((time - self.since) / self.period)
        if span <= 0:
            return True
        dice = np.asarray([key("flap", self.where, span)], dtype=np.uint64)
        return bool(uniform(dice)[0] < self.duty)


@dataclass(frozen=True, slots=True)
class Storm:
    """A memory module whose errors are corrected again and again."""

    since: float
    per_hour: float
    """Corrected errors, once the storm is at its height."""
    over: float
    """Seconds in which it grows to that."""
    uncorrectable: int = 0
    """Errors that could not be corrected."""

    def corrected(self, time: float) -> int:
        """Errors corrected since it began; never fewer later on."""
        age = max(0.0, time - self.since)
        # gusts of a quarter of an hour: the rate swings by seven tenths and is never below nothing
        age += 0.7 * _GUST * (math.sin(age / _GUST))
        grown = age - self.over / 2.0 if age > self.over else age * age / (2.0 * self.over)
        return math.floor(self.per_hour * grown / 3600.0)

    def lately(self, time: float) -> int:
        """Errors corrected within the last day."""
        return self.corrected(time) - self.corrected(time - DAY)


_GUST = 900.0 / (2.0 * math.pi)


@dataclass(frozen=True, slots=True)
class Wear:
    """A drive whose media wear out."""

    since: float
    left: float
    """Percent of its life left when that began."""
    per_day: float

    def at(self, time: float) -> float:
        """Percent of its life left."""
        return max(0.0, self.left - self.per_day * max(0.0, time - self.since) / DAY)


@dataclass(frozen=True, slots=True)
class Checks:
    """A processor that finds errors in itself."""

    since: float
    over: float
    """Seconds in which it corrects them; then it can't any more."""

    def fatal(self, time: float) -> bool:
        """Whether it can't go on."""
        return time >= self.since + self.over


@dataclass(frozen=True, slots=True)
class Lamp:
    """A locate lamp that does not do as it is asked."""

    lit: bool
    """What it does instead."""
    noticed: bool
    """Whether the controller reads the lamp back, and so tells what it does and not what was asked."""


@dataclass(slots=True)
class Digital:
    """The electronics of one sled or shelf, where they are not as they should be. Parts by path."""

    down: set[str] = field(default_factory=set)
    """Ports of the adapter that have no link."""
    flaps: list[Flap] = field(default_factory=list)
    dead: dict[str, State] = field(default_factory=dict)
    """Parts that answer nothing, and the state that their controller tells of them."""
    storms: dict[str, Storm] = field(default_factory=dict)
    wears: dict[str, Wear] = field(default_factory=dict)
    checks: dict[str, Checks] = field(default_factory=dict)
    halted: set[str] = field(default_factory=set)
    """Hosts that stopped on an error of their hardware."""
    versions: dict[str, str] = field(default_factory=dict)
    """Firmware that is not the one delivered."""
    boards: dict[str, Item] = field(default_factory=dict)
    """Other parts than the design has there."""
    lamps: dict[str, Lamp] = field(default_factory=dict)
    slow: float = 0.0
    """Seconds that the controller takes for each answer, beyond the usual."""
    cut_off: bool = False
    """Whether no packet reaches the controller."""
    clock: float = 0.0
    """Seconds that its clock is ahead."""

    def lost(self, time: float) -> set[str]:
        """What the flapping contacts cut off at a time: paths of ports and parts."""
        return {flap.where for flap in self.flaps if flap.lost(time)}
