"""Hands accepted updates on to publishers, each with a queue of its own.

A follower that is slow or away never slows the rest: its queue is bounded, and once it is full, a further update of a
controller is merged into the newest one that already waits (:mod:`collector.store.merge`). It then skips steps, never
state. All on one event loop.
"""

from __future__ import annotations

import asyncio
from collections import deque
from types import TracebackType
from typing import NamedTuple, Self

from collector.model import Update
from collector.store.merge import merged


class SubscriptionStatistics(NamedTuple):
    """How a follower keeps up. Counts are since it subscribed."""

    name: str
    size: int
    queued: int
    delivered: int
    merged: int
    """Updates that it got only as a part of a later one."""


class FeedStatistics(NamedTuple):
    """How the feed does."""

    published: int
    subscriptions: tuple[SubscriptionStatistics, ...]


class SubscriptionClosed(Exception):
    """The subscription is closed and everything that waited in it was fetched."""


class Subscription:
    """One follower's queue: ``async for update in subscription``, or ``await subscription.get()``.

    Holds at most ``size`` updates, and beyond that one for each controller that has none waiting.
    """

    def __init__(self, feed: Feed, name: str, size: int) -> None:
        if size < 1:
            raise ValueError(f"a subscription's size must be at least 1, not {size}")
        self._feed = feed
        self._name = name
        self._size = size
        self._queue: deque[list[Update]] = deque()
        self._newest: dict[str, list[Update]] = {}
        """The last waiting entry (a cell of one update) of every controller in the queue."""
        self._filled = asyncio.Event()
        self._closed = False
        self._delivered = 0
        self._merged = 0

    def add(self, update: Update) -> None:
        """Queue an update, or merge it into a waiting one of its controller. Never blocks."""
        if self._closed:
            return
        waiting = self._newest.get(update.controller) if len(self._queue) >= self._size else None
        if waiting is not None:
            waiting[0] = merged(waiting[0], update)
            self._merged += 1
            return
        cell = [update]
        self._queue.append(cell)
        self._newest[update.controller] = cell
        self._filled.set()

    async def get(self) -> Update:
        """The next update; raises :class:`SubscriptionClosed` when it is closed and empty."""
        while not self._queue:
            if self._closed:
                raise SubscriptionClosed(self._name)
            self._filled.clear()
            await self._filled.wait()
        return self._pop()

    def get_nowait(self) -> Update | None:
        """The next update if one waits."""
        return self._pop() if self._queue else None

    def _pop(self) -> Update:
        cell = self._queue.popleft()
        update = cell[0]
        if self._newest.get(update.controller) is cell:
            del self._newest[update.controller]
        self._delivered += 1
        return update

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> Update:
        try:
            return await self.get()
        except SubscriptionClosed:
            raise StopAsyncIteration from None

    def clear(self) -> None:
        """Drop what waits: for a follower that starts over from the whole live state."""
        self._queue.clear()
        self._newest.clear()

    def close(self) -> None:
        """Take no more updates; what waits can still be fetched. Closing twice is harmless."""
        if not self._closed:
            self._closed = True
            self._feed.forget(self)
            self._filled.set()

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def statistics(self) -> SubscriptionStatistics:
        """A snapshot of how it keeps up."""
        return SubscriptionStatistics(self._name, self._size, len(self._queue), self._delivered, self._merged)


class Feed:
    """Where the collector publishes and publishers subscribe."""

    def __init__(self) -> None:
        self._subscriptions: list[Subscription] = []
        self._published = 0

    def subscribe(self, name: str, size: int = 1024) -> Subscription:
        """A new queue that gets every update published from now on."""
        subscription = Subscription(self, name, size)
        self._subscriptions.append(subscription)
        return subscription

    def publish(self, update: Update) -> None:
        """Hand an update to every follower. Never blocks."""
        self._published += 1
        for subscription in self._subscriptions:
            subscription.add(update)

    def forget(self, subscription: Subscription) -> None:
        """Stop feeding a subscription; its ``close`` does this."""
        self._subscriptions = [known for known in self._subscriptions if known is not subscription]

    def close(self) -> None:
        """Close every subscription."""
        for subscription in tuple(self._subscriptions):
            subscription.close()

    def statistics(self) -> FeedStatistics:
        """A snapshot of how all followers keep up."""
        return FeedStatistics(self._published, tuple(known.statistics() for known in self._subscriptions))
