"""What controllers know of one another: the air in front of their neighbours, and what their design does elsewhere.

Bounded: of a place and of a design the newest so many are kept, not all.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from statistics import median

KEPT = 24
"""Controllers remembered for one place or design."""
AMONG = 0.25
"""Ratio by which a part must stand out among at least three alike."""
FRESH = 900.0
"""Seconds after which a neighbour's air says nothing any more."""


class Peers:
    """Shared by the looks of all controllers; holds numbers only."""

    def __init__(self) -> None:
        self._air: dict[str, OrderedDict[str, tuple[float, float]]] = {}
        self._laws: dict[str, OrderedDict[str, float]] = {}

    def tell_air(self, place: str, controller: str, time: float, inlet: float) -> None:
        """An inlet temperature, Cel."""
        told = self._air.setdefault(place, OrderedDict())
        told[controller] = (time, inlet)
        told.move_to_end(controller)
        if len(told) > KEPT:
            told.popitem(last=False)

    def air(self, place: str, controller: str, time: float) -> tuple[float, int]:
        """(median inlet of the others there in Cel or NaN, how many)."""
        told = self._air.get(place)
        if told is None:
            return float("nan"), 0
        others = [inlet for name, (when, inlet) in told.items() if name != controller and abs(time - when) <= FRESH]
        return (median(others), len(others)) if others else (float("nan"), 0)

    def tell_law(self, design: str, controller: str, value: float) -> None:
        """A learnt figure of a design."""
        told = self._laws.setdefault(design, OrderedDict())
        told[controller] = value
        told.move_to_end(controller)
        if len(told) > KEPT:
            told.popitem(last=False)

    def laws(self, design: str, controller: str) -> list[float]:
        """The others' figures of that design."""
        told = self._laws.get(design)
        return [] if told is None else [value for name, value in told.items() if name != controller]

    def standing_out(self, design: str, controller: str, own: Mapping[int, float]) -> dict[int, float]:
        """Which of a controller's own figures of a design stand out above all others of it, and by what ratio to their
        median: a quarter, and 3.5 standard deviations as their median absolute deviation tells them."""
        others = self.laws(design, controller)
        self.tell_law(design, controller, median(own.values()))
        found = {}
        for row, value in own.items():
            told = [each for other, each in own.items() if other != row] + others
            if len(told) < 3:
                continue
            middle = median(told)
            scatter = max(1.4826 * median(abs(one - middle) for one in told), 0.05 * middle)
            if value > (1.0 + AMONG) * middle and value - middle > 3.5 * scatter:
                found[row] = value / middle
        return found
