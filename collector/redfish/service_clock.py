"""A service's clock against ours: by a Manager's DateTime, else by the Date header of its answers.

``DateTime`` (Manager, DSP8010) is the clock that stamps events, log entries and readings. The Date header (RFC 9110
6.6.1) may come from another one, so it counts only where no manager tells the time. What is told is compared with the
middle of the exchange: half of the way there and back is taken off.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from email.utils import parsedate_to_datetime
from typing import Any

import msgspec

from collector.model import Defect, DefectKind, Seconds
from collector.redfish import links
from collector.redfish.follow import type_name
from collector.redfish.resources import SERVICE_ROOT, ClockRead
from collector.redfish.times import moment
from collector.redfish.wire import Reply
from collector.text import plain

DATE_HEADER = "Date header"
"""The source of what no manager told."""
WRONG_SECONDS = 60.0
"""Beyond this a clock is wrong: entries of one minute can't be put in order any more (common practice, no source)."""
_DAY = 86_400.0


def by_header(reply: Reply, before: Seconds, after: Seconds) -> ClockRead | None:
    """The clock that an answer's Date header tells; None where it has none that can be read."""
    told = reply.header(b"date")
    if told is None:
        return None
    try:
        date = parsedate_to_datetime(told).timestamp()
    except (ValueError, OverflowError):
        return None
    return _compared(DATE_HEADER, date, before, after)


def by_manager(path: str, body: Mapping[str, Any], before: Seconds, after: Seconds) -> ClockRead | None:
    """The clock that a Manager's body tells; None where it tells none that can be read.

    A DateTime without an offset of its own is read with DateTimeLocalOffset.
    """
    told, offset = body.get("DateTime"), body.get("DateTimeLocalOffset")
    if not isinstance(told, str):
        return None
    at = None
    if isinstance(offset, str) and told[-1:].isdigit() and not _has_offset(told):
        at = moment(f"{told.strip()}{offset.strip()}")
    if at is None:
        at = moment(told)
    return None if at is None else _compared(path, at, before, after)


def _has_offset(told: str) -> bool:
    clock = told.replace("t", "T").partition("T")[2]
    return "+" in clock or "-" in clock


def in_resource(path: str, body: Mapping[str, Any], before: Seconds, after: Seconds) -> Iterator[tuple[str, ClockRead]]:
    """The clocks that one body tells, a Manager or an expanded collection of them, each with its manager's name."""
    members = body.get("Members")
    for place, one in [(path, body), *((None, member) for member in (members if isinstance(members, list) else ()))]:
        if not isinstance(one, dict) or "DateTime" not in one or type_name(one) != "Manager":
            continue
        name = place if place is not None else one.get("@odata.id")
        if isinstance(name, str):
            key = links.key(name)
            if (read := by_manager(key, one, before, after)) is not None:
                yield key, read


def service_clock(
    root: Mapping[str, Any], managers: Mapping[str, ClockRead], header: ClockRead | None
) -> ClockRead | None:
    """The clock that counts: of the manager that provides the service, else of the first that tells one."""
    told = root.get("Links")
    provider = told.get("ManagerProvidingService") if isinstance(told, dict) else None
    name = provider.get("@odata.id") if isinstance(provider, dict) else None
    if isinstance(name, str) and (read := managers.get(links.key(name))) is not None:
        return read
    return next(iter(managers.values()), header)


def read_again(clock: ClockRead, reply: Reply, before: Seconds, after: Seconds) -> ClockRead | None:
    """The same clock as an answer of a round tells it; None where it doesn't."""
    if clock.source == DATE_HEADER:
        return by_header(reply, before, after)
    try:
        body = msgspec.json.decode(reply.body, type=_Body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None  # the round's decoder names what is wrong with it
    ones = [body, *body.members] if isinstance(body.members, list) else [body]
    for one in ones:
        name = one.name if isinstance(one, _Body) else one.get("@odata.id") if isinstance(one, dict) else None
        if isinstance(name, str) and links.key(name) == clock.source:
            told = {"DateTime": one.told, "DateTimeLocalOffset": one.offset} if isinstance(one, _Body) else one
            return by_manager(clock.source, told, before, after)
    return None


class _Body(msgspec.Struct):
    """What a round reads of a Manager, or of an expanded collection of them, for its clock."""

    name: Any = msgspec.field(name="@odata.id", default=None)
    told: Any = msgspec.field(name="DateTime", default=None)
    offset: Any = msgspec.field(name="DateTimeLocalOffset", default=None)
    members: Any = msgspec.field(name="Members", default=None)


def defect(controller: str, clock: ClockRead | None) -> Defect | None:
    """The defect of a clock that is off by more than :data:`WRONG_SECONDS`; None where it isn't."""
    if clock is None or abs(clock.offset) - clock.spread <= WRONG_SECONDS:
        return None
    way = "ahead of" if clock.offset > 0 else "behind"
    by_date = clock.source == DATE_HEADER
    return Defect(
        controller=controller,
        resource=SERVICE_ROOT if by_date else clock.source,
        property="" if by_date else "/DateTime",
        kind=DefectKind.BAD_TIME,
        detail=plain(
            f"its clock is {span(abs(clock.offset))} {way} ours"
            f"{' by the Date header of its answers' if by_date else ''}; set it, best by NTP, after checking ours"
        ),
    )


def span(seconds: float) -> str:
    """A duration in the unit in which a person would say it."""
    for size, word in ((_DAY, "days"), (3600.0, "hours"), (60.0, "minutes")):
        if seconds >= 2 * size:
            return f"{seconds / size:.1f} {word}"
    return f"{seconds:.1f} s"


def _compared(source: str, told: Seconds, before: Seconds, after: Seconds) -> ClockRead:
    """Both sources tell whole seconds, cut off: half a second more on average."""
    return ClockRead(source=source, offset=told + 0.5 - (before + after) / 2, spread=(after - before) / 2 + 0.5)
