"""When what was learnt of a controller is kept anew: now and then, on a grid of its own, and at the end."""

from __future__ import annotations

import math

from collector.model import Seconds
from collector.poll.schedule import Grid
from collector.poll.telling import Remember

REMEMBER_EVERY = 1800.0
"""Seconds after which what was learnt is kept anew; a controller's turn is its own, as that of rounds is."""


class Remembering:
    """One controller's. ``steady``: seconds that never jump; ``now``: epoch seconds."""

    def __init__(self, controller: str, remember: Remember | None, steady: Seconds) -> None:
        self._remember = remember
        self._grid = Grid.spread(controller, REMEMBER_EVERY, "remember")
        self._due = self._grid.at_or_after(steady)
        self._kept = -math.inf

    def due(self, steady: Seconds, now: Seconds) -> bytes | None:
        """What is to outlast a restart, where it is due to be kept anew."""
        if self._remember is None or steady < self._due:
            return None
        self._due = self._grid.at_or_after(steady + REMEMBER_EVERY / 2)
        self._kept = steady
        return self._remember(now)

    def at_last(self, steady: Seconds, now: Seconds) -> bytes | None:
        """The same at the end; None where it was kept lately."""
        if self._remember is None or steady - self._kept < REMEMBER_EVERY / 4:
            return None
        return self._remember(now)
