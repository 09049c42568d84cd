"""Sensors that drift: off what the rest explains by more than explanations err, on one side, for rounds on end."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from collector.assess.looks.explained import Explained
from collector.assess.looks.impossible import STANDS
from collector.assess.looks.jitter import DISTRIBUTION
from collector.assess.looks.kin import Bools, Floats, Kin
from collector.assess.looks.latch import Signs
from collector.assess.words import amount
from collector.model import Kind, Quantity, Seconds, Sign

ROUNDS = 6
OTHERS = 2
"""Parts that may be off at the same time and still be ill sensors; more have a common cause."""
TOO_FAST = 0.96
"""Weight of a fan's drift upwards: worn or blocked fans turn more slowly than their siblings, none turns faster."""
BESIDE = 0.15
"""By how much less sure it is that a sensor is off where another part's is too."""
DOUBTED = 0.4
"""Weight of what the hardware's own troubles show as well."""
_SLOW = 6
"""Rounds that it must have taken to come to be off: what real heat seldom takes."""
_BEGINS = 0.4
"""Part of its limit from which it begins to be off."""
_SHARE = 0.25
"""Weight of a round in the mean error."""
_FLOWS = frozenset({Quantity.AIR_FLOW, Quantity.LIQUID_FLOW, Quantity.HEAT, Quantity.PRESSURE})
"""What the hardware's own troubles show first in: less sure to be the sensor."""


class Drifts:
    """The errors of one layout's columns."""

    KEPT = ("mean", "_off", "_began")

    def __init__(self, kin: Kin, model: Explained) -> None:
        self._kin, self._model = kin, model
        self.mean: Floats = np.zeros(kin.size)
        """Smoothed error, in the sensors' units."""
        self._off, self._began = np.zeros(kin.size, dtype=np.int16), np.zeros(kin.size, dtype=np.int16)

    def follow(self, error: Floats, known: Bools) -> None:
        """Take the errors that are known."""
        self.mean = np.where(known, self.mean + _SHARE * (error - self.mean), self.mean)

    def judge(self, limit: Floats, usable: Bools, alike: Bools, unclear: Bools, working: Bools) -> tuple[Bools, Bools]:
        """Take a round: columns that are off beyond their limits, and those of which it says nothing.

        ``usable``: explained well; ``alike``: by siblings under like load, or by other means; ``unclear``: another is
        as likely the one that is off; ``working``: told by what runs.
        """
        size = np.abs(self.mean)
        off = usable & alike & ~unclear & (size > limit)
        # a round in which the rest explains nothing is no round in which all was well
        mute = working & ~(usable & alike)
        begun = np.minimum(self._began, 10_000) + 1
        self._began = np.where(usable & (size > _BEGINS * limit), begun, self._began * mute).astype(np.int16)
        self._off = np.where(off, np.minimum(self._off + 1, 1000), self._off * mute)
        return off, mute

    def say(
        self, values: Floats, explained: Floats, limit: Floats, mute: Bools, stuck: Bools, now: Seconds, signs: Signs
    ) -> None:
        """Say what has been off for long enough, and how sure that is the sensor's doing."""
        kin, model = self._kin, self._model
        odd = {kin.sensors[column].part for column in np.nonzero(self._off >= 2)[0].tolist()}
        others_off = bool((model.siblings & (self._off > 0)).any())
        for column in np.nonzero(self._off >= ROUNDS)[0].tolist():
            sensor = kin.sensors[column]
            key = (sensor.part, Sign.READING_DRIFTS, sensor.sensor)
            if mute[column]:
                signs.keep(*key)
                continue
            if model.summed[column]:
                continue  # either side may be off: who balances them says so
            if sensor.kind in DISTRIBUTION and sensor.quantity in (Quantity.POWER, Quantity.CURRENT):
                continue
            if sensor.kind is Kind.FAN and values[column] <= STANDS * max(float(explained[column]), 0.0):
                continue  # a fan that stands, or is told to
            if key not in signs.present and not model.siblings[column] and others_off:
                continue  # what heats one part moves the fans, and with them all that has nothing to compare with
            if (len(odd) > OTHERS and key not in signs.present) or stuck[column]:
                continue
            source = "its siblings explain" if model.siblings[column] else "the rest explains"
            right = amount(round(float(explained[column]), 2), sensor.unit)
            text = f"{sensor.sensor} tells {amount(float(values[column]), sensor.unit)} where {source} {right}"
            weight = self._weight(column, float(limit[column]), beside=len(odd) > 1)
            signs.see(sensor.part, Sign.READING_DRIFTS, text, now, weight, sensor.sensor, 1)

    def _weight(self, column: int, limit: float, *, beside: bool) -> float:
        kin, model, mean = self._kin, self._model, float(self.mean[column])
        sensor, siblings = kin.sensors[column], bool(model.siblings[column])
        slow = self._began[column] - self._off[column] >= _SLOW
        heats = sensor.quantity is Quantity.TEMPERATURE and mean > 0.0 and column not in kin.inlets
        if (heats and not slow) or (sensor.quantity in _FLOWS and not siblings):
            return DOUBTED
        # what is off by far more than is worth a word is no slip of what inlet, load and fans explain
        far = min(1.0, max(0.0, abs(mean) / limit - 1.0))
        weight = 0.8 + 0.15 * min(1.0, 2.0 * far) if siblings else 0.55 + 0.4 * far
        if sensor.kind is Kind.FAN and siblings and mean > 0.0:
            weight = max(weight, TOO_FAST)
        return weight - BESIDE if beside else weight  # what explains it may be the one that is off


def several(kin: Kin, columns: Iterable[int]) -> bool:
    """Whether these are of more parts than are ill at one time: then they have a common cause."""
    return len({kin.sensors[column].part for column in columns}) > OTHERS
