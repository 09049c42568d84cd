"""The contact look: a controller that is cut off, silent, slow, restarted, comes and goes, or has a wrong clock.

Bounded: the lengths of the last rounds and the times of the last losses, about 1 kB a controller.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from statistics import median

from collector.assess.looking import Seen
from collector.assess.looks.clocks import CLOCK_LIMIT, Clocks
from collector.assess.looks.speaker import speaker_of, unknown_speaker
from collector.model import Inventory, Observation, Outcome, Seconds, Sign, SignKey, Visible

ROUNDS_UNTIL_LOST = 2
"""Failed rounds in a row until contact counts as lost: one may be chance."""
SLOWER = 4.0
"""Times its own median that an answer of a slow controller takes, in the mean of a round: not all ask for as much."""
SLOW_AT_LEAST = 0.5
"""Seconds that it takes at least: a few milliseconds more are nobody's trouble."""
ROUNDS_UNTIL_SLOW = 3
MUCH_SLOWER, ROUNDS_UNTIL_MUCH_SLOWER = 10.0, 2
"""The same where there is less doubt."""
ROUNDS_LEARNT, ROUNDS_KEPT = 8, 32
ROUNDS_UNTIL_OFF = 2
"""Rounds in a row in which a clock is off before it is said, where others may yet tell that ours is wrong."""
RESET_MARGIN = 60.0
"""Seconds that a told reset must be later than the one known: some work it out anew from a running counter."""
RESTART_AT_MOST = 900.0
"""Seconds of absence that still look like a restart."""
RESTART_SHOWN = 1800.0
"""Seconds that a restart is shown."""
LOSSES, LOSSES_WITHIN, CALM = 3, 3600.0, 3600.0
"""Losses of contact within so many seconds that make it unsteady, and how long it must last to count as calm."""

_LOST = {
    Outcome.UNREACHABLE: (Sign.CUT_OFF, 1.0),
    Outcome.TIMED_OUT: (Sign.SILENT, 1.0),
    Outcome.UNAVAILABLE: (Sign.SILENT, 0.6),
    Outcome.MALFORMED: (Sign.SILENT, 0.6),
}
_READ = frozenset({Outcome.OK, Outcome.PARTIAL})


class ContactLook:
    """One controller's contact."""

    def __init__(self, controller: str, clocks: Clocks | None = None) -> None:
        """``clocks``: shared with the looks of other controllers, where there are any."""
        self._controller = controller
        self._clocks = Clocks() if clocks is None else clocks
        self._off_rounds = 0
        self._common = 0.0
        self._part = unknown_speaker(controller)
        self._on: dict[SignKey, Observation] = {}
        self._lengths: deque[float] = deque(maxlen=ROUNDS_KEPT)
        self._slow_rounds = 0
        self._slow_since: Seconds = 0.0
        self._failures = 0
        self._failing_since: Seconds = 0.0
        self._reset: float | None = None
        self._restart_until: Seconds | None = None
        self._losses: deque[Seconds] = deque(maxlen=LOSSES)
        self._clock_told = False
        self._reset_told = False

    @property
    def visible(self) -> Visible:
        """Contact is always seen; the clock where it is told."""
        signs = {Sign.CUT_OFF, Sign.SILENT, Sign.UNSTEADY, Sign.RESTARTED}
        if len(self._lengths) >= ROUNDS_LEARNT:
            signs.add(Sign.SLOW)
        if self._clock_told:
            signs.add(Sign.CLOCK_OFF)
        return {self._part: frozenset(signs)}

    @property
    def weak(self) -> tuple[str, ...]:
        """What can't be said of this controller, and why."""
        if not self._common:
            return ()
        return (f"most controllers' clocks are {span(self._common)}: check ours; times told by them are doubtful",)

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._on

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        part = speaker_of(inventory)
        if part == self._part:
            return
        self._part = part
        told, self._on = self._on, {}
        for observation in told.values():
            self._show(observation.sign, observation.text, observation.since, observation.weight)

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        before = dict(self._on)
        if seen.outcome in _READ:
            self._read(seen)
        elif (lost := _LOST.get(seen.outcome)) is not None:
            self._lost(seen, *lost)
        # a refused login or another certificate is a matter of people, not of parts
        self._calm(seen.time)
        return before != self._on

    def _lost(self, seen: Seen, sign: Sign, weight: float) -> None:
        self._failures += 1
        self._slow_rounds = 0
        if self._failures == 1:
            self._failing_since = seen.time
            self._losses.append(seen.time)
        if self._failures < ROUNDS_UNTIL_LOST:
            return
        for other in (Sign.CUT_OFF, Sign.SILENT):
            if other is not sign:
                self._hide(other)
        words = (
            "no connection comes about" if sign is Sign.CUT_OFF else "connections are taken and nothing useful comes"
        )
        self._show(sign, f"{words}: {seen.outcome.value}", self._failing_since, weight)

    def _read(self, seen: Seen) -> None:
        now = seen.time
        away, self._failures = self._failures, 0
        self._hide(Sign.CUT_OFF)
        self._hide(Sign.SILENT)
        self._look_for_reset(seen, now - self._failing_since if away else None)
        self._look_for_slowness(seen)
        if seen.clock_offset is not None and seen.clock_offset == seen.clock_offset:
            self._clock_told = True
            self._look_at_clock(seen.clock_offset, now)

    def _look_at_clock(self, offset: float, now: Seconds) -> None:
        self._clocks.tell(self._controller, now, offset)
        self._common = self._clocks.common(now)
        off = offset - self._common
        self._off_rounds = self._off_rounds + 1 if abs(off) > CLOCK_LIMIT else 0
        if not self._off_rounds:
            self._hide(Sign.CLOCK_OFF)
        elif self._off_rounds >= ROUNDS_UNTIL_OFF or not self._clocks.known():
            self._show(Sign.CLOCK_OFF, f"its clock is {span(off)}", now, 1.0)

    def _look_for_reset(self, seen: Seen, away: float | None) -> None:
        status = seen.statuses.get(self._part)
        reset = None if status is None else status.last_reset
        known, now = self._reset, seen.time
        if reset is not None:
            self._reset = reset
            # a clock that was set right moves every time that it tells: only what is news by the clock as well counts
            offset = seen.clock_offset or 0.0
            if known is not None and reset > known + RESET_MARGIN and abs(reset - offset - now) < RESTART_AT_MOST * 4:
                self._restarted(now, "it tells of a reset since it was read last", 1.0)
            elif away is not None and known is not None:
                return  # it was away without a reset: the way to it was cut
        if reset is None and away is not None and 0.0 <= away <= RESTART_AT_MOST:
            self._restarted(now, f"it was away for {away:.0f} s and is back", 0.5)

    def _restarted(self, now: Seconds, text: str, weight: float) -> None:
        self._restart_until = now + RESTART_SHOWN
        self._show(Sign.RESTARTED, text, now, weight)

    def _look_for_slowness(self, seen: Seen) -> None:
        took = seen.seconds / max(1, seen.requests)
        if not took > 0.0:
            return
        if len(self._lengths) < ROUNDS_LEARNT:
            self._lengths.append(took)
            return
        usual = median(self._lengths)
        if took > max(SLOWER * usual, SLOW_AT_LEAST):
            self._slow_rounds = max(0, self._slow_rounds) + 1
            if self._slow_rounds == 1 and not self._shown(Sign.SLOW):
                self._slow_since = seen.time
            if self._slow_rounds >= (ROUNDS_UNTIL_MUCH_SLOWER if took > MUCH_SLOWER * usual else ROUNDS_UNTIL_SLOW):
                text = f"an answer takes {took:.2g} s, {took / usual:.0f} times its median of {usual:.2g} s"
                self._show(Sign.SLOW, text, self._slow_since, 0.9)
        else:
            self._lengths.append(took)
            self._slow_rounds = min(0, self._slow_rounds) - 1
            if self._slow_rounds <= -ROUNDS_UNTIL_SLOW:
                self._hide(Sign.SLOW)

    def _calm(self, now: Seconds) -> None:
        if self._restart_until is not None and not now < self._restart_until <= now + RESTART_SHOWN:
            self._restart_until = None
            self._hide(Sign.RESTARTED)
        losses = self._losses
        if len(losses) == LOSSES and 0.0 <= losses[-1] - losses[0] <= LOSSES_WITHIN and now - losses[-1] < CALM:
            minutes = (losses[-1] - losses[0]) / 60.0
            self._show(Sign.UNSTEADY, f"contact was lost {LOSSES} times within {minutes:.0f} min", losses[0], 0.9)
        else:
            self._hide(Sign.UNSTEADY)

    def _shown(self, sign: Sign) -> bool:
        return (self._part, sign, None) in self._on

    def _hide(self, sign: Sign) -> None:
        self._on.pop((self._part, sign, None), None)

    def _show(self, sign: Sign, text: str, since: Seconds, weight: float) -> None:
        key = (self._part, sign, None)
        known = self._on.get(key)
        if known is not None and known.weight == weight:
            return
        self._on[key] = Observation(
            controller=self._controller,
            part=self._part,
            sign=sign,
            since=since if known is None else known.since,
            weight=weight,
            text=text,
        )


def span(offset: float) -> str:
    """How far a clock is off, and which way."""
    return f"{abs(offset):.0f} s {'ahead' if offset > 0 else 'behind'}"
