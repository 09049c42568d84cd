"""Told once: knows again a happening that comes by event stream, push and logs, and which notices are over by now.

A happening is known again by a mark that its tellings share (the event's id, its log entry), or across channels by
saying the same at the same time. Within one channel a repetition is a happening of its own, unless its id and its time
are those of one that came before: then it was only delivered again.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable

from msgspec import Struct

from collector.model import Health, Seconds
from collector.redfish.notices import Notice

MAX_RECENT = 256
"""Happenings of one controller that are remembered."""
KEPT: Seconds = 86_400.0
"""How long they are remembered."""
SAME_MARK: Seconds = 300.0
"""Between two tellings with a mark in common: ids begin anew when a controller restarts or a log is cleared."""
SAME_MARK_RECEIVED: Seconds = 3_600.0
"""The same between receipts, where a telling has no time: a log is read later than a push comes."""
SAME_MOMENT: Seconds = 5.0
"""Between two tellings that only say the same: an event's time, and that of the log entry made of it."""


class Happening(Struct):
    """One happening and the channels that told of it. The store can keep these over a restart."""

    received: Seconds
    likeness: str
    marks: tuple[str, ...]
    channels: dict[str, Seconds | None]
    """By channel: the time that it told."""


class Recent:
    """The newest happenings of one controller."""

    def __init__(self, kept: Iterable[Happening] = (), *, limit: int = MAX_RECENT) -> None:
        self._limit = limit
        self._order: OrderedDict[int, Happening] = OrderedDict()
        self._by_name: dict[str, list[int]] = {}
        """Numbers of happenings by mark and by likeness."""
        self._number = 0
        for happening in kept:
            self._remember(happening)

    def __len__(self) -> int:
        return len(self._order)

    def is_new(self, notice: Notice) -> bool:
        """Whether a notice tells of something not told before; remembers it either way."""
        self._forget_before(notice.received - KEPT)
        happening = self._known(notice)
        if happening is None:
            channels = {notice.channel: notice.told_time}
            self._remember(Happening(notice.received, notice.likeness, notice.marks, channels))
            return True
        happening.channels.setdefault(notice.channel, notice.told_time)
        return False

    def state(self) -> tuple[Happening, ...]:
        """What to give a new one after a restart, oldest first."""
        return tuple(self._order.values())

    def _known(self, notice: Notice) -> Happening | None:
        for mark in notice.marks:
            for number in self._by_name.get(_mark(mark), ()):
                if _marked_same(self._order[number], notice):
                    return self._order[number]
        for number in self._by_name.get(_like(notice.likeness), ()):
            if _looks_same(self._order[number], notice):
                return self._order[number]
        return None

    def _remember(self, happening: Happening) -> None:
        self._number += 1
        self._order[self._number] = happening
        for name in _names(happening):
            self._by_name.setdefault(name, []).append(self._number)
        while len(self._order) > self._limit:
            self._forget_oldest()

    def _forget_before(self, time: Seconds) -> None:
        while self._order and next(iter(self._order.values())).received < time:
            self._forget_oldest()

    def _forget_oldest(self) -> None:
        number, happening = self._order.popitem(last=False)
        for name in _names(happening):
            numbers = self._by_name[name]
            numbers.remove(number)
            if not numbers:
                del self._by_name[name]


def _mark(mark: str) -> str:
    return f"mark {mark}"


def _like(likeness: str) -> str:
    return f"like {likeness}"


def _names(happening: Happening) -> set[str]:
    return {_like(happening.likeness), *map(_mark, happening.marks)}


def _marked_same(happening: Happening, notice: Notice) -> bool:
    """For two that share a mark."""
    if notice.channel in happening.channels and happening.channels[notice.channel] != notice.told_time:
        return False
    apart = _apart(happening, notice)
    if apart is None:
        return abs(happening.received - notice.received) <= SAME_MARK_RECEIVED
    return apart <= SAME_MARK


def _looks_same(happening: Happening, notice: Notice) -> bool:
    """For two that say the same."""
    apart = _apart(happening, notice)
    if notice.channel in happening.channels:
        # Only a delivery again of something without any id; with ids, the marks have decided.
        return not notice.marks and not happening.marks and apart == 0.0
    return apart is not None and apart <= SAME_MOMENT


def _apart(happening: Happening, notice: Notice) -> Seconds | None:
    """Seconds between the times told; None where one of both told none."""
    told = [time for time in happening.channels.values() if time is not None]
    if notice.told_time is None or not told:
        return None
    return min(abs(time - notice.told_time) for time in told)


class Standing:
    """Notices of trouble that nothing has cleared yet, of one controller; the oldest give way to new ones."""

    def __init__(self, kept: Iterable[Notice] = (), *, limit: int = MAX_RECENT) -> None:
        self._limit = limit
        self._notices: dict[tuple[str, str | None, tuple[str, ...]], Notice] = {}
        for notice in kept:
            self.take(notice)

    def take(self, notice: Notice) -> tuple[Notice, ...]:
        """Takes a new notice; gives those that it clears (registry ClearingLogic), which no longer stand."""
        cleared = [key for key, earlier in self._notices.items() if notice.clears(earlier)]
        over = tuple(self._notices.pop(key) for key in cleared)
        if notice.severity in (Health.WARNING, Health.CRITICAL) and notice.resolved is not True:
            key = (notice.message_id or notice.text, notice.origin, notice.args)
            self._notices.pop(key, None)
            self._notices[key] = notice
            if len(self._notices) > self._limit:
                del self._notices[next(iter(self._notices))]
        return over

    def state(self) -> tuple[Notice, ...]:
        """Those that stand, oldest first."""
        return tuple(self._notices.values())
