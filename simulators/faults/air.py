"""Faults of what moves the air and of what stands in its way."""

from __future__ import annotations

from simulators.faults.fault import LONGEST, OVER, Arguments, Fault, Target, number
from simulators.knobs import Knobs
from simulators.site import Part, PartKind


def _fan_seized(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.fan_turns[target.row, target.part.index] = 0.0


def _inlet_blocked(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    left = 1.0 - number(arguments, "fraction")
    where = slice(None) if target.part.kind is PartKind.SLED else slice(target.blade, target.blade + 1)
    knobs.intake_open[target.row, where] *= left


def _fan_slowing(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.fan_turns[target.row, target.part.index] *= 1.0 - number(arguments, "fraction") * target.grown


def _filter_clogging(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    # Pressure lost in a duct goes with the inverse square of its open part: added resistance says how much is open.
    knobs.intake_open[target.row] /= (1.0 + number(arguments, "resistance") * target.grown) ** 0.5


def _heat_sink_loose(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    more = number(arguments, "resistance") * target.grown
    knobs.sink_loose[target.row, target.blade, target.part.index] += more


def _recirculation(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.round[target.row] += number(arguments, "fraction") * target.grown


def _filter(part: Part, arguments: Arguments) -> str:
    return f"{part.path}/filter" if part.kind is PartKind.SLED else part.path


def _panel(part: Part, arguments: Arguments) -> str:
    return f"~{part.path}/panel"


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
        hard=False,
        charge=_filter,
    ),
    Fault(
        name="fan-slowing",
        kinds=(PartKind.FAN,),
        text="Worn bearings: the fan reaches the given fraction less than the speed that it is asked for.",
        turn=_fan_slowing,
        arguments={"fraction": 0.4, OVER: 0.0},
        limits={"fraction": (0.0, 0.95), OVER: (0.0, LONGEST)},
        draws={"fraction": (0.3, 0.6), OVER: (3600.0, 21_600.0)},
        hard=False,
    ),
    Fault(
        name="filter-clogging",
        kinds=(PartKind.FILTER,),
        text="Dust in the sled's intake filter: it adds so many times the resistance of the clean sled's air path.",
        turn=_filter_clogging,
        arguments={"resistance": 3.0, OVER: 0.0},
        limits={"resistance": (0.0, 100.0), OVER: (0.0, LONGEST)},
        draws={"resistance": (2.0, 6.0), OVER: (7200.0, 43_200.0)},
        hard=False,
    ),
    Fault(
        name="heat-sink-loose",
        kinds=(PartKind.PROCESSOR,),
        text="The processor's heat sink, or cold plate, sits badly: so many K/W more between the two.",
        turn=_heat_sink_loose,
        arguments={"resistance": 0.15, OVER: 0.0},
        limits={"resistance": (0.0, 2.0), OVER: (0.0, LONGEST)},
        draws={"resistance": (0.10, 0.25), OVER: (600.0, 7200.0)},
        hard=False,
    ),
    Fault(
        name="recirculation",
        kinds=(PartKind.SLED,),
        text="A blanking panel beside the sled is missing: that part of the air in front of it comes from behind.",
        turn=_recirculation,
        arguments={"fraction": 0.3, OVER: 0.0},
        limits={"fraction": (0.0, 0.8), OVER: (0.0, LONGEST)},
        draws={"fraction": (0.3, 0.6)},
        hard=False,
        charge=_panel,
    ),
)
