"""Faults of the management controllers."""

from __future__ import annotations

from dataclasses import replace

from simulators.faults.fault import Arguments, Fault, Target, number
from simulators.knobs import SERVING, Knobs
from simulators.site import PartKind
from simulators.telemetry import Mode

_CONTROLLER = (PartKind.CONTROLLER,)


def _hung(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.silent[target.row] = 1.0
    knobs.controller[target.row] = replace(SERVING, mode=Mode.HUNG)


def _rebooting(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.silent[target.row] = 1.0
    knobs.controller[target.row] = replace(SERVING, mode=Mode.REBOOTING, until=target.until)
    if target.until is not None:
        knobs.restarted[target.row] = target.until


def _slow(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.electronics(target.row).slow = number(arguments, "seconds")


def _clock_off(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.electronics(target.row).clock = number(arguments, "offset")


FAULTS = (
    Fault(
        name="controller-hung",
        kinds=_CONTROLLER,
        text="The management controller takes connections and answers nothing; hosts run on, fans go fail-safe.",
        turn=_hung,
    ),
    Fault(
        name="controller-slow",
        kinds=_CONTROLLER,
        text="The management controller takes the given seconds more for each answer, one after the other.",
        turn=_slow,
        arguments={"seconds": 2.0},
        limits={"seconds": (0.05, 60.0)},
        draws={"seconds": (1.0, 4.0)},
    ),
    Fault(
        name="controller-rebooting",
        kinds=_CONTROLLER,
        text="The management controller restarts and is away for the given seconds; hosts run on.",
        turn=_rebooting,
        arguments={"seconds": 90.0},
        limits={"seconds": (0.0, 86_400.0)},
        draws={"seconds": (60.0, 240.0)},
        lasts="seconds",
    ),
    Fault(
        name="clock-off",
        kinds=_CONTROLLER,
        text="The management controller's clock is ahead by the given seconds, or behind where they are negative.",
        turn=_clock_off,
        arguments={"offset": -3600.0},
        limits={"offset": (-1e9, 1e9)},
        draws={"offset": (-86_400.0, -600.0)},
    ),
)
