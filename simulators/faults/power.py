"""Faults of what brings the power: feeds, supplies, converters, a blade's input."""

from __future__ import annotations

from simulators.faults.fault import Arguments, Fault, Target
from simulators.knobs import Knobs
from simulators.site import PartKind


def _blade_power_lost(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.blade_on[target.row, target.blade] = 0.0


FAULTS = (
    Fault(
        name="blade-power-lost",
        kinds=(PartKind.BLADE,),
        text="The blade's 12 V input is dead: its host is off and its own sensors tell nothing.",
        turn=_blade_power_lost,
    ),
)
