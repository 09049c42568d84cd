"""What the hosts are asked to do: utilisation of processors and drives over time, by the day, the rack and the blade.

A pure function of seed and time. Invented, with the features that matter to what is told from it: a daily swing, racks
whose blades rise and fall together, and bursts that come within seconds.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simulators.chance import Floats, Keys, Wander, bounded, uniform

_DAY = 86_400.0
_PEAK = 14.0 * 3600.0
"""Second of the UTC day at which the daily swing is highest."""


class Load(NamedTuple):
    """How busy the blades are, each from 0 to 1, shape (sleds, blades)."""

    processors: Floats
    drives: Floats


class Workload:
    """The loads of some sleds' blades."""

    def __init__(self, blades: Keys, racks: Keys) -> None:
        """``blades``: keys of shape (sleds, blades); ``racks``: the key of each sled's rack, shape (sleds,)."""
        self._level = 0.40 + 0.16 * uniform(blades, 21)
        self._swing = 0.10 + 0.14 * uniform(racks, 22)[:, None]
        self._late = 5400.0 * (2.0 * uniform(racks, 23)[:, None] - 1.0)
        self._rack = Wander(racks, 7200.0)
        kinds = np.arange(4, dtype=np.uint64)[:, None, None]
        self._courses = Wander(blades + kinds, np.asarray([1500.0, 90.0, 240.0, 120.0])[:, None, None])

    def at(self, time: float) -> Load:
        """The loads at ``time`` (epoch seconds)."""
        daily = self._swing * np.cos((time % _DAY - _PEAK - self._late) * (2.0 * math.pi / _DAY))
        rack = 0.14 * self._rack.at(time)[:, None]
        jobs, restless, bursts, drives = self._courses.at(time)
        rise = bounded((bursts - 0.62) / 0.16, 0.0, 1.0)
        burst = 0.45 * rise * rise * (3.0 - 2.0 * rise)
        steady = self._level + daily + rack + 0.18 * jobs + 0.05 * restless
        processors = bounded(steady + burst, 0.02, 1.0)
        return Load(processors, bounded(0.12 + 0.5 * processors + 0.35 * drives, 0.02, 1.0))
