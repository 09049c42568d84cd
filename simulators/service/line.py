"""The way from a collector to one controller, in fast time: what a round would meet there, without HTTP and waiting.

A drill asks :meth:`Line.ask` for the bodies of a round and is told what a real network would have shown, in the words
of a round's outcome, and how many seconds that would have taken:

=================================  ===============  ==========================================================
the controller                     met              seconds
=================================  ===============  ==========================================================
serves                             ``ok``           :data:`USUAL` a request, its dialect's pace, its slowness
is so slow that some answers       ``partial``      the deadline
miss the deadline
is so slow that all miss it        ``timed out``    the deadline
hangs                              ``timed out``    the deadline: it takes the connection and stays silent
reboots                            ``unreachable``  next to none: the connection is refused
has just rebooted                  ``unavailable``  next to none: 503 with Retry-After
is cut off, or without power       ``unreachable``  :data:`simulators.service.inprocess.NO_ROUTE`
=================================  ===============  ==========================================================

``Met`` has the values of the collector's outcomes, so that ``Outcome(told.met)`` is the round's.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from simulators.service.inprocess import NO_ROUTE
from simulators.service.service import Service
from simulators.telemetry import Mode

USUAL = 0.02
"""Seconds that a healthy controller takes for one answer; common practice, no source."""


class Met(StrEnum):
    """How a round ended."""

    OK = "ok"
    PARTIAL = "partial"
    UNREACHABLE = "unreachable"
    TIMED_OUT = "timed out"
    UNAVAILABLE = "unavailable"


class Told(NamedTuple):
    """What a round met, and brought."""

    met: Met
    seconds: float
    """That it would have taken."""
    bodies: dict[str, bytes]
    """By target; only those that came in time, in the order asked."""
    error: str = ""
    """What a client would have said; "" when all is well."""
    clock: float = 0.0
    """Seconds that the controller's clock is ahead of ``now``; nought also where it told nothing."""


class Line:
    """The way to one controller. Rounds are asked for in the order of time."""

    def __init__(self, service: Service) -> None:
        self.service = service

    def ask(self, targets: Sequence[str], now: float, deadline: float = 30.0) -> Told:
        """GET all targets (paths with their queries) one after the other, at ``now``; ``deadline`` in seconds."""
        service = self.service
        mode = service.observe(now)
        if service.cut_off:
            return Told(Met.UNREACHABLE, min(NO_ROUTE, deadline), {}, "no route to host")
        if mode is Mode.REBOOTING or not service.listening:
            return Told(Met.UNREACHABLE, 0.0, {}, "connection refused")
        if mode is Mode.HUNG:
            return Told(Met.TIMED_OUT, deadline, {}, "connected; nothing came")
        if not service.ready(now):
            return Told(Met.UNAVAILABLE, USUAL, {}, "503 Service Unavailable")
        seconds, came = 0.0, 0
        for _ in targets:
            service.requests += 1  # each has a pace of its own
            takes = USUAL + service.takes()
            if seconds + takes > deadline:
                break
            seconds, came = seconds + takes, came + 1
        clock = service.clock_ahead
        if came == len(targets):
            return Told(Met.OK, seconds, service.bodies(targets, now), clock=clock)
        late = f"{len(targets) - came} of {len(targets)} answers did not come within {deadline:g} s"
        bodies = service.bodies(targets[:came], now)
        return Told(Met.PARTIAL if came else Met.TIMED_OUT, deadline, bodies, late, clock if came else 0.0)
