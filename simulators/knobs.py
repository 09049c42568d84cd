"""What faults turn: the state of the hardware that physics and sensors obey, for all sleds of one design.

Faults never write readings. They turn these knobs, and readings, statuses and control follow as they would in
hardware. Every knob has a healthy position; :meth:`Knobs.reset` puts one sled's back there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simulators.designs import SledDesign
from simulators.digital import Digital
from simulators.parts import MAINS
from simulators.sensors import Column
from simulators.telemetry import ControllerCondition, Mode

SERVING = ControllerCondition(Mode.SERVING)
_WELL = Digital()


@dataclass(frozen=True, slots=True)
class Ill:
    """A sensor that does not tell what is so. Whoever believes it, fan control too, acts on what it tells."""

    sensor: str
    column: Column
    value: float | None = None
    """Told for ever; None where it still follows what it measures."""
    offset: float = 0.0
    """Added, in the sensor's unit."""
    noise: float = 0.0
    """Half the width of what is added by chance, in the sensor's unit."""
    gone: bool = False
    """Whether it tells nothing at all."""

    def told(self, true: float, chance: float) -> float:
        """What it tells; ``chance`` from -1 to 1. NaN where it tells nothing."""
        if self.gone:
            return math.nan
        return true + self.offset + self.noise * chance if self.value is None else self.value


class Knobs:
    """The knobs of some sleds (S) of a design with B blades and C fans."""

    def __init__(self, design: SledDesign | None, sleds: int, *, supplies: int = 0, outlets: int = 0) -> None:
        """``design``: None for power shelves, which have neither blades nor shared fans.

        ``supplies``, ``outlets``: of a shelf.
        """
        blades, fans, processors = 0, 0, 0
        if design is not None:
            blades, fans, processors = len(design.slots), design.fans, design.blade.processors
            supplies = len(design.power_supplies)
        self.blade_on = np.ones((sleds, blades))
        """1 while the blade's 12 V input is alive, else 0."""
        self.host_on = np.ones((sleds, blades))
        """1 while the host is switched on, else 0. What someone asked for, no fault: :meth:`reset` leaves it."""
        self.fan_turns = np.ones((sleds, fans))
        """Speed that a fan reaches, as a part of what it is asked for."""
        self.intake_open = np.ones((sleds, blades))
        """Open part of each blade's air intake, above 0 up to 1."""
        self.board_on = np.ones((sleds, blades))
        """1 while a blade's own electronics live, else 0: dead, whatever its input brings."""
        self.supply_on = np.ones((sleds, supplies))
        """1 while a power supply works, else 0."""
        self.mains = np.ones((sleds, len(MAINS) if design is None else 0))
        """Shelves: voltage of each feed, as a part of what the mains bring."""
        self.outlet_ohm = np.zeros((sleds, outlets))
        """Shelves: resistance of each busbar output's joint beyond that of a sound one, ohm."""
        self.blade_ohm = np.zeros((sleds, blades))
        """Resistance between the 12 V plane and each blade beyond that of a sound power board, ohm."""
        self.sink_loose = np.zeros((sleds, blades, processors))
        """Resistance between each processor and its heat sink beyond that of a sound joint, K/W."""
        self.round = np.zeros(sleds)
        """Part of the air in front that comes round from the hot aisle beyond the usual, 0 to 1."""
        self.pump = np.ones(sleds)
        """Flow that a sled's coolant pump brings, as a part of a sound one's."""
        self.leak = np.zeros(sleds)
        """Coolant lost, L/min."""
        self.silent = np.zeros(sleds)
        """1 while the management controller does nothing, not even fan control."""
        self.controller: dict[int, ControllerCondition] = {}
        """By sled; serving where absent."""
        self.ill: dict[int, tuple[Ill, ...]] = {}
        """By sled."""
        self.predicted: dict[int, frozenset[str]] = {}
        """By sled: paths of drives that expect to fail."""
        self.swapped: dict[int, dict[str, str]] = {}
        """By sled: serial numbers of the parts that stand in the place of those delivered, by path."""
        self.pulled: dict[int, frozenset[str]] = {}
        """By sled: paths of places that are empty."""
        self.running = np.ones((sleds, blades))
        """1 while a host that is on does its work, 0 once it has stopped on an error."""
        self.digital: dict[int, Digital] = {}
        """By sled: its electronics, where something is wrong with them."""
        self.restarted: dict[int, float] = {}
        """By sled: when its controller's last reboot was, or will be, over. History, no fault: :meth:`reset` leaves it.
        """

    def reset(self, sled: int) -> None:
        """All knobs of a sled that faults turn back to healthy."""
        for knob in (self.blade_on, self.board_on, self.fan_turns, self.intake_open, self.supply_on, self.mains):
            knob[sled] = 1.0
        self.running[sled] = 1.0
        self.pump[sled] = 1.0
        self.sink_loose[sled] = 0.0
        for knob in (self.outlet_ohm, self.blade_ohm):
            knob[sled] = 0.0
        for one in (self.round, self.leak, self.silent):
            one[sled] = 0.0
        for table in (self.controller, self.ill, self.predicted, self.swapped, self.pulled, self.digital):
            table.pop(sled, None)

    def condition(self, sled: int) -> ControllerCondition:
        """How a sled's management controller does."""
        told = self.controller.get(sled, SERVING)
        digital, restarted = self.digital.get(sled), self.restarted.get(sled)
        if digital is None and restarted is None:
            return told
        ill = digital or _WELL
        return ControllerCondition(told.mode, told.until, ill.slow, ill.cut_off, ill.clock, restarted)

    def electronics(self, sled: int) -> Digital:
        """A sled's electronics, for a fault to turn."""
        return self.digital.setdefault(sled, Digital())
