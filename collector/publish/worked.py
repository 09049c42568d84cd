"""Metrics of figures: what follows from readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from collector.model import FigureKind


class Worked(NamedTuple):
    """One metric."""

    name: str
    unit: str
    help: str
    scale: Callable[[float], float] | None = None
    """Turns the figure's unit into the base unit."""
    several: bool = False
    """Whether a part may have several of them."""


def _percent(value: float) -> float:
    return value / 100.0


def _thousandth(value: float) -> float:
    return value / 1000.0


METRICS: Mapping[FigureKind, Worked] = {
    FigureKind.AIR_RISE: Worked("air_rise_celsius", "celsius", "By how much the air warms on its way through."),
    FigureKind.AIR_FLOW: Worked(
        "implied_air_flow_cubic_meters_per_second",
        "cubic_meters_per_second",
        "Air that must pass for the power and that rise.",
    ),
    FigureKind.AIR_PER_POWER: Worked(
        "implied_air_cubic_meters_per_joule", "cubic_meters_per_joule", "The same for each watt.", _thousandth
    ),
    FigureKind.FAN_EFFORT: Worked(
        "fan_effort_ratio", "ratio", "Fan speed that the same air needs, over the learnt one."
    ),
    FigureKind.PREHEATING: Worked("preheating_celsius", "celsius", "Inlet air above that of what holds the part."),
    FigureKind.RECIRCULATION: Worked("recirculation_celsius", "celsius", "Inlet air above the room."),
    FigureKind.UNACCOUNTED: Worked(
        "unaccounted_power_watts", "watts", "Power of a feed less the sum of what hangs on it.", several=True
    ),
    FigureKind.BUSBAR_CURRENT: Worked(
        "busbar_current_amperes", "amperes", "Current of the busbar, from power and voltage."
    ),
    FigureKind.IMBALANCE: Worked(
        "phase_imbalance_ratio", "ratio", "Largest departure of a phase from their mean, over it.", _percent, True
    ),
    FigureKind.PEAK_POWER: Worked("peak_power_watts", "watts", "Highest power of the last day at most."),
    FigureKind.HIGH_POWER: Worked("high_power_watts", "watts", "Power below which 95 of 100 values of that time lie."),
    FigureKind.ENERGY: Worked("drawn_energy_joules", "joules", "Energy drawn in that time."),
    FigureKind.LIFE_ENDS: Worked(
        "life_end_timestamp_seconds", "seconds", "When a drive's life is used up at its pace.", several=True
    ),
}
