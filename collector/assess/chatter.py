"""What comes and goes: conditions that chatter are told once, with how often, and held until they are steady.

ISA-18.2 / IEC 62682 call three or more raises in 60 s chattering. A collector that looks every 30 s can't see that; the
same thing shows to it as a condition that opens and closes every few rounds, so the stretch in which raises count is
also a number of rounds.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from collector.model import Health, Seconds

RAISES = 3
WITHIN = 60.0
"""Seconds: ISA-18.2-2016, "three or more times in one minute" (check-values.md, section 6)."""
ROUNDS = 20
"""Poll intervals in which :data:`RAISES` count as well. Common practice, no source."""
_MOST_KEPT = 256
"""Ids whose raises are remembered before what is long past is looked for and forgotten."""


def chattering(raises: Sequence[Seconds], count: int = RAISES, within: Seconds = WITHIN) -> bool:
    """Whether some ``count`` raises lie within so many seconds of each other; ``raises`` in ascending order."""
    return any(last - first <= within for first, last in zip(raises, raises[count - 1 :], strict=False))


class Chatter:
    """The comings and goings of one controller's conditions. ``poll_interval`` in seconds."""

    def __init__(self, poll_interval: Seconds, raises: int = RAISES, rounds: int = ROUNDS) -> None:
        self._count = max(2, raises)
        self.within = max(WITHIN, rounds * poll_interval)
        """Seconds in which raises count, and after which what was held is steady."""
        self._raises: dict[str, deque[Seconds]] = {}
        self._present: dict[str, Health] = {}
        self._moved: dict[str, Seconds] = {}
        """When a condition last came, got worse or went, by id."""

    def seen(self, condition: str, severity: Health, now: Seconds) -> int:
        """It is there now, at this severity. How often it came lately if that is chattering, else 0."""
        if severity > self._present.get(condition, Health.UNKNOWN):
            times = self._raises.setdefault(condition, deque(maxlen=4 * self._count))
            times.append(now)
            self._moved[condition] = now
            if len(self._raises) > _MOST_KEPT:
                self._forget_old(now)
        self._present[condition] = severity
        return self.often(condition, now)

    def gone(self, condition: str, now: Seconds) -> bool:
        """It is not there now; whether it is to be held open because it chatters."""
        if self._present.pop(condition, None) is not None:
            self._moved[condition] = now
        return self.often(condition, now) > 0

    def often(self, condition: str, now: Seconds) -> int:
        """Raises lately where that is chattering that is not over yet, else 0."""
        times = self._raises.get(condition)
        if times is None:
            return 0
        if times[-1] > now:  # the clock went back: what lies in the future was never
            del self._raises[condition]
            return 0
        if now - self._moved.get(condition, now) >= self.within:
            return 0
        recent = [time for time in times if now - time <= 2 * self.within]
        return len(recent) if chattering(recent, self._count, self.within) else 0

    def since(self, condition: str) -> Seconds:
        """When the first of the raises that are remembered was; only for what was :meth:`seen`."""
        return self._raises[condition][0]

    def restore(self, condition: str, severity: Health, last: Seconds) -> None:
        """Take up what chattered before a restart."""
        self._raises[condition] = deque([last] * self._count, maxlen=4 * self._count)
        self._present[condition] = severity
        self._moved[condition] = last

    def forget(self, condition: str) -> None:
        """It is over for good: its part is gone."""
        self._raises.pop(condition, None)
        self._present.pop(condition, None)
        self._moved.pop(condition, None)

    def _forget_old(self, now: Seconds) -> None:
        for condition in [each for each, times in self._raises.items() if not 0 <= now - times[-1] <= self.within]:
            if condition not in self._present:
                self.forget(condition)
