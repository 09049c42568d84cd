"""Things read from the store, kept for a moment, the longer the more it cost to read them."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")

_SHARE = 0.05
"""Most of a core's time that re-reading one thing may take: what cost 100 ms is kept for 2 s."""


class Kept(Generic[T]):
    """One thing read, kept until it is ``least`` seconds old or its reading has been paid for, whichever is later."""

    def __init__(self, load: Callable[[], T], least: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._load = load
        self._least = least
        self._clock = clock
        self._lock = threading.Lock()
        self._value: T | None = None
        self._until = float("-inf")

    def get(self) -> T:
        """The thing, read anew when it is due; errors of the reading pass through and nothing old is shown instead."""
        with self._lock:
            began = self._clock()
            if self._value is not None and began < self._until:
                return self._value
            self._value = None
            value = self._load()
            ended = self._clock()
            self._until = ended + max(self._least, (ended - began) / _SHARE)
            self._value = value
            return value
