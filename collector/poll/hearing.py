"""From what a controller tells of itself to the project's events: read, known again, tied to parts. No I/O, no clock.

Subjects of :class:`~collector.model.Event` that stand for a controller's own words:

``told``
    It said that something has happened, by its event stream or by a push.
``logged``
    It wrote something into one of its logs, and told of it in no other way.
``logged earlier``
    So it stood in the log when we first read that.
``over``
    It said something that clears what it told or logged before (the registry's ClearingLogic).
``log cleared``, ``log overrun``
    Entries of a log are gone; after the second, some may never have been read.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import msgspec
from msgspec import Struct

from collector.model import Assessment, Defect, Event, Health, Inventory, Seconds, Update
from collector.poll.origins import Origins
from collector.redfish.flow import Place
from collector.redfish.log_cursor import Cursor, Upset
from collector.redfish.logs import LogRead
from collector.redfish.notices import Heard, Notice, NoticeReader, Source
from collector.redfish.recent import Happening, Recent, Standing
from collector.redfish.registries import NO_RESOLUTION, Library, Registry, Shelf, message_id
from collector.text import plain

MAX_ADVICE = 300
"""Characters of a registry's Resolution that are told with an event."""

log = logging.getLogger(__name__)

HISTORY = 16
"""Newest entries of a log at first contact that are told; a fleet's whole past would be millions."""
REMEMBERED = 64
"""Newest happenings, and again troubles that stand, of one controller that are kept over a restart."""
_TREE_CHANGES = frozenset(
    f"ResourceEvent.{key}" for key in ("ResourceCreated", "ResourceRemoved", "ResourceChanged", "URIForResourceChanged")
)
"""General ids of messages after which the tree may be another; ResourceEvent registry, DSP8011."""
_MAX_IDS = 200


class _State(Struct, frozen=True):
    """What is kept over a restart."""

    cursors: dict[str, Cursor] = {}
    recent: tuple[Happening, ...] = ()
    standing: tuple[Notice, ...] = ()


class Told(Struct, frozen=True, kw_only=True):
    """What came of something heard."""

    update: Update | None = None
    """To be told; None where nothing is new."""
    urgent: bool = False
    """Whether readings may be another now: a round before the next due time would show it."""
    moved: bool = False
    """Whether the tree may be another now."""
    defects: tuple[Defect, ...] = ()


class Hearing:
    """The memory of what one controller has told. ``kept``: the state that an earlier process told last."""

    def __init__(self, place: Place, standard: Shelf | None = None, kept: bytes | None = None) -> None:
        self._place = place
        self._standard = standard
        self._reader = NoticeReader(place, Library(standard=standard))
        self._registries: tuple[Registry, ...] = ()
        self._origins: Origins | None = None
        state = _restored(kept, place.controller)
        self._cursors = dict(state.cursors)
        self._recent = Recent(state.recent)
        self._standing = Standing(state.standing, limit=REMEMBERED)

    def walked(self, inventory: Inventory) -> None:
        """The parts are these from now on."""
        self._origins = Origins(inventory)

    # Registries

    def unknown_prefixes(self, bodies: Iterable[Mapping[str, Any]]) -> set[str]:
        """Of the messages in event or log entry bodies, the registries of the service that we don't have yet."""
        known = self._reader.library.own.prefixes
        found: set[str] = set()
        for body in bodies:
            listed = body.get("Events")
            for record in listed[:_MAX_IDS] if isinstance(listed, list) else [body]:
                told = record.get("MessageId") if isinstance(record, dict) else None
                if isinstance(told, str) and (prefix := message_id(told).prefix):
                    found.add(prefix)
        return found - known

    def learn(self, registries: Sequence[Registry]) -> None:
        """Take in registries of the service."""
        self._registries = (*self._registries, *registries)
        self._reader.library = Library(Shelf(self._registries), self._standard)

    # What was heard

    def event(self, body: Mapping[str, Any], source: Source, now: Seconds) -> Told:
        """An event body that came by stream or push."""
        heard = self._reader.event(body, source, now)
        return self._outcome(heard.notices, "told", now, heard.defects)

    def log(self, read: LogRead, entries: str, now: Seconds) -> Told:
        """What a round of a log brought; its cursor is remembered."""
        before = self._cursors.get(entries)
        self._cursors[entries] = read.cursor
        items = read.items[-HISTORY:] if read.history else read.items
        heard: list[Heard] = [self._reader.entry(item.body, item.path, now, entries) for item in items]
        notices = [notice for one in heard for notice in one.notices]
        defects = [*read.defects, *(defect for one in heard for defect in one.defects)]
        told = self._outcome(
            notices, "logged earlier" if read.history else "logged", now, tuple(defects), more=_upset(read, entries)
        )
        if told.update is None and (before is None or _further(before, read.cursor)):
            update = Update(controller=self._place.controller, heard=self._state())
            return msgspec.structs.replace(told, update=update)
        return told

    def cursor(self, entries: str) -> Cursor:
        """Where the reading of a log stands."""
        return self._cursors.get(entries) or Cursor(entries=entries)

    def keep_logs(self, entries: Iterable[str]) -> None:
        """These logs there are; the cursors of others are forgotten."""
        there = set(entries)
        self._cursors = {path: cursor for path, cursor in self._cursors.items() if path in there}

    # Inside

    def _outcome(
        self,
        notices: Sequence[Notice],
        subject: str,
        now: Seconds,
        defects: tuple[Defect, ...],
        more: tuple[tuple[str, str], ...] = (),
    ) -> Told:
        events = [self._plain_event(name, text, now) for name, text in more]
        urgent = moved = False
        for notice in notices:
            if notice.heartbeat or notice.report or not self._recent.is_new(notice):
                continue
            event = self._event(notice, subject)
            events.append(event)
            for earlier in self._standing.take(notice):
                events.append(self._over(earlier, notice))
            if subject != "logged earlier":
                # What is good news about nothing that we know (a login, say) changes no reading.
                urgent = urgent or event.part is not None or notice.severity is not Health.OK
                moved = moved or message_id(notice.message_id).general in _TREE_CHANGES
        if not events:
            return Told(defects=defects)
        controller = self._place.controller
        update = Update(
            controller=controller,
            assessment=Assessment(controller=controller, time=now, events=tuple(events)),
            heard=self._state(),
        )
        return Told(update=update, urgent=urgent, moved=moved, defects=defects)

    def _event(self, notice: Notice, subject: str) -> Event:
        return Event(
            time=notice.time,
            controller=self._place.controller,
            part=self._part(notice.origin),
            subject=subject,
            severity=notice.severity,
            text=_words(notice),
        )

    def _over(self, earlier: Notice, notice: Notice) -> Event:
        return Event(
            time=notice.time,
            controller=self._place.controller,
            part=self._part(earlier.origin),
            subject="over",
            severity=Health.OK,
            text=plain(earlier.text, 1000),
        )

    def _plain_event(self, subject: str, text: str, now: Seconds) -> Event:
        controller = self._place.controller
        return Event(time=now, controller=controller, part=None, subject=subject, severity=Health.OK, text=text)

    def _part(self, origin: str | None) -> str | None:
        return self._origins.part(origin) if self._origins is not None else None

    def _state(self) -> bytes:
        return msgspec.json.encode(_State(self._cursors, self._recent.state()[-REMEMBERED:], self._standing.state()))


def _upset(read: LogRead, entries: str) -> tuple[tuple[str, str], ...]:
    if read.upset is Upset.CLEARED:
        return (("log cleared", f"{entries}: its entries were cleared"),)
    if read.upset is Upset.OVERRUN and not read.history:
        return (("log overrun", f"{entries}: more was written than could be read; entries may have been missed"),)
    return ()


def _further(before: Cursor, now: Cursor) -> bool:
    """Whether a cursor has moved in a way that a restart must know; an ETag or a count costs one request at most."""
    return (before.settled, before.seen, before.resume, before.order) != (
        now.settled,
        now.seen,
        now.resume,
        now.order,
    )


def _restored(kept: bytes | None, controller: str) -> _State:
    if kept is None:
        return _State()
    try:
        return msgspec.json.decode(kept, type=_State)
    except msgspec.MsgspecError as error:
        log.warning("%s: what was kept of its events can't be read, they are begun anew: %s", controller, error)
        return _State()


def _words(notice: Notice) -> str:
    """What happened, and the registry's word on what to do where there still is something to do."""
    if notice.resolved:
        return f"{notice.text} (resolved)"
    idle = notice.resolution.strip().lower() in NO_RESOLUTION
    if idle or notice.severity not in (Health.WARNING, Health.CRITICAL):
        return notice.text
    return f"{notice.text} What to do: {plain(notice.resolution, MAX_ADVICE)}"
