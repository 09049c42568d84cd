"""Fan control, as a sled's management controller does it: on what its sensors say, not on what is so.

A proportional and integral controller on the body that is nearest to its limit (each temperature is first stated as a
part of the way from "asks for no more air" to "asks for all of it"). The integral leaks, so the loop settles with a
droop instead of hunting: more heat always ends hotter *and* faster. Common practice; no source.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simulators.chance import Floats, bounded

LEAST, MOST = 0.27, 1.0
"""Speed range as fractions of rated speed."""
FAILSAFE = 0.80
"""Speed that the fans take by themselves while the management controller is silent."""
FAILED_FAN = 1.02
"""The controller asks so much more of the fans when one of them stands."""
GAIN = 0.9
INTEGRAL_GAIN = 0.008
"""1/s."""
LEAK = 60.0
"""Seconds in which the integral forgets all but 1/e of itself."""
AIM = 0.45
"""Need at which the integral neither grows nor falls."""
INTEGRAL_RANGE = (-0.08, 0.12)
RISE, FALL = 0.05, 0.012
"""Largest change of the commanded speed, 1/s."""
INERTIA = 1.6
"""Seconds in which a rotor comes within 1/e of a new command."""


class FanControl:
    """The controllers of some sleds; state is one integral and one command each."""

    def __init__(self, sleds: int) -> None:
        self.integral = np.zeros(sleds)
        self.command = np.full(sleds, 0.4)
        """Commanded speed as a fraction of rated speed."""

    def step(self, need: Floats, failed: NDArray[np.intp], silent: Floats, seconds: float) -> None:
        """One control step.

        ``need``: of the body nearest to its limit, 0 (no more air) to 1 (all of it), may lie outside; ``failed``: fans
        that seem to stand; ``silent``: 1 where the management controller does nothing.
        """
        keep = math.exp(-seconds / LEAK)
        rest = INTEGRAL_GAIN * LEAK * (need - AIM)
        self.integral = bounded(rest + (self.integral - rest) * keep, *INTEGRAL_RANGE)
        asked = LEAST + (MOST - LEAST) * bounded(GAIN * need + self.integral, 0.0, 1.0)
        asked = np.where(failed > 0, np.minimum(asked * FAILED_FAN, MOST), asked)
        asked = np.where(silent > 0, FAILSAFE, asked)
        step = bounded(asked - self.command, -FALL * seconds, RISE * seconds)
        self.command = bounded(self.command + step, LEAST, MOST)
