"""The clocks of a fleet against ours: where most are off by the same, it is ours that is wrong.

Bounded: at most :data:`KEPT` controllers' newest offsets, whatever the fleet's size.
"""

from __future__ import annotations

from statistics import median

from collector.model import Seconds

CLOCK_LIMIT = 60.0
"""Seconds that a clock may be off (the collector's own defect begins there as well)."""
KEPT = 64
FRESH = 3600.0
"""Seconds after which what a controller told of its clock says nothing any more."""
FEWEST = 3
"""Clocks that it takes to doubt ours."""
MOST = 2.0 / 3.0
"""Part of them that must agree."""


class Clocks:
    """Offsets of clocks from ours, s; one for the fleet."""

    def __init__(self) -> None:
        self._told: dict[str, tuple[Seconds, float]] = {}

    def tell(self, controller: str, now: Seconds, offset: float) -> None:
        """A controller's clock less ours, s; one more than fit takes the place of one that is no longer fresh."""
        told = self._told
        if controller not in told and len(told) >= KEPT:
            oldest = min(told, key=lambda each: told[each][0])
            if abs(now - told[oldest][0]) <= FRESH:
                return
            del told[oldest]
        told[controller] = (now, offset)

    def known(self) -> bool:
        """Whether there are enough to doubt ours by."""
        return len(self._told) >= FEWEST

    def common(self, now: Seconds) -> float:
        """By how many s most clocks are off together; 0 where they aren't, or too few are known.

        What was told before our clock jumped looks old or yet to come by it, and counts no more.
        """
        fresh = [offset for time, offset in self._told.values() if abs(now - time) <= FRESH]
        if len(fresh) < FEWEST:
            return 0.0
        middle = median(fresh)
        alike = sum(abs(offset - middle) <= CLOCK_LIMIT for offset in fresh)
        return middle if abs(middle) > CLOCK_LIMIT and alike >= MOST * len(fresh) else 0.0
