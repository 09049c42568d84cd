"""Faults of sensors: what they tell is wrong, and whoever believes them acts wrongly."""

from __future__ import annotations

from simulators.faults.fault import Arguments, Fault, Target
from simulators.knobs import Knobs
from simulators.site import PartKind

SENSED = (
    PartKind.SLED,
    PartKind.BLADE,
    PartKind.PROCESSOR,
    PartKind.DRIVE,
    PartKind.FAN,
    PartKind.POWER_SUPPLY,
    PartKind.NETWORK_ADAPTER,
    PartKind.CONTROLLER,
)
"""Kinds of parts that have a sensor of their own."""


def _sensor_stuck(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    if target.stuck is None:
        raise ValueError("a stuck sensor needs to be chosen first")
    knobs.stuck[target.row] = (*knobs.stuck.get(target.row, ()), target.stuck)


FAULTS = (
    Fault(
        name="sensor-stuck",
        kinds=SENSED,
        text="One sensor of the part (by its id, else its first) keeps telling one value, whatever happens.",
        turn=_sensor_stuck,
        arguments={"sensor": None, "value": None},
        hard=False,
    ),
)
