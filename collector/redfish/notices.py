"""What a controller says has happened: from an event stream, a push or a log to one record, the :class:`Notice`.

Sources: Event, LogEntry and MetricReport CSDL (DSP8010); DSP0266 section 'Eventing'. Nothing that a controller sends
raises here: what can't be read is a defect, and the rest of it still becomes a notice.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from msgspec import Struct

from collector.model import Defect, DefectKind, Health, Seconds
from collector.redfish import links
from collector.redfish.flow import Place
from collector.redfish.registries import MAX_ARG, MAX_ARGS, MAX_ID, Clearing, Library, message_id, severity_of
from collector.redfish.times import UNSET_CLOCK, moment
from collector.text import plain

MAX_RECORDS = 1000
"""Records of one event that we take."""
MAX_DEFECTS = 64
"""Defects told of one body."""
CLOCK_SLACK: Seconds = 86_400.0
"""How far the time of an event may lie from its receipt before its clock is taken to be wrong."""
HEARTBEAT = "HeartbeatEvent.RedfishServiceFunctional"
"""General id of the message that tells only that the service lives; HeartbeatEvent registry, DSP8011."""


class Source(StrEnum):
    """How a notice came."""

    SSE = "event stream"
    PUSH = "push"
    LOG = "log"


class Notice(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that a controller says has happened."""

    controller: str
    source: Source
    channel: str
    """The stream, the push listener or the one log that it came by: within one, a happening is told once."""
    received: Seconds
    time: Seconds
    """When it happened, or its receipt where the controller tells no time or one that can't be."""
    told_time: Seconds | None = None
    """The time as told, however odd: good for comparing with other times of the same controller."""
    message_id: str = ""
    args: tuple[str, ...] = ()
    text: str
    severity: Health = Health.UNKNOWN
    resolution: str = ""
    origin: str | None = None
    """Where it originates: a resource's key, with a JSON pointer as fragment for a place inside its body."""
    group: int | None = None
    """EventGroupId: the same for all that one root cause brought about."""
    resolved: bool | None = None
    """LogEntry.Resolved; None where not told, and where the severity is OK (then it says nothing)."""
    entry: str | None = None
    """Key of the log entry that it is, or that was made of it."""
    marks: tuple[str, ...] = ()
    """Names that the same happening carries wherever it is told; one in common is enough."""
    likeness: str = ""
    """What it says, version of the message aside; the same for the same happening, and for its repetition."""
    clearing: Clearing | None = None
    """Which earlier notices it clears."""
    report: bool = False
    """Whether it stands for a metric report that came."""

    @property
    def heartbeat(self) -> bool:
        """Whether it tells only that the service lives."""
        return message_id(self.message_id).general == HEARTBEAT

    def clears(self, earlier: Notice) -> bool:
        """Whether an earlier notice of the same controller is over with this one."""
        if self.clearing is None or earlier is self:
            return False
        return self.clearing.clears(self.origin, message_id(earlier.message_id), earlier.origin)


class Heard(Struct, frozen=True):
    """What one body told."""

    notices: tuple[Notice, ...] = ()
    defects: tuple[Defect, ...] = ()
    context: str | None = None
    """The subscription's Context that an event carries."""
    report: Mapping[str, Any] | None = None
    """The body, where it is a metric report."""


class NoticeReader:
    """Reads the bodies of one controller. ``library`` may be put in anew as registries come."""

    def __init__(self, place: Place, library: Library | None = None) -> None:
        self.place = place
        self.library = library or Library()

    def event(self, body: Mapping[str, Any], source: Source, now: Seconds, channel: str = "") -> Heard:
        """An Event or MetricReport body, pushed or streamed. ``now`` is the time of receipt.

        A bare EventRecord is taken for an Event of one.
        """
        reading = _Reading(self.place, self.library, source, channel or source.value, now)
        kind = body.get("@odata.type")
        if isinstance(kind, str) and kind.startswith("#MetricReport."):
            return reading.report(body)
        return reading.records(body)

    def entry(self, body: Mapping[str, Any], path: str, now: Seconds, log: str = "") -> Heard:
        """A LogEntry body that stands at ``path`` in ``log``. ``now`` is the time of receipt."""
        return _Reading(self.place, self.library, Source.LOG, log or path.rpartition("/")[0], now).entry(body, path)


class _Reading:
    """Reads one body; ``defects`` fills as it does."""

    def __init__(self, place: Place, library: Library, source: Source, channel: str, now: Seconds) -> None:
        self._place = place
        self._library = library
        self._source = source
        self._channel = channel
        self._now = now
        self._resource = channel
        self._at = ""
        self.defects: list[Defect] = []

    def _blame(self, name: str, kind: DefectKind, detail: str) -> None:
        if len(self.defects) < MAX_DEFECTS:
            pointer = f"{self._at}/{name}" if name else self._at
            self.defects.append(self._place.defect(self._resource, pointer, kind, detail))

    # The three bodies

    def records(self, body: Mapping[str, Any]) -> Heard:
        listed = body.get("Events")
        context = body.get("Context")
        notices: list[Notice] = []
        if listed is None and ("MessageId" in body or "Message" in body):
            notices.append(self._record(body))
        elif not isinstance(listed, list):
            self._blame("Events", DefectKind.MISSING, "neither an event nor a metric report")
        else:
            if len(listed) > MAX_RECORDS:
                self._blame("Events", DefectKind.TOO_BIG, f"{len(listed)} records; {MAX_RECORDS} are taken")
            for at, record in enumerate(listed[:MAX_RECORDS]):
                self._at = f"/Events/{at}"
                if isinstance(record, dict):
                    notices.append(self._record(record))
                    context = record.get("Context") if context is None else context  # deprecated in Event 1.1
                else:
                    self._blame("", DefectKind.WRONG_TYPE, "the record is no object")
        return Heard(tuple(notices), tuple(self.defects), context if isinstance(context, str) else None)

    def _record(self, record: Mapping[str, Any]) -> Notice:
        entry = self._link(record, "LogEntry")
        severity = record.get("MessageSeverity", record.get("Severity"))
        return self._notice(record, record.get("EventTimestamp"), severity, record.get("OriginOfCondition"), entry)

    def entry(self, body: Mapping[str, Any], path: str) -> Heard:
        self._resource = path
        key = links.key(path)
        linked = body.get("Links")
        origin = linked.get("OriginOfCondition") if isinstance(linked, dict) else None
        # EventTimestamp is when it happened; Created, when it was written down.
        told = body.get("EventTimestamp", body.get("Created"))
        notice = self._notice(body, told, body.get("Severity"), origin, key)
        return Heard((notice,), tuple(self.defects))

    def report(self, body: Mapping[str, Any]) -> Heard:
        told = body.get("Timestamp")
        told_time, time = self._times("Timestamp", told)
        name = self._word(body, "Id") or self._word(body, "Name") or "without name"
        target = self._place.linked(body)
        at = target.key if target is not None else None
        sequence = self._word(body, "ReportSequence")
        likeness = f"report {at or name}"
        notice = Notice(
            controller=self._place.controller,
            source=self._source,
            channel=self._channel,
            received=self._now,
            time=time,
            told_time=told_time,
            text=f"metric report {name}",
            origin=at,
            marks=(f"{likeness} {sequence} {told_time}",) if sequence or told_time is not None else (),
            likeness=likeness,
            report=True,
        )
        context = body.get("Context")
        return Heard((notice,), tuple(self.defects), context if isinstance(context, str) else None, body)

    # What records and entries have in common

    def _notice(
        self, record: Mapping[str, Any], told: object, severity: object, origin: object, entry: str | None
    ) -> Notice:
        told_time, time = self._times("EventTimestamp" if "EventTimestamp" in record else "Created", told)
        identity = message_id(self._word(record, "MessageId", MAX_ID))
        args = self._args(record)
        own = severity_of(severity)
        if own is None and severity is not None:
            self._blame("Severity", DefectKind.UNKNOWN_WORD, f"{_shown(severity)} is no severity")
        literal = self._literal(record)
        meaning = self._library.meaning(
            identity.told, args, literal=literal, severity=own, resolution=self._word(record, "Resolution", 2000)
        )
        text = meaning.text or "a record without message"
        if not identity.told and not literal:
            self._blame("MessageId", DefectKind.MISSING, "the record has neither message id nor message")
        says = identity.general or text
        where = self._origin(origin)
        event = self._word(record, "EventId", MAX_ID)
        marks = [f"entry {entry} {says}"] if entry is not None else []
        if event:
            marks.append(f"event {event} {says} {where}")
        resolved = record.get("Resolved")
        return Notice(
            controller=self._place.controller,
            source=self._source,
            channel=self._channel,
            received=self._now,
            time=time,
            told_time=told_time,
            message_id=identity.told,
            args=args,
            text=text,
            severity=meaning.severity,
            resolution=meaning.resolution,
            origin=where,
            group=self._group(record),
            resolved=resolved if isinstance(resolved, bool) and meaning.severity is not Health.OK else None,
            entry=entry,
            marks=tuple(marks),
            likeness="\n".join((says, where or "", *args)),
            clearing=meaning.clearing,
        )

    def _times(self, name: str, told: object) -> tuple[Seconds | None, Seconds]:
        """The time as told, and the one to go by: they differ where its clock is plainly wrong."""
        if told is None:
            return None, self._now
        at = moment(told)
        if at is None:
            self._blame(name, DefectKind.BAD_TIME, f"{_shown(told)} is no time")
            return None, self._now
        # Log entries may well be old; what comes live can't be.
        early = UNSET_CLOCK if self._source is Source.LOG else self._now - CLOCK_SLACK
        if not early <= at <= self._now + CLOCK_SLACK:
            self._blame(name, DefectKind.BAD_TIME, f"{_shown(told)} can't be when it happened; is the clock set?")
            return at, self._now
        return at, at

    def _literal(self, record: Mapping[str, Any]) -> str:
        """The record's own words; for a raw system event log entry without any, what its codes say."""
        kind = record.get("EntryType")
        if kind == "CXL":  # its Message is the record in hexadecimal
            return f"CXL event record, {self._word(record, 'CXLEntryType') or 'of unknown type'}"
        literal = self._word(record, "Message", 8000)
        if literal.strip():
            return literal
        number = record.get("SensorNumber")
        sensor = self._word(record, "SensorType")
        code = self._word(record, "EntryCode")
        who = f"{sensor or 'sensor'} {number}" if isinstance(number, int) else sensor
        return ": ".join(step for step in (who, code) if step)

    def _args(self, record: Mapping[str, Any]) -> tuple[str, ...]:
        told = record.get("MessageArgs")
        if told is None:
            return ()
        if not isinstance(told, list) or len(told) > MAX_ARGS:
            self._blame("MessageArgs", DefectKind.WRONG_TYPE, f"they are no array of up to {MAX_ARGS}")
            told = told[:MAX_ARGS] if isinstance(told, list) else []
        args: list[str] = []
        for arg in told:
            if isinstance(arg, str):
                args.append(_line(arg, MAX_ARG))
            elif isinstance(arg, (bool, float)) or _whole(arg):  # harmless, and as JSON spells them
                args.append(str(arg).lower())
            else:
                self._blame("MessageArgs", DefectKind.WRONG_TYPE, "an argument is no string")
                args.append("?")
        return tuple(args)

    def _group(self, record: Mapping[str, Any]) -> int | None:
        """EventGroupId; 0 says that there is none."""
        told = record.get("EventGroupId")
        if told is None or told == 0:
            return None
        if not isinstance(told, int) or not _whole(told):
            self._blame("EventGroupId", DefectKind.WRONG_TYPE, "it is no 64-bit integer")
            return None
        return told

    def _origin(self, told: object) -> str | None:
        """From a link, or from the resource itself where the subscription asks for that, or from a bare path."""
        if told is None or told == {}:
            return None
        link = told.get("@odata.id") if isinstance(told, dict) else told
        return self._key("OriginOfCondition", link)

    def _link(self, record: Mapping[str, Any], name: str) -> str | None:
        told = record.get(name)
        return None if told is None else self._key(name, told.get("@odata.id") if isinstance(told, dict) else told)

    def _key(self, name: str, link: object) -> str | None:
        try:
            target = self._place.target(link)
        except links.BadLink as error:
            kind = DefectKind.FOREIGN_LINK if error.foreign else DefectKind.DANGLING_LINK
            self._blame(name, kind, f"the link {error}")
            return None
        return f"{target.key}#{plain(target.fragment, 500)}" if target.fragment else target.key

    def _word(self, record: Mapping[str, Any], name: str, limit: int = 200) -> str:
        """A short text in one line; "" where there is none. Numbers stand as text: ids are often sent as such."""
        told = record.get(name)
        if told is None:
            return ""
        if not isinstance(told, str) and not _whole(told):
            self._blame(name, DefectKind.WRONG_TYPE, "it is no string")
            return ""
        return _line(str(told), limit)


def _whole(told: object) -> bool:
    """Whether it is an integer of a size that people write."""
    return isinstance(told, int) and not isinstance(told, bool) and -(2**63) <= told < 2**63


def _line(told: str, limit: int) -> str:
    return plain(" ".join(told[: 4 * limit].split()), limit)


def _shown(told: object) -> str:
    """A told value as it is quoted in a defect."""
    return repr(told[:60]) if isinstance(told, str) else f"a {type(told).__name__}"
