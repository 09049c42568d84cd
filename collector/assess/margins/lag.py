"""What a slow temperature may by now have felt of quick inputs: several first-order lags, as lower and upper bounds.

Between two rounds nobody knows when an input changed, so each lag is kept twice: as if it had changed right away, and
as if only just now. A body that answers as a mixture of first-order lags lies between.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TIMES = np.asarray([1.0, 30.0, 90.0, 240.0, 700.0])
"""Time constants, s: from a bare sensor to a drive's body."""


class Lags:
    """Lagged inputs: shape (inputs, times)."""

    def __init__(self, inputs: int) -> None:
        self._before = np.full(inputs, np.nan)
        self.low = np.full((inputs, len(TIMES)), np.nan)
        self.high = np.full((inputs, len(TIMES)), np.nan)

    def step(self, seconds: float, values: Floats) -> None:
        """Take inputs ``seconds`` after the last; one that is no number is held."""
        fresh = ~(self._before == self._before)
        now = np.where(values == values, values, self._before)
        before = np.where(fresh, now, self._before)
        keep = np.exp(-max(seconds, 0.0) / TIMES)
        least, most = np.minimum(before, now)[:, None], np.maximum(before, now)[:, None]
        self.low = np.where(fresh[:, None], now[:, None], least + keep * (self.low - least))
        self.high = np.where(fresh[:, None], now[:, None], most + keep * (self.high - most))
        self._before = now

    def restart(self) -> None:
        """Forget: what came between is not known."""
        self._before[:] = np.nan
