"""Faults of the management controllers."""

from __future__ import annotations

from simulators.faults.fault import Arguments, Fault, Target
from simulators.knobs import Knobs
from simulators.site import PartKind
from simulators.telemetry import ControllerCondition, Mode


def _controller_hung(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.silent[target.row] = 1.0
    knobs.controller[target.row] = ControllerCondition(Mode.HUNG)


def _controller_rebooting(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.silent[target.row] = 1.0
    knobs.controller[target.row] = ControllerCondition(Mode.REBOOTING, target.until)


FAULTS = (
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
        limits={"seconds": (0.0, 86_400.0)},
        draws={"seconds": (60.0, 240.0)},
        lasts="seconds",
    ),
)
