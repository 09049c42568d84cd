"""Commands that ask the collector for something: what they share, and how they wait for what comes of it."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from collector.model import UNDER_WAY, RequestState
from collector.store.reader import Reader
from collector.text import plain

_WAITS = 10.0
"""Seconds that a command waits for the collector to take its request up."""
_LOOKS_EVERY = 0.2
_HEARTBEAT = 15.0
"""Seconds without a heartbeat after which no collector is taken to run; it beats every 5 s."""
_UNITS = {"m": 60.0, "h": 3600.0, "d": 86400.0}


class WrongRequest(Exception):
    """What was typed can't be asked for: one line, with what to do."""


def await_request(state: Path, number: int) -> int:
    """Wait for what comes of a request, and say it: 0 done, or nobody there to do it yet; 1 anything else.

    Once the collector has taken it up this waits for as long as it takes; an interrupt leaves it going on.
    """
    with Reader(state) as reader:
        mark = reader.collector()
        if mark is None or mark.stopped is not None or time.time() - mark.heartbeat > _HEARTBEAT:
            print(f"asked for (request {number}); no collector runs here now: the next to start carries it out in time")
            return 0
        deadline, at_it = time.monotonic() + _WAITS, False
        while at_it or time.monotonic() < deadline:
            request = reader.asked.request(number)
            if request is not None and request.state not in UNDER_WAY:
                print(f"{request.state.value}: {plain(request.result, 500)}")
                return 0 if request.state is RequestState.DONE else 1
            if request is not None and request.state is RequestState.TAKEN_UP and not at_it:
                at_it = True
                print(f"request {number} is taken up", file=sys.stderr, flush=True)
            mark = reader.collector()
            if at_it and (mark is None or mark.stopped is not None or time.time() - mark.heartbeat > _HEARTBEAT):
                print(f"the collector ended while it was at request {number}: look at the front before you ask again")
                return 1
            time.sleep(_LOOKS_EVERY)
    print(f"asked for (request {number}); the collector has not got to it yet: 'sledkeeper requests' shows when it has")
    return 0


def span(text: str) -> float:
    """Seconds of ``30m``, ``8h`` or ``2d``."""
    number, unit = text[:-1], text[-1:]
    try:
        seconds = float(number) * _UNITS[unit]
    except (ValueError, KeyError):
        raise WrongRequest(f"{plain(text, 40)!r} is no span of time; write 30m, 8h or 2d") from None
    if not 0 < seconds < 1e9:
        raise WrongRequest(f"{plain(text, 40)!r} is no span of time that can be asked for")
    return seconds
