"""What faults turn: the state of the hardware that physics and sensors obey, for all sleds of one design.

Faults never write readings. They turn these knobs, and readings, statuses and control follow as they would in
hardware. Every knob has a healthy position; :meth:`Knobs.reset` puts one sled's back there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.designs import SledDesign
from simulators.sensors import Column
from simulators.telemetry import ControllerCondition, Mode

SERVING = ControllerCondition(Mode.SERVING)


@dataclass(frozen=True, slots=True)
class Stuck:
    """A sensor that tells one value for ever."""

    sensor: str
    column: Column
    value: float


class Knobs:
    """The knobs of some sleds (S) of a design with B blades and C fans."""

    def __init__(self, design: SledDesign | None, sleds: int) -> None:
        """``design``: None for power shelves, which have neither blades nor shared fans."""
        blades, fans = (0, 0) if design is None else (len(design.slots), design.fans)
        self.blade_on = np.ones((sleds, blades))
        """1 while the blade's 12 V input is alive, else 0."""
        self.host_on = np.ones((sleds, blades))
        """1 while the host is switched on, else 0. What someone asked for, no fault: :meth:`reset` leaves it."""
        self.fan_turns = np.ones((sleds, fans))
        """Speed that a fan reaches, as a part of what it is asked for."""
        self.intake_open = np.ones((sleds, blades))
        """Open part of each blade's air intake, above 0 up to 1."""
        self.silent = np.zeros(sleds)
        """1 while the management controller does nothing, not even fan control."""
        self.controller: dict[int, ControllerCondition] = {}
        """By sled; serving where absent."""
        self.stuck: dict[int, tuple[Stuck, ...]] = {}
        """By sled."""
        self.predicted: dict[int, frozenset[str]] = {}
        """By sled: paths of drives that expect to fail."""
        self.swapped: dict[int, dict[str, str]] = {}
        """By sled: serial numbers of the parts that stand in the place of those delivered, by path."""
        self.pulled: dict[int, frozenset[str]] = {}
        """By sled: paths of places that are empty."""

    def reset(self, sled: int) -> None:
        """All knobs of a sled that faults turn back to healthy."""
        for knob in (self.blade_on, self.fan_turns, self.intake_open):
            knob[sled] = 1.0
        self.silent[sled] = 0.0
        for table in (self.controller, self.stuck, self.predicted, self.swapped, self.pulled):
            table.pop(sled, None)

    def condition(self, sled: int) -> ControllerCondition:
        """How a sled's management controller does."""
        return self.controller.get(sled, SERVING)
