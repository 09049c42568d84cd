"""What the air of a room is, as the inlets of a rack tell it: its cooler ones, for none is cooler than its room."""

from __future__ import annotations

from collections import OrderedDict
from typing import NamedTuple

from collector.model import Seconds

KEPT = 128
"""Controllers remembered of one rack."""
FRESH = 900.0
"""Seconds after which what one told says nothing."""
FEWEST = 3
"""Controllers of a rack that it takes."""


class Room(NamedTuple):
    """Air in front of a rack."""

    temperature: float
    """Cel."""
    basis: str


class Rooms:
    """One for the fleet. A controller's word moves one rack's only."""

    def __init__(self) -> None:
        self._inlets: dict[str, OrderedDict[str, tuple[Seconds, float]]] = {}
        self._gauged: dict[str, tuple[Seconds, float]] = {}

    def tell(self, rack: str, controller: str, time: Seconds, inlet: float) -> None:
        """The air that a controller's sled draws in, Cel."""
        told = self._inlets.setdefault(rack, OrderedDict())
        told[controller] = (time, inlet)
        told.move_to_end(controller)
        if len(told) > KEPT:
            told.popitem(last=False)

    def gauge(self, rack: str, time: Seconds, temperature: float) -> None:
        """What a sensor tells of the room itself, Cel."""
        self._gauged[rack] = (time, temperature)

    def of(self, rack: str, time: Seconds) -> Room | None:
        """The room's air; None where too little is told.

        Where no sensor tells of the room itself: the lower quartile of the rack's inlets, which one sensor that reads
        too little does not move. Where every sled draws in its exhaust, less is seen than there is.
        """
        when, value = self._gauged.get(rack, (float("-inf"), 0.0))
        if abs(time - when) <= FRESH:
            return Room(value, "as a sensor of the room tells")
        inlets = sorted(inlet for when, inlet in self._inlets.get(rack, {}).values() if abs(time - when) <= FRESH)
        if len(inlets) < FEWEST:
            return None
        return Room(inlets[len(inlets) // 4], f"the lower quartile of the rack's {len(inlets)} inlets")
