"""How far a log has been read, and which of its entries are new: pure functions for :mod:`collector.redfish.logs`.

An entry is known again by its path and its Created time together, since a cleared log begins its numbers anew. What is
new is decided by where an entry stands among known ones, by its number and by its time, in that order of trust: ids and
clocks both start over on real machines, and a notice told twice costs less than one lost
(:mod:`collector.redfish.recent` knows it again).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from hashlib import blake2b
from itertools import pairwise
from typing import Any

from msgspec import Struct

from collector.model import Seconds
from collector.redfish import links
from collector.redfish.times import moment

SEEN = 64
"""Newest entries that are remembered; enough to find one again though some were deleted singly."""


class Bounds(Struct, frozen=True):
    """What one round of one log may cost and bring."""

    requests: int = 8
    """Pages, at least 2; and as many again for single entries, where a service does not expand them."""
    entries: int = 256
    page: int = 50
    """Entries asked for at once where the service knows $top."""


class Order(StrEnum):
    """Which end of the collection the new entries are at."""

    UNKNOWN = "unknown"
    OLDEST_FIRST = "oldest first"
    NEWEST_FIRST = "newest first"


class Cursor(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How far a log has been read; small, and all that needs keeping over a restart."""

    entries: str
    """Path of the LogEntryCollection."""
    order: Order = Order.UNKNOWN
    settled: bool = False
    """Whether what stood in the log at first contact has been read; before that, all entries are history."""
    seen: tuple[int, ...] = ()
    """Fingerprints of the newest entries, oldest first."""
    number: int | None = None
    """Number of the newest entry, where ids are numbers."""
    time: Seconds | None = None
    """Created of the newest entry."""
    count: int | None = None
    """Entries in the log, as last told."""
    tail: str = ""
    """Path of the page that the next round begins with; "" for the collection itself."""
    resume: str = ""
    """Path of the last page that a reading that was too long for one round has got to; it is asked for once more, since
    only the entry after ``mark`` is surely the next one: pages shift when the log writes over its oldest entries."""
    mark: int = 0
    """Fingerprint of the last entry read there."""
    resumed: int = 0
    """Rounds that this reading has taken so far."""
    past: bool = False
    """Whether this reading has passed all that was known before, so that all that follows is new."""
    dead_end: str = ""
    """A next link on a complete page that led nowhere and is not followed again."""
    etag: str = ""
    etag_of: str = ""
    """Path of the page that it is the ETag of."""
    unchanged: int = 0
    """Answers 'not modified' in a row."""


class Upset(StrEnum):
    """What befell a log between two rounds."""

    NONE = "none"
    CLEARED = "cleared"
    OVERRUN = "overrun"
    """More came than could be read, or than the log keeps: entries may have been missed."""


class Item(Struct, frozen=True):
    """A log entry and where it stands."""

    path: str
    body: Mapping[str, Any]


class Row(Struct):
    """An entry as it stands in a page."""

    item: Item
    print: int
    number: int | None
    time: Seconds | None

    @property
    def bare(self) -> bool:
        """Whether it is a link only."""
        return all(name.startswith("@") for name in self.item.body)


class Rows(Struct, frozen=True):
    """The entries that a round read, oldest first, and which part of the log they are."""

    rows: Sequence[Row]
    to_end: bool
    """Whether the newest entry there is is among them."""
    from_start: bool
    """Whether the oldest is."""
    going_on: bool = False
    """Whether an earlier round's reading was gone on with."""


def row_of(target: links.Target, member: Mapping[str, Any]) -> Row:
    """A member of a log page."""
    created = member.get("Created")
    mark = f"{target.key}\0{created if isinstance(created, str) else ''}".encode("utf-8", "replace")
    number = _number(member.get("Id"))
    if number is None:
        number = _number(target.key.rpartition("/")[2])
    digest = int.from_bytes(blake2b(mark, digest_size=6).digest(), "big")
    return Row(Item(target.path, member), digest, number, moment(created))


def _number(told: object) -> int | None:
    if isinstance(told, str) and told.isascii() and told.isdecimal() and len(told) <= 18:
        return int(told)
    return told if isinstance(told, int) and not isinstance(told, bool) and 0 <= told < 10**18 else None


def order_of(rows: Sequence[Row]) -> Order | None:
    """What most neighbours in a page say by their times and numbers; None where they do not tell.

    Most, because one pair may lie: a clock was set back between them, or a number began anew.
    """
    votes = 0
    for first, second in pairwise(rows):
        votes += _sign(first.time, second.time) + _sign(first.number, second.number)
    if votes == 0:
        return None
    return Order.OLDEST_FIRST if votes > 0 else Order.NEWEST_FIRST


def _sign(before: float | None, after: float | None) -> int:
    return 0 if before is None or after is None else (after > before) - (after < before)


def fresh(old: Cursor, read: Rows) -> tuple[list[Row], Upset]:
    """The new ones among the entries read, and what befell the log."""
    known = frozenset(old.seen)
    unknown = [row for row in read.rows if row.print not in known]
    if read.going_on and old.past:
        return unknown, Upset.NONE
    if not known:  # first contact, or the log was empty
        missed = old.settled and read.to_end and not read.from_start
        return unknown, Upset.OVERRUN if missed else Upset.NONE
    last_known = max((at for at, row in enumerate(read.rows) if row.print in known), default=None)
    if last_known is not None:
        behind = {row.print for row in read.rows[last_known + 1 :]}
        return [row for row in unknown if row.print in behind or _newer(old, row)], Upset.NONE
    if not read.to_end:  # oldest first, on the way through
        return [row for row in unknown if _newer(old, row)], Upset.NONE
    if not read.from_start:
        return unknown, Upset.OVERRUN
    if not read.going_on and _begun_anew(old, read.rows):
        return unknown, Upset.CLEARED
    return [row for row in unknown if _newer(old, row) or row.number is row.time is None], Upset.OVERRUN


def _newer(old: Cursor, row: Row) -> bool:
    if row.number is not None and old.number is not None and row.number > old.number:
        return True
    return row.time is not None and old.time is not None and row.time > old.time


def _begun_anew(old: Cursor, rows: Sequence[Row]) -> bool:
    """Whether a log in which nothing known is left was cleared, rather than written over."""
    numbers = [row.number for row in rows if row.number is not None]
    if not rows or (numbers and old.number is not None and max(numbers) <= old.number):
        return True
    return old.count is not None and len(rows) < old.count
