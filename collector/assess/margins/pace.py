"""Which rounds margins and figures are worked out of."""

from __future__ import annotations

from array import array

from collector.assess.looking import Seen
from collector.model import Inventory, Seconds

EVERY = 55.0
"""Seconds between two looks."""


class Pace:
    """Lets a round of one controller through once in a while, where its values are those of the last walk's sensors."""

    def __init__(self) -> None:
        self._size = 0
        self._last: Seconds = float("-inf")

    def walked(self, inventory: Inventory) -> None:
        """Take a finished walk."""
        self._size = len(inventory.layout.sensors)

    def values(self, seen: Seen) -> array[float] | None:
        """The values of a finished round to look at; None where it is not time yet, or they don't fit the walk."""
        if seen.frame is None or len(seen.frame.values) != self._size:
            return None
        if 0.0 <= seen.time - self._last < EVERY:
            return None
        self._last = seen.time
        return seen.frame.values
