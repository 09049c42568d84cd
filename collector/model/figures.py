"""Figures: what follows from readings and is read by no sensor, with the bounds within which it holds."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.words import Seconds


class FigureKind(StrEnum):
    """What was worked out. In brackets: its unit."""

    AIR_RISE = "air rise"
    """By how much the air warms on its way through a part (K)."""
    AIR_FLOW = "air flow"
    """The air that must pass for that (m3/s)."""
    AIR_PER_POWER = "air for the power"
    """The same for each kilowatt (m3/s/kW)."""
    FAN_EFFORT = "fan effort"
    """The fan speed that the same air needs now, over that which was learnt (1)."""
    PREHEATING = "preheating"
    """By how much the air in front of a part is warmer than what holds the part draws in (K)."""
    RECIRCULATION = "recirculation"
    """By how much the air drawn in is warmer than the room (K)."""
    UNACCOUNTED = "unaccounted power"
    """What a feed tells more than the sum of what hangs on it (W)."""
    BUSBAR_CURRENT = "busbar current"
    """(A)."""
    IMBALANCE = "phase imbalance"
    """The largest departure of a phase from the mean, over that (%)."""
    PEAK_POWER = "peak power"
    """(W)."""
    HIGH_POWER = "95th percentile of power"
    """(W)."""
    ENERGY = "energy drawn"
    """(J)."""
    LIFE_ENDS = "end of life"
    """When a drive's life is used up at its pace (s since 1970-01-01 UTC); known only where the data carry a date."""


class Figure(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One of them, at one part or place."""

    controller: str | None
    """None for a place that is no controller's: a rack."""
    part: str
    """Id, or the place's text for a place."""
    kind: FigureKind
    of: str = ""
    """Which of several of its kind there."""
    time: Seconds
    value: float
    unit: str
    """UCUM."""
    low: float | None = None
    """Lower bound, from what the readings behind it may be off by; None where no bounds are worked out."""
    high: float | None = None
    basis: str = ""
    """One sentence: what it follows from."""
    gone: bool = False
    """It is known no more: whoever keeps it forgets it."""

    @property
    def key(self) -> tuple[str, FigureKind, str]:
        """(part, kind, of)."""
        return (self.part, self.kind, self.of)
