"""What changed since somebody last looked: kept in the browser, so that it works without sign-in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from collector.assess.telling import SUBJECTS
from collector.model import Condition, Event, Health, Seconds, Subject, Turn, WorkOrder
from dashboard.views.attention import in_words
from dashboard.views.places import Places, named, without_name
from dashboard.views.words import count

AWAY = 600.0
"""Seconds without a look after which the next one is a new look: less, and it is the same visit going on."""
FIRST = 86400.0
"""Seconds told of to somebody who never looked before."""
PART_SUBJECTS = tuple(SUBJECTS[turn] for turn in (Turn.SWAPPED, Turn.MOVED, Turn.MISSING, Turn.APPEARED, Turn.RETURNED))
LINES = 8
"""Changes told one by one."""
_MOST = 10.0**11


@dataclass(frozen=True, slots=True)
class Look:
    """Since when changes are told, and whether this browser looked before at all."""

    since: Seconds
    again: bool

    def kept(self, now: Seconds) -> str:
        """What the browser keeps of it at ``now``: whole seconds, of the last look before and of this one."""
        return f"{int(self.since)}.{int(now)}"


def look(cookie: str, now: Seconds) -> Look:
    """This look, from what the browser kept of the one before; words that make no sense count as none."""
    since, _, seen = cookie.partition(".")
    if not (since.isascii() and since.isdigit() and seen.isascii() and seen.isdigit()):
        return Look(now - FIRST, again=False)
    began, last = float(since), float(seen)
    if not began <= last <= now + AWAY or last > _MOST:
        return Look(now - FIRST, again=False)
    return Look(last if now - last > AWAY else began, again=True)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that changed."""

    time: Seconds
    what: str
    """e.g. ``opened``, ``closed``, ``part swapped``."""
    severity: Health
    text: str
    place: str
    controller: str | None
    measured: bool = False
    """Whether the text is about a reading and its limit."""


@dataclass(frozen=True, slots=True)
class Changes:
    """What changed: in numbers, and the newest of it one by one."""

    told: tuple[str, ...]
    """e.g. ``3 conditions opened, 1 of them closed again``."""
    lines: tuple[Change, ...]
    number: int

    @property
    def more(self) -> int:
        """Changes that are not told one by one."""
        return self.number - len(self.lines)


@dataclass(frozen=True, slots=True)
class Raw:
    """The records of what changed, newest or worst first."""

    opened: tuple[Condition, ...] = ()
    closed: tuple[Condition, ...] = ()
    orders: tuple[WorkOrder, ...] = ()
    """Opened."""
    orders_closed: tuple[WorkOrder, ...] = ()
    events: tuple[Event, ...] = ()
    """About parts."""

    @property
    def controllers(self) -> frozenset[str]:
        """Whose parts are named in it."""
        conditions = {each.controller for each in (*self.opened, *self.closed)}
        return frozenset(conditions | {each.controller for each in self.events})


def newest(raw: Raw) -> Raw:
    """As much of it as is told one by one, so that only these parts' names need be known."""
    stamps = sorted(
        [
            *((each.opened, 0, place) for place, each in enumerate(raw.opened)),
            *((each.closed or 0.0, 1, place) for place, each in enumerate(raw.closed)),
            *((each.opened, 2, place) for place, each in enumerate(raw.orders)),
            *((each.closed or 0.0, 3, place) for place, each in enumerate(raw.orders_closed)),
            *((each.time, 4, place) for place, each in enumerate(raw.events)),
        ],
        reverse=True,
    )[:LINES]
    picked: list[list[int]] = [[], [], [], [], []]
    for _, sort, place in stamps:
        picked[sort].append(place)
    return Raw(
        tuple(raw.opened[place] for place in picked[0]),
        tuple(raw.closed[place] for place in picked[1]),
        tuple(raw.orders[place] for place in picked[2]),
        tuple(raw.orders_closed[place] for place in picked[3]),
        tuple(raw.events[place] for place in picked[4]),
    )


def changes(raw: Raw, places: Places) -> Changes:
    """Count it all, and tell the newest; ``places`` knows the parts of :func:`newest`."""
    shown = newest(raw)
    lines = [
        *(_condition(each, each.opened, "opened", each.severity, places) for each in shown.opened),
        *(_condition(each, each.closed or 0.0, "closed", Health.OK, places) for each in shown.closed),
        *(_order(each, each.opened, "work order") for each in shown.orders),
        *(_order(each, each.closed or 0.0, "order closed") for each in shown.orders_closed),
        *(_event(each, places) for each in shown.events),
    ]
    numbers = (raw.opened, raw.closed, raw.orders, raw.orders_closed, raw.events)
    return Changes(_told(raw), tuple(sorted(lines, key=lambda each: -each.time)), sum(len(each) for each in numbers))


def _told(raw: Raw) -> tuple[str, ...]:
    still = sum(1 for each in raw.opened if each.closed is None)
    told = []
    if raw.opened:
        rest = "" if still == len(raw.opened) else f", {still} still open"
        told.append(f"{count(len(raw.opened), 'condition')} opened{rest}")
    if raw.closed:
        told.append(f"{count(len(raw.closed), 'condition')} closed")
    if raw.orders:
        told.append(f"{count(len(raw.orders), 'work order')} written")
    if raw.orders_closed:
        told.append(f"{count(len(raw.orders_closed), 'work order')} closed")
    told += [f"{number} {subject}" for subject, number in Counter(each.subject for each in raw.events).items()]
    return tuple(told)


def _condition(condition: Condition, time: Seconds, what: str, severity: Health, places: Places) -> Change:
    place = places.controller_place(condition.controller).text or "place not told"
    measured = condition.subject in (Subject.THRESHOLD, Subject.AIR)
    return Change(time, what, severity, in_words(condition, places), place, condition.controller, measured)


def _order(order: WorkOrder, time: Seconds, what: str) -> Change:
    severity = Health.UNKNOWN if order.closed is None else Health.OK
    return Change(time, what, severity, f"{order.name}: {order.task}", order.location.text, order.controller)


def _event(event: Event, places: Places) -> Change:
    part = places.parts.get(event.part) if event.part is not None else None
    text = f"{named(part)}: {without_name(event.text, part)}" if part is not None else event.text
    place = places.controller_place(event.controller).text if event.controller else ""
    return Change(event.time, event.subject, event.severity, text, place, event.controller)


def about(raw: Raw, names: Iterable[str]) -> Raw:
    """Only what is about some controllers."""
    wanted = frozenset(names)
    return Raw(
        tuple(each for each in raw.opened if each.controller in wanted),
        tuple(each for each in raw.closed if each.controller in wanted),
        tuple(each for each in raw.orders if each.controller in wanted),
        tuple(each for each in raw.orders_closed if each.controller in wanted),
        tuple(each for each in raw.events if each.controller in wanted),
    )
