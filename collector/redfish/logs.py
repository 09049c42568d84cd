"""Reading a log little by little: what is new since the last round, for as few bytes as the service allows.

Sources: LogService, LogEntry and LogEntryCollection CSDL (DSP8010); DSP0266 sections 'Query parameters' and 'Resource
collection responses'. The standard gives logs no order, so both are read: newest entries first (on until a known one
comes) and oldest first (begin at the page that was the last one). Entries come expanded inside the collection; where a
service sends only links, the new ones are asked for singly.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from collector.model import Defect, DefectKind
from collector.redfish import links
from collector.redfish.flow import Answer, Ask, Flow, Place
from collector.redfish.log_cursor import SEEN, Bounds, Cursor, Item, Order, Row, Rows, Upset, fresh, order_of, row_of
from collector.redfish.times import moment

MAX_MEMBERS = 10_000
"""Entries of one page that are looked at."""
UNCONDITIONAL = 10
"""After so many answers 'not modified' the log is asked for in full: ETags of some services stand still."""
MAX_RESUMED = 100
"""Rounds that one reading may take; a log without end is given up there."""

_SKIPPED = re.compile(r"[?&]\$skip=(\d{1,9})&\$top=\d{1,9}$", re.ASCII)
_LATER = frozenset({408, 429, 502, 503, 504})
"""Statuses that say nothing of the page, only of now."""


class LogRead(Struct, frozen=True, kw_only=True):
    """What one round brought."""

    cursor: Cursor
    """To keep, and to begin the next round with."""
    items: tuple[Item, ...] = ()
    """New entries, oldest first."""
    history: bool = False
    """Whether they stood in the log before we knew it: worth keeping, not worth an alarm."""
    upset: Upset = Upset.NONE
    more: bool = False
    """Whether the reading goes on in the next round."""
    defects: tuple[Defect, ...] = ()
    requests: int = 0


def read_log(cursor: Cursor, place: Place, bounds: Bounds | None = None, *, can_skip: bool = False) -> Flow[LogRead]:
    """One round of a log, from where ``cursor`` stands; a new log begins with ``Cursor(entries=path)``.

    ``can_skip``: the service root declares ProtocolFeaturesSupported.TopSkipQuery. Where a page fails only for now
    (503 and the like), nothing is taken and the next round begins where this one did.
    """
    reading = _Reading(cursor, place, bounds or Bounds(), can_skip)
    try:
        return (yield from reading.round())
    except _StandStill as still:
        unchanged = cursor.unchanged + 1 if still.not_modified else cursor.unchanged
        return LogRead(
            cursor=replace(cursor, unchanged=unchanged), defects=tuple(reading.defects), requests=reading.requests
        )


class _StandStill(Exception):
    """The round ends where it began."""

    def __init__(self, *, not_modified: bool = False) -> None:
        self.not_modified = not_modified
        super().__init__()


class _Page(Struct):
    path: str
    rows: list[Row]
    """Those that no earlier page of this round brought."""
    following: str
    count: int | None


class _Reading:
    """One round under way."""

    def __init__(self, cursor: Cursor, place: Place, bounds: Bounds, can_skip: bool) -> None:
        self.defects: list[Defect] = []
        self.requests = 0
        self._old = cursor
        self._place = place
        self._bounds = bounds
        self._can_skip = can_skip
        self._known = frozenset(cursor.seen)
        self._order = cursor.order
        self._rows: dict[str, Row] = {}
        """By key; oldest first once all pages are in."""
        self._passed: dict[str, Row] = {}
        """Those of the first page that the round before had read."""
        self._asked: set[str] = set()
        self._page_size = bounds.page
        self._widest = 0
        """Members of the largest page so far."""
        self._requests_at_most = max(2, bounds.requests)
        self._etag = ("", "")
        self._dead_end = cursor.dead_end
        self._count = cursor.count
        self._tail = ""
        self._resume = ""
        self._mark = 0
        self._to_end = True
        self._from_start = True

    # The course of a round

    def round(self) -> Flow[LogRead]:
        page = yield from self._begin_later()
        going_on = page is not None and bool(self._old.resume)
        if page is not None:
            self._from_start = going_on
            yield from self._forwards(page)
        else:
            page = yield from self._get(self._old.entries, opening=True)
            if page is None:
                raise _StandStill
            self._order = order_of(page.rows) or self._order
            if self._order is Order.NEWEST_FIRST:
                yield from self._backwards(page)
            elif self._can_skip and page.count is not None and page.count > len(page.rows) > 0:
                yield from self._from_behind(page, page.count)
            else:
                yield from self._forwards(page)
        return (yield from self._result(going_on))

    def _begin_later(self) -> Flow[_Page | None]:
        """The page with which to go on, or that was the log's last; None to begin with the collection itself."""
        path = self._old.resume or self._old.tail
        if not path:
            return None
        page = yield from self._get(path, opening=True)
        if page is not None and (self._goes_on(page) if self._old.resume else self._touches(page)):
            return page
        self.defects.clear()  # such links may expire: nothing is wrong as long as the collection answers
        self._rows.clear()
        self._asked.clear()
        return None

    def _goes_on(self, page: _Page) -> bool:
        """Whether the last entry of the round before is there; leaves those behind it in the page."""
        at = next((at for at, row in enumerate(page.rows) if row.print == self._old.mark), None)
        if at is None:
            return False
        for row in page.rows[: at + 1]:
            self._passed[links.key(row.item.path)] = self._rows.pop(links.key(row.item.path))
        page.rows = page.rows[at + 1 :]
        return True

    def _backwards(self, page: _Page) -> Flow[None]:
        """Newest first: on until a known entry comes."""
        at: _Page | None = page
        while at is not None and at.following and not (self._old.settled and self._touches(at)):
            if self._enough():
                self._from_start = False
                break
            at = yield from self._next(at)
        self._rows = dict(reversed(self._rows.items()))

    def _forwards(self, page: _Page) -> Flow[None]:
        """Oldest first: on to the end."""
        last, at = page, page
        while at.following:
            if self._enough():
                if self._old.resumed >= MAX_RESUMED:
                    told = f"no end after {MAX_RESUMED} rounds of reading"
                    self.defects.append(self._place.defect(self._old.entries, "", DefectKind.TOO_BIG, told))
                    break
                self._resume, self._to_end = at.path, False
                self._mark = at.rows[-1].print if at.rows else self._old.mark
                return
            following = yield from self._next(at)
            if following is None:
                break
            at = following
            last = at if at.rows else last
        start = self._start(last.path)
        if start is not None and last.rows:
            self._tail = self._skipped(start + len(last.rows) - 1, self._page_size)
        elif last.path != self._old.entries:
            self._tail = last.path

    def _from_behind(self, head: _Page, count: int) -> Flow[None]:
        """Oldest first where the service can skip: from the last page back until a known entry comes."""
        parts: list[dict[str, Row]] = []
        start = count
        self._page_size = min(self._bounds.page, len(head.rows))  # it may give no more at once than it gave there
        while start > 0:
            size = min(self._page_size, start)
            start -= size
            self._rows = {}
            page = yield from self._get(self._skipped(start, size))
            if page is None or (start > 0 and page.rows and page.rows[0].print == head.rows[0].print):
                told = "the service root declares $skip, but it does not work here"
                self.defects.append(self._place.defect(self._old.entries, "", DefectKind.CONTRADICTION, told))
                self._rows = {links.key(row.item.path): row for row in head.rows}
                yield from self._forwards(head)
                return
            parts.insert(0, self._rows)
            if self._enough(sum(map(len, parts))) or not self._old.settled or self._touches(page):
                break
        self._from_start = start == 0
        self._rows = {key: row for rows in parts for key, row in rows.items()}
        self._tail = self._skipped(count - 1, self._page_size)

    def _enough(self, rows: int | None = None) -> bool:
        """Whether one more page would be more than a round may cost or bring."""
        have = len(self._rows) if rows is None else rows
        return self.requests >= self._requests_at_most or (have > 0 and have + self._widest > self._bounds.entries)

    def _skipped(self, start: int, size: int) -> str:
        mark = "&" if "?" in self._old.entries else "?"
        return f"{self._old.entries}{mark}$skip={start}&$top={size}"

    def _start(self, path: str) -> int | None:
        """Where a page begins that was asked for with $skip."""
        found = _SKIPPED.search(path) if self._can_skip else None
        return int(found[1]) if found is not None else None

    # Pages

    def _get(self, path: str, *, opening: bool = False) -> Flow[_Page | None]:
        """One page; None where it can't be had, with a defect."""
        self._asked.add(path)
        conditional = opening and path == self._old.etag_of and self._old.unchanged < UNCONDITIONAL
        ask = Ask("GET", path, etag=self._old.etag if conditional else "")
        self.requests += 1
        answer = yield ask
        if answer.status == 304 and conditional:
            raise _StandStill(not_modified=True)
        members = answer.body.get("Members") if answer.good else None
        if isinstance(members, list):
            if opening:
                self._etag = (answer.etag, path)
            return self._page(path, answer, members)
        if answer.good:
            told = "the log has no list of members"
            self.defects.append(self._place.defect(path, "/Members", DefectKind.MISSING, told))
        else:
            self.defects.append(self._place.failure(ask, answer))
            if answer.status in _LATER:
                raise _StandStill
        return None

    def _page(self, path: str, answer: Answer, members: list[Any]) -> _Page:
        if len(members) > MAX_MEMBERS:
            told = f"{len(members)} entries; {MAX_MEMBERS} are taken"
            self.defects.append(self._place.defect(path, "/Members", DefectKind.TOO_BIG, told))
        rows: list[Row] = []
        for at, member in enumerate(members[:MAX_MEMBERS]):
            target = self._place.linked(member)
            if target is None:
                told = "the entry has no link that can be followed"
                self.defects.append(self._place.defect(path, f"/Members/{at}", DefectKind.DANGLING_LINK, told))
            elif (
                target.key not in self._rows and target.key not in self._passed
            ):  # pages overlap when the log grows meanwhile, and members repeat
                row = row_of(target, member)
                self._rows[target.key] = row
                rows.append(row)
        self._widest = max(self._widest, len(members))
        told_count = answer.body.get("Members@odata.count")
        count = told_count if isinstance(told_count, int) and not isinstance(told_count, bool) else None
        self._count = count if count is not None else self._count
        return _Page(path, rows, self._following(path, answer.body, len(members), count), count)

    def _following(self, path: str, body: Mapping[str, Any], members: int, count: int | None) -> str:
        # Some leave the prefix out of the link's name: see the published examples.
        link = body.get("Members@odata.nextLink", body.get("@odata.nextLink"))
        if link is None:
            start = self._start(path)
            ended = start is None or count is None or not members or start + members >= count
            return "" if start is None or ended else self._skipped(start + members, self._page_size)
        target = self._place.linked({"@odata.id": link})
        if target is None:
            told = "the link can't be followed"
            self.defects.append(self._place.defect(path, "/Members@odata.nextLink", DefectKind.FOREIGN_LINK, told))
            return ""
        return target.path if target.path != self._old.dead_end else ""

    def _next(self, page: _Page) -> Flow[_Page | None]:
        """The page behind a page; None where that leads nowhere."""
        pointer, complete = (
            "/Members@odata.nextLink",
            page.count is not None and page.count <= len(self._rows) + len(self._passed),
        )
        following: _Page | None = None
        if page.following in self._asked:
            self.defects.append(self._place.defect(page.path, pointer, DefectKind.LINK_LOOP, "the link leads back"))
        else:
            following = yield from self._get(page.following)
            if following is not None and following.rows:
                return following
            if following is not None and following.following:
                told = "the link brings nothing new"
                self.defects.append(self._place.defect(page.path, pointer, DefectKind.LINK_LOOP, told))
        if complete:  # it stands on a complete page and only costs a request
            self._dead_end = page.following
        return None

    def _touches(self, page: _Page) -> bool:
        return any(row.print in self._known for row in page.rows)

    # What it means

    def _result(self, going_on: bool) -> Flow[LogRead]:
        rows = list(self._rows.values())
        new, upset = fresh(self._old, Rows(rows, self._to_end, self._from_start, going_on))
        history = not self._old.settled
        if len(new) > self._bounds.entries:
            new = new[-self._bounds.entries :]
            upset = upset if history else Upset.OVERRUN
        new, put_off = yield from self._filled(new, history)
        return LogRead(
            cursor=self._cursor(rows, new, put_off, upset, going_on),
            items=tuple(row.item for row in new),
            history=history,
            upset=upset,
            more=bool(self._resume or put_off),
            defects=tuple(self.defects),
            requests=self.requests,
        )

    def _filled(self, new: list[Row], history: bool) -> Flow[tuple[list[Row], bool]]:
        """Asks for the bodies of entries that came as links; the rest of them waits for the next round."""
        bare = [row.print for row in new if row.bare]
        room = max(1, self._bounds.requests)
        if history and len(bare) > room:  # of history, the newest will do
            passed = frozenset(bare[:-room])
            new = [row for row in new if row.print not in passed]
        filled: list[Row] = []
        for row in new:
            if row.bare:
                if room == 0:
                    return filled, True
                room -= 1
                self.requests += 1
                ask = Ask("GET", row.item.path)
                answer = yield ask
                if not answer.good:
                    self.defects.append(self._place.failure(ask, answer))
                    if answer.status in _LATER:
                        return filled, True
                    continue
                row.item = Item(row.item.path, answer.body)
                row.time = moment(answer.body.get("Created"))
            filled.append(row)
        return filled, False

    def _cursor(self, rows: list[Row], new: list[Row], put_off: bool, upset: Upset, going_on: bool) -> Cursor:
        old = self._old
        taken = {row.print for row in new}
        resume = "" if put_off else self._resume
        if put_off:  # those put off must stay unknown
            rows = [row for row in rows if row.print in taken or row.print in self._known]
        elif old.settled and resume:  # of a log read over again, the old part is not worth remembering
            rows = [row for row in rows if row.print in taken]
        anew = upset is Upset.CLEARED
        now = {row.print for row in rows}
        seen = (*(one for one in (() if anew else old.seen) if one not in now), *(row.print for row in rows))[-SEEN:]
        newest = rows[-1] if rows else Row(Item("", {}), 0, None, None)
        whole = not put_off and not resume
        passed = any(row.print in self._known for row in self._rows.values())
        return Cursor(
            entries=old.entries,
            order=self._order,
            settled=old.settled or whole,
            seen=seen,
            number=old.number if newest.number is None and not anew else newest.number,
            time=old.time if newest.time is None and not anew else newest.time,
            count=self._count,
            tail="" if put_off else self._tail,
            resume=resume,
            mark=self._mark if resume else 0,
            resumed=old.resumed + 1 if resume and going_on else 0,
            past=bool(resume) and (passed or not old.seen or (going_on and old.past)),
            dead_end=self._dead_end,
            etag=self._etag[0] if whole else "",  # 'not modified' would hide what is put off
            etag_of=self._etag[1] if whole else "",
        )
