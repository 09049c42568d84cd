"""Observations: what readings, statuses and contacts of a part show, in the few words that fault isolation reasons in.

A *sign* is one kind of abnormal showing, of one part. It is either present (an :class:`Observation`), visibly not there
(the part is read, and what would show it is among what its controller tells), or unknown. Healthy showings are evidence
as well, so the ones who look for signs also say which they could see (:data:`Visible`).
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from msgspec import Struct

from collector.model.words import Seconds


class Sign(StrEnum):
    """What an observation shows of a part. The values are words for people."""

    # Of a controller
    CUT_OFF = "can't be connected to"
    SILENT = "takes connections and does not answer"
    SLOW = "answers slowly"
    RESTARTED = "restarted"
    CLOCK_OFF = "has a wrong clock"

    # Of any part, as its controller tells it
    FAULTY = "is reported not OK"
    ABSENT = "is gone"
    OFF = "is off unasked"
    PREDICTED = "expects to fail"
    LINK_DOWN = "has no link"
    UNSTEADY = "comes and goes"

    # Of readings of a part
    HOT = "is too hot"
    WARM_AIR = "draws in warm air"
    SHORT_OF_AIR = "gets little air"
    STANDS = "stands still"
    TURNS_SLOWLY = "turns too slowly"
    WORKS_HARD = "works harder than the heat explains"
    NO_POWER = "has no power"
    LOW_VOLTAGE = "has low voltage"
    HIGH_VOLTAGE = "has high voltage"
    OVERLOADED = "carries too much"
    UNBALANCED = "does not add up"
    LITTLE_FLOW = "gets little coolant"
    LEAKING = "is wet"
    CORRECTABLE = "corrects many errors"
    UNCORRECTABLE = "has uncorrectable errors"
    WORN = "is worn"
    BEYOND = "is beyond a threshold"
    """Any other quantity."""

    # Of one sensor of a part
    READING_GONE = "tells no value"
    READING_STUCK = "tells one value for ever"
    READING_NOISY = "jumps about"
    READING_DRIFTS = "drifts away"
    READING_IMPOSSIBLE = "tells the impossible"

    # Of what a place should hold and show
    WRONG_PART = "is another part than planned"
    MISPLACED = "stands in another's place"
    OLD_FIRMWARE = "has old firmware"
    LAMP_WRONG = "shows another lamp than told"


SENSOR_SIGNS = frozenset(
    {Sign.READING_GONE, Sign.READING_STUCK, Sign.READING_NOISY, Sign.READING_DRIFTS, Sign.READING_IMPOSSIBLE}
)
"""Signs that are of one sensor; an observation of them names it."""


class Observation(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A sign that is present."""

    controller: str
    part: str
    """Id of the part that shows it."""
    sign: Sign
    sensor: str | None = None
    """The sensor that shows it, where one does."""
    since: Seconds
    weight: float = 1.0
    """How sure it is that the sign is there at all, above 0 up to 1."""
    text: str
    """One sentence for a person, with figures."""
    condition: str | None = None
    """Id of the condition that tells people of it, if one does."""

    @property
    def key(self) -> SignKey:
        """What makes it the same observation as an earlier one."""
        return (self.part, self.sign, self.sensor)


SignKey = tuple[str, Sign, str | None]
"""(part id, sign, sensor or None)."""

Visible = Mapping[str, frozenset[Sign]]
"""By part id: the signs that would be seen of it, were they there, while its controller is read."""
