"""Sensors that tell no value any more while their part runs."""

from __future__ import annotations

import numpy as np

from collector.assess.looks.kin import Bools, Floats, Kin
from collector.assess.looks.latch import Signs
from collector.assess.words import amount
from collector.model import Seconds, Sign

ROUNDS = 2
TOLD = 3
"""Values that a sensor must have told to be missed."""
MOST_SELDOM = 15
"""Rounds without a value from which a sensor is believed to be told seldom; longer ones were gone."""
MOST_AT_ONCE = 0.5
"""Part of all that are expected beyond which their silence is the controller's own trouble."""


class Gone:
    """The silences of one layout's columns."""

    KEPT = ("rounds", "seldom")

    def __init__(self, kin: Kin, modelled: Bools) -> None:
        """``modelled``: columns that are told in every round."""
        self._kin, self._modelled = kin, modelled
        self.rounds, self.seldom = np.zeros(kin.size, dtype=np.int16), np.zeros(kin.size, dtype=np.int16)
        """Without a value until now, and the most after which one came back."""

    def round(
        self,
        came: Bools,
        told: np.ndarray[tuple[int], np.dtype[np.int16]],
        idle: Bools,
        last: Floats,
        now: Seconds,
        signs: Signs,
    ) -> None:
        """Take a round and say what is gone; ``told``: how many values each has told; ``last``: the last of these."""
        kin = self._kin
        expected = (told >= TOLD) & ~idle & self._modelled
        missing = ~came & expected
        # what comes seldom anyhow is missed only when it stays away longer than before
        back = came & (self.rounds > 0) & (self.rounds <= MOST_SELDOM)
        self.seldom[back] = np.maximum(self.seldom, self.rounds)[back]
        self.rounds = np.where(missing, np.minimum(self.rounds + 1, 1000), 0)
        if not missing.any() or missing.sum() > MOST_AT_ONCE * expected.sum():
            return
        for column in np.nonzero(self.rounds >= np.maximum(ROUNDS, 2 * self.seldom))[0].tolist():
            owner = kin.owner[column]
            of = [other for other, each in enumerate(kin.owner) if each == owner and expected[other]]
            if len(of) >= 4 and all(missing[other] for other in of):
                continue  # all of it went: no matter of one sensor
            sensor = kin.sensors[column]
            alone = sum(1 for other in of if missing[other] and kin.sensors[other].part == sensor.part) <= 2
            text = (
                f"{sensor.sensor} tells no value while the part runs; last {amount(float(last[column]), sensor.unit)}"
            )
            signs.see(sensor.part, Sign.READING_GONE, text, now, 0.98 if alone else 0.6, sensor.sensor, 1)
