"""Things read from the store, kept for a moment, the longer the more it cost to read them."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")
K = TypeVar("K", bound=Hashable)

_SHARE = 0.05
"""Most of a core's time that re-reading one thing may take: what cost 100 ms is kept for 2 s."""


class Kept(Generic[T]):
    """One thing read, kept until it is ``least`` seconds old or its reading has been paid for, whichever is later.

    With a ``stamp`` it is kept for as long as that stays the same: asked for after ``least`` seconds, no more often.
    """

    def __init__(
        self,
        load: Callable[[], T],
        least: float,
        clock: Callable[[], float] = time.monotonic,
        stamp: Callable[[], object] | None = None,
    ) -> None:
        self._load = load
        self._stamp = stamp
        self._mark: object = None
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
            mark = None if self._stamp is None else self._stamp()
            if self._value is not None and mark is not None and mark == self._mark:
                self._until = began + self._least
                return self._value
            self._value = None
            value = self._load()
            ended = self._clock()
            self._until = ended + max(self._least, (ended - began) / _SHARE)
            self._value, self._mark = value, mark
            return value


class Shelf(Generic[K, T]):
    """Things of one sort, each kept under its key; the ones not asked for longest go first."""

    def __init__(
        self, load: Callable[[K], T], least: float, most: int, stamp: Callable[[], object] | None = None
    ) -> None:
        self._load = load
        self._least = least
        self._most = most
        self._stamp = stamp
        self._lock = threading.Lock()
        self._kept: OrderedDict[K, Kept[T]] = OrderedDict()

    def get(self, key: K) -> T:
        """The thing of this key."""
        with self._lock:
            kept = self._kept.get(key)
            if kept is None:
                kept = self._kept[key] = Kept(lambda: self._load(key), self._least, stamp=self._stamp)
                if len(self._kept) > self._most:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
        return kept.get()
