"""Faults of what moves the air and of what stands in its way."""

from __future__ import annotations

from simulators.faults.fault import Arguments, Fault, Target, number
from simulators.knobs import Knobs
from simulators.site import PartKind


def _fan_seized(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.fan_turns[target.row, target.part.index] = 0.0


def _inlet_blocked(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    left = 1.0 - number(arguments, "fraction")
    where = slice(None) if target.part.kind is PartKind.SLED else slice(target.blade, target.blade + 1)
    knobs.intake_open[target.row, where] *= left


FAULTS = (
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
        limits={"fraction": (0.05, 0.95)},
        draws={"fraction": (0.6, 0.85)},
    ),
)
