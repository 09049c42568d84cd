"""When to ask next: pure arithmetic, time and chance passed in.

All times are seconds on one scale that never jumps; where that scale starts does not matter as long as it stays.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable

from msgspec import Struct

Chance = Callable[[], float]
"""A number in [0, 1), a new one each time, such as ``random.random``."""

MOST_INTERVALS = 10
"""Poll intervals that back-off waits at most."""
OUT_OF_TURN = 0.25
"""Of the poll interval: the least between the newest round and one that an event asks for."""
FIRST_LOGIN_WAIT = 300.0
"""Seconds before a refused password is tried again: a usual lock-out counter (AccountService, DSP8010:
AccountLockoutCounterResetAfter) has forgotten one failure by then, common practice, no source."""
LAST_LOGIN_WAIT = 3600.0
LONGEST_RETRY_AFTER = 900.0
"""Seconds of a Retry-After that are obeyed; a service that asks for a week gets this."""


class Grid(Struct, frozen=True):
    """Due times that don't drift: ``phase`` + k * ``period``."""

    period: float
    phase: float

    @classmethod
    def spread(cls, name: str, period: float, purpose: str = "") -> Grid:
        """The grid of one controller; hashed, so that a fleet's due times are spread evenly and survive restarts."""
        digest = hashlib.blake2b(f"{purpose}\0{name}".encode(), digest_size=8).digest()
        return cls(period, int.from_bytes(digest, "big") / 2**64 * period)

    def at_or_after(self, moment: float) -> float:
        """The first due time that is not before ``moment``."""
        return self.phase + math.ceil((moment - self.phase) / self.period) * self.period

    def following(self, due: float, now: float) -> float:
        """The due time after ``due``; when that is over by half a period already, the next one from now on.

        A round that overran a little lets the next start late, so that lateness shows; one that overran a lot skips.
        """
        then = self.at_or_after(due + self.period / 2)
        return then if now - then <= self.period / 2 else self.at_or_after(now)


def out_of_turn(began: float, lasted: float, now: float, due: float, interval: float) -> float | None:
    """When a round may be made before the one that is due at ``due``; None where that one comes soon enough.

    Not sooner than a quarter of the interval after the newest round ``began``, so that a controller which talks all the
    time costs four rounds an interval at most; and only where twice the time that the newest ``lasted`` is left.
    """
    at = max(now, began + OUT_OF_TURN * interval)
    return at if at + 2 * lasted + interval / 20 <= due else None


def back_off(failures: int, interval: float, chance: Chance) -> float:
    """Seconds to wait after so many failed rounds in a row: exponential with full jitter, at most ten intervals.

    Full jitter (a uniform draw from zero to the bound) spreads a fleet that failed together best: common practice.
    """
    bound = interval * min(MOST_INTERVALS, 2.0 ** min(max(failures, 1) - 1, 30))
    return chance() * bound


def login_back_off(refusals: int, chance: Chance) -> float:
    """Seconds to wait after so many refused logins in a row: five minutes, doubling to an hour, a quarter more at most.

    Never less: an account that is locked for all its users is worse than one controller that is not read.
    """
    wait = min(LAST_LOGIN_WAIT, FIRST_LOGIN_WAIT * 2.0 ** min(max(refusals, 1) - 1, 30))
    return wait * (1 + chance() / 4)


def patience(refusals: int, wait: float) -> str:
    """What is said behind the error of a refused login: how often, and in how many seconds' time it is tried again."""
    times = "once" if refusals == 1 else f"{refusals} times in a row"
    return f"; refused {times}, tried again in {max(1, round(wait / 60))} min"


def obeyed(retry_after: float | None) -> float:
    """Seconds to wait because the service asked for it."""
    return 0.0 if retry_after is None else min(LONGEST_RETRY_AFTER, max(0.0, retry_after))
