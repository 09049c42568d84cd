"""What is heard of every controller's signs: which are present, which are visibly not there, and from when on that they
are not there says anything.

A failure shows its signs one after the other: a voltage at once, a lost link in the next round, a hot part after
minutes. A sign that is not there speaks against a failure only as far as the failure would have shown it by now: in
full after :data:`LATE`, counted from the signs that it did show, in rounds of the controller that would tell it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from msgspec import Struct, field

from collector.assess.isolate.faults import CONTACT, Spot
from collector.model import Observation, Seconds, Sign, SignKey, Visible


class Late(NamedTuple):
    """How long a sign takes to show."""

    rounds: int
    """In which its controller is read, the one of the first sign among them."""
    seconds: Seconds


LATE: Mapping[Sign, Late] = {
    **dict.fromkeys((Sign.HOT, Sign.SHORT_OF_AIR, Sign.WORKS_HARD), Late(6, 900.0)),
    Sign.WARM_AIR: Late(4, 300.0),
    Sign.UNBALANCED: Late(4, 60.0),
    Sign.OVERLOADED: Late(3, 60.0),
    Sign.LITTLE_FLOW: Late(3, 60.0),
    Sign.SLOW: Late(4, 0.0),
    Sign.UNSTEADY: Late(12, 600.0),
    Sign.RESTARTED: Late(12, 300.0),
    Sign.READING_GONE: Late(5, 0.0),
    **dict.fromkeys((Sign.READING_STUCK, Sign.READING_DRIFTS), Late(60, 3600.0)),
    **dict.fromkeys((Sign.READING_NOISY, Sign.READING_IMPOSSIBLE), Late(12, 0.0)),
    **dict.fromkeys((Sign.CORRECTABLE, Sign.WORN), Late(4, 900.0)),
    **dict.fromkeys((Sign.WRONG_PART, Sign.MISPLACED, Sign.OLD_FIRMWARE, Sign.LAMP_WRONG), Late(1, 900.0)),
    **dict.fromkeys((Sign.FAULTY, Sign.PREDICTED, Sign.ABSENT), Late(3, 0.0)),
}
"""Common practice, no source: what heats up takes minutes, what is learnt from many readings takes many, what only a
walk tells takes a walk, and states that seldom change are read in turns."""
SOON = Late(2, 0.0)
"""All others: a round may have come in the middle of it."""


class Onset(NamedTuple):
    """When a failure came about, as far as its signs tell."""

    shown: Seconds
    """Of its first sign."""
    began: Seconds
    """Before that by as much as that sign takes to show: another that takes as long would be there as well."""


LONG_AGO = Onset(-math.inf, -math.inf)


class Heard(Struct):
    """What is known of one controller's signs."""

    present: dict[Spot, Observation] = field(default_factory=dict)
    gist: frozenset[tuple[Spot, int, str | None]] = frozenset()
    visible: Visible = field(default_factory=dict)
    readable: bool = True
    last: Seconds = -math.inf
    """When its last round ended."""
    pace: Seconds = 0.0
    """Seconds from round to round, about."""


class Hearing:
    """Of the whole fleet. ``now`` is set by whoever asks."""

    def __init__(self) -> None:
        self.of: dict[str, Heard] = {}
        self.now: Seconds = 0.0

    def controller(self, name: str) -> Heard:
        """One controller's, to be written to."""
        return self.of.setdefault(name, Heard())

    def round(self, name: str, now: Seconds) -> None:
        """A round of a controller ended, whatever it brought."""
        heard = self.controller(name)
        passed = now - heard.last
        if 0.0 < passed < 86_400.0:
            heard.pace = passed if heard.pace <= 0.0 else heard.pace + 0.2 * (passed - heard.pace)
        heard.last = now

    def present(self, spot: Spot) -> Observation | None:
        """The sign that is seen there."""
        heard = self.of.get(spot[0])
        return None if heard is None else heard.present.get(spot)

    def absent(self, spot: Spot) -> bool:
        """Whether it is visibly not there."""
        heard = self.of.get(spot[0])
        if heard is None or spot in heard.present or spot[2] not in heard.visible.get(spot[1], ()):
            return False
        return heard.readable or (spot[2] in CONTACT and self._lost(heard, spot))

    def against(self, spot: Spot, chance: float, onset: Onset) -> float:
        """The logarithm of the probability that a failure which began then, and shows a sign with a chance, has not
        shown it by now; 0 for a sign that is there or can't be seen."""
        return math.log1p(-chance * self.ripe(spot, onset)) if self.absent(spot) else 0.0

    @staticmethod
    def _lost(heard: Heard, spot: Spot) -> bool:
        """Whether it is said how contact was lost: until then it may still be in any way."""
        return any((*spot[:2], sign) in heard.present for sign in CONTACT)

    def ripe(self, spot: Spot, onset: Onset) -> float:
        """How much of a sign's chance to show there is over by now, 0 to 1."""
        heard = self.of[spot[0]]
        if onset.shown > self.now or onset.shown == -math.inf or heard.last == -math.inf:
            return 1.0  # a clock that went back, or nobody knows when it began
        if heard.last < onset.shown:
            return 0.0
        if spot[2] in CONTACT and heard.readable:
            return 1.0  # it was reached after that
        late = LATE.get(spot[2], SOON)
        read = 1.0 + (heard.last - onset.shown) // heard.pace if heard.pace > 0.0 else 1.0
        read += (onset.shown - onset.began) / heard.pace if heard.pace > 0.0 else late.rounds
        passed = heard.last - onset.began
        return min(1.0, read / late.rounds, passed / late.seconds if late.seconds > 0.0 else 1.0)

    def due(self, spot: Spot, onset: Onset) -> Seconds:
        """When it is worth asking again what it means that a sign is not there; infinity for never."""
        if not self.absent(spot) or self.ripe(spot, onset) >= 1.0:
            return math.inf
        left = onset.began + self._late(spot) - self.now
        return self.now + max(self.of[spot[0]].pace, left / 3.0, 1.0)

    def onset(self, spots: Iterable[Spot]) -> Onset:
        """When a failure began that shows those of some signs that are present; :data:`LONG_AGO` where nobody knows."""
        shown = [(spot, seen.since) for spot in spots if (seen := self.present(spot)) is not None]
        if not shown or not all(math.isfinite(since) for _, since in shown):
            return LONG_AGO
        return Onset(min(since for _, since in shown), min(since - self._late(spot) for spot, since in shown))

    def _late(self, spot: Spot) -> Seconds:
        return _lasts(LATE.get(spot[2], SOON), self.of[spot[0]])


def _lasts(late: Late, heard: Heard) -> Seconds:
    return max(late.seconds, (late.rounds - 1) * heard.pace)


def told(controller: str, present: Mapping[SignKey, Observation] | Iterable[Observation]) -> dict[Spot, Observation]:
    """Sound observations by spot, the surest of each."""
    spots: dict[Spot, Observation] = {}
    for each in present.values() if isinstance(present, Mapping) else present:
        if not (each.weight > 0.0 and math.isfinite(each.weight)):
            continue
        spot = (controller, each.part, each.sign)
        if (other := spots.get(spot)) is None or _stronger(each, other):
            spots[spot] = each
    return spots


def _stronger(one: Observation, other: Observation) -> bool:
    return (one.weight, -one.since, one.sensor or "") > (other.weight, -other.since, other.sensor or "")
