"""Faults of the coolant loop of a sled with cold plates."""

from __future__ import annotations

from simulators.faults.fault import LONGEST, OVER, Arguments, Fault, Target, number
from simulators.knobs import Knobs
from simulators.site import PartKind


def _pump_weak(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.pump[target.row] *= 1.0 - number(arguments, "fraction") * target.grown


def _leak(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.leak[target.row] += number(arguments, "litres") * target.grown


FAULTS = (
    Fault(
        name="pump-weak",
        kinds=(PartKind.PUMP,),
        text="A worn impeller: the sled's coolant pump brings the given fraction less flow.",
        turn=_pump_weak,
        arguments={"fraction": 0.45, OVER: 0.0},
        limits={"fraction": (0.0, 0.95), OVER: (0.0, LONGEST)},
        draws={"fraction": (0.4, 0.7), OVER: (600.0, 7200.0)},
        hard=False,
    ),
    Fault(
        name="leak",
        kinds=(PartKind.COOLANT_CONNECTOR,),
        text="The sled's coolant connector leaks so many litres a minute; the rope under the hoses gets wet.",
        turn=_leak,
        arguments={"litres": 0.2, OVER: 0.0},
        limits={"litres": (0.0, 2.0), OVER: (0.0, LONGEST)},
        draws={"litres": (0.05, 0.5)},
    ),
)
