"""What people did about conditions and places: which of it holds, and which marks it leaves on whom.

One :class:`Cares` for the fleet, fed with requests and asked by every watch. What it knows is built from
:class:`~collector.model.Care` alone, so that a restart goes on where the run before it ended. Pure: the time is passed
in, and what is to be kept is collected with :meth:`Cares.news`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

from msgspec import Struct, structs

from collector.model import Care, CareKind, Condition, Location, Mark, Request, RequestState, Seconds, Verb

LONGEST_SHELF = 7 * 86400.0
"""Seconds that a condition can be shelved for at most: never for ever. Common practice, no source."""
LONGEST_MAINTENANCE = 90 * 86400.0
"""Seconds that a place can be in maintenance at most. Common practice, no source."""
LONGEST_TEXT = 300
_STEPS = ("site", "row", "rack", "offset", "enclosure", "sled", "slot")

Find = Callable[[str], Condition | None]
"""The open condition of an id."""


class Marks(Struct, frozen=True):
    """What stands on one condition."""

    acknowledged: Mark | None = None
    shelved: Mark | None = None
    maintenance: Mark | None = None


class News(Struct, frozen=True):
    """What began and what (by id) ended since it was last asked for: to be kept."""

    begun: tuple[Care, ...] = ()
    ended: tuple[int, ...] = ()


class Refusal(Exception):
    """Why a request is not carried out, one sentence."""


class Cares:
    """Everything that holds or will. ``version`` moves when marks may have changed for another reason than time."""

    def __init__(
        self,
        standing: Iterable[Care] = (),
        longest_shelf: Seconds = LONGEST_SHELF,
        longest_maintenance: Seconds = LONGEST_MAINTENANCE,
    ) -> None:
        self._longest = {Verb.SHELVE: longest_shelf, Verb.MAINTAIN: longest_maintenance}
        self._acknowledged: dict[str, Care] = {}
        self._shelved: dict[str, Care] = {}
        self._maintenance: dict[int, Care] = {}
        self._begun: dict[int, Care] = {}
        self._ended: list[int] = []
        self.version = 0
        for care in standing:
            self._take(care)

    # What holds

    def standing(self) -> list[Care]:
        """All of it, in the order of asking."""
        kept: list[Mapping[object, Care]] = [self._acknowledged, self._shelved, self._maintenance]  # type: ignore[list-item]
        return sorted((care for each in kept for care in each.values()), key=lambda care: care.id)

    def marks(self, condition: Condition, place: Location, holders: Iterable[str], now: Seconds) -> Marks:
        """What stands on a condition now; ``place`` is where it is, ``holders`` its part and the parts that contain it.

        What no longer holds because the condition got worse, or opened anew, ends by this.
        """
        acknowledged = self._acknowledged.get(condition.id)
        if acknowledged is not None and self._is_over(acknowledged, condition):
            self._end(acknowledged)
            acknowledged = None
        shelved = self._shelved.get(condition.id)
        if shelved is not None and (condition.severity > shelved.severity or not _holds(shelved, now)):
            if condition.severity > shelved.severity:
                self._end(shelved)
            shelved = None
        maintenance = self.at_work(condition.controller, holders, place, now)
        return Marks(
            None if acknowledged is None else acknowledged.mark,
            None if shelved is None else shelved.mark,
            None if maintenance is None else maintenance.mark,
        )

    def at_work(self, controller: str, holders: Iterable[str], place: Location, now: Seconds) -> Care | None:
        """The maintenance of a part: of those that hold now, the one that lasts longest; None for none.

        ``holders``: the part and all that hold it.
        """
        if not self._maintenance:
            return None
        held = frozenset(holders)
        found = (
            care for care in self._maintenance.values() if _holds(care, now) and _covers(care, controller, held, place)
        )
        return max(found, key=lambda care: care.until or math.inf, default=None)

    @property
    def maintains(self) -> bool:
        """Whether any place is in maintenance, or will be."""
        return bool(self._maintenance)

    def closed(self, condition: Condition) -> None:
        """A condition closed: that it was acknowledged is over; that it is shelved goes on until its end."""
        if (care := self._acknowledged.get(condition.id)) is not None:
            self._end(care)

    def next_change(self, now: Seconds) -> Seconds:
        """When time alone changes marks next; infinite for never."""
        edges = [care.until for care in self._shelved.values()]
        edges += [edge for care in self._maintenance.values() for edge in (care.since, care.until)]
        return min((edge for edge in edges if edge is not None and edge > now), default=math.inf)

    # What people ask for

    def carry_out(self, request: Request, find: Find, now: Seconds) -> tuple[RequestState, str]:
        """Do one of the :class:`~collector.model.Verb` requests; how it went, and one sentence of it."""
        if now >= request.expires:
            return RequestState.EXPIRED, "not carried out in time"
        try:
            match request.verb:
                case Verb.ACKNOWLEDGE:
                    return RequestState.DONE, self._acknowledge(request, find, now)
                case Verb.SHELVE:
                    return RequestState.DONE, self._shelve(request, find, now)
                case Verb.UNSHELVE:
                    return RequestState.DONE, self._unshelve(request)
                case Verb.MAINTAIN:
                    return RequestState.DONE, self._maintain(request, now)
                case Verb.UNMAINTAIN:
                    return RequestState.DONE, self._unmaintain(request)
                case _:
                    return RequestState.REFUSED, f"nobody here knows how to {request.verb}"
        except Refusal as refusal:
            return RequestState.REFUSED, str(refusal)

    def lapse(self, now: Seconds) -> None:
        """End what came to its end by time."""
        for care in (*self._shelved.values(), *self._maintenance.values()):
            if care.until is not None and care.until <= now:
                self._end(care)

    def news(self) -> News:
        """What is to be kept since it was last asked for; :meth:`again` takes it back where that failed."""
        told = News(tuple(self._begun.values()), tuple(self._ended))
        self._begun, self._ended = {}, []
        return told

    def again(self, news: News) -> None:
        """Tell these news again the next time: they could not be kept."""
        begun = {care.id: care for care in news.begun if care.id not in self._ended}
        self._begun = begun | self._begun
        self._ended = [*news.ended, *self._ended]

    def _acknowledge(self, request: Request, find: Find, now: Seconds) -> str:
        _named(request)
        condition = _found(request, find)
        if (before := self._acknowledged.get(condition.id)) is not None and not self._is_over(before, condition):
            raise Refusal(f"{before.who} acknowledged it already")
        self._begin(_about(request, CareKind.ACKNOWLEDGED, condition, now, None))
        return f"acknowledged: {condition.text}"

    def _shelve(self, request: Request, find: Find, now: Seconds) -> str:
        _named(request)
        until = self._end_of(request, now, now)
        condition = _found(request, find)
        if (before := self._shelved.get(condition.id)) is not None:
            self._end(before)
        self._begin(_about(request, CareKind.SHELVED, condition, now, until))
        return f"shelved: {condition.text}"

    def _unshelve(self, request: Request) -> str:
        if (care := self._shelved.get(request.target)) is None:
            raise Refusal("it is not shelved")
        self._end(care)
        return f"no longer shelved; {care.who} had shelved it"

    def _maintain(self, request: Request, now: Seconds) -> str:
        _named(request)
        begin = _time(request, "since")
        since = now if begin is None else max(now, begin)
        until = self._end_of(request, since, now)
        place, controller, part = place_of(request.arguments), _text(request, "controller"), _text(request, "part")
        if place == Location() and controller is None and part is None:
            raise Refusal("it names no place, no controller and no part: that would be everything there is")
        care = Care(
            id=request.id,
            kind=CareKind.MAINTENANCE,
            who=request.who,
            why=request.why,
            since=since,
            until=until,
            place=place,
            controller=controller,
            part=part,
        )
        self._begin(care)
        return f"in maintenance: {request.target}"

    def _unmaintain(self, request: Request) -> str:
        try:
            care = self._maintenance[int(request.target)]
        except (ValueError, KeyError):
            raise Refusal(f"no maintenance has the number {request.target}") from None
        self._end(care)
        return f"maintenance {care.id} is over; {care.who} had asked for it"

    def _end_of(self, request: Request, since: Seconds, now: Seconds) -> Seconds:
        until = _time(request, "until")
        longest = self._longest[Verb(request.verb)]
        if until is None:
            raise Refusal("it needs an end")
        if until <= now or until <= since:
            raise Refusal("its end is past already, or before its beginning")
        if until - since > longest:
            raise Refusal(f"it can last {longest / 86400:g} days at most")
        return until

    # How

    def _is_over(self, care: Care, condition: Condition) -> bool:
        return condition.severity > care.severity or condition.opened != care.opened

    def _begin(self, care: Care) -> None:
        self._take(care)
        self._begun[care.id] = care

    def _take(self, care: Care) -> None:
        match care.kind:
            case CareKind.ACKNOWLEDGED if care.condition is not None:
                self._acknowledged[care.condition] = care
            case CareKind.SHELVED if care.condition is not None:
                self._shelved[care.condition] = care
            case CareKind.MAINTENANCE:
                self._maintenance[care.id] = care
        self.version += 1

    def _end(self, care: Care) -> None:
        match care.kind:
            case CareKind.ACKNOWLEDGED:
                self._acknowledged.pop(care.condition or "", None)
            case CareKind.SHELVED:
                self._shelved.pop(care.condition or "", None)
            case CareKind.MAINTENANCE:
                self._maintenance.pop(care.id, None)
        self._begun.pop(care.id, None)
        self._ended.append(care.id)
        self.version += 1


def place_of(arguments: Mapping[str, str | float | int | bool | None]) -> Location:
    """The place that a request's arguments tell, step by step; what is no text counts as not told."""
    told = {
        step: value for step in _STEPS if step != "offset" and isinstance(value := arguments.get(step), str) and value
    }
    place = structs.replace(Location(), **told)
    offset = arguments.get("offset")
    number = float(offset) if isinstance(offset, int | float) and not isinstance(offset, bool) else None
    return structs.replace(place, offset=number)


def _covers(care: Care, controller: str, holders: frozenset[str], place: Location) -> bool:
    if care.controller is not None and care.controller != controller:
        return False
    if care.part is not None and care.part not in holders:
        return False
    for step in _STEPS:
        wanted = getattr(care.place, step)
        if wanted is not None and wanted != getattr(place, step):
            return False
    return True


def _holds(care: Care, now: Seconds) -> bool:
    return care.since <= now and (care.until is None or now < care.until)


def _about(request: Request, kind: CareKind, condition: Condition, now: Seconds, until: Seconds | None) -> Care:
    return Care(
        id=request.id,
        kind=kind,
        who=request.who,
        why=request.why,
        since=now,
        until=until,
        condition=condition.id,
        opened=condition.opened,
        severity=condition.severity,
    )


def _named(request: Request) -> None:
    if not request.who.strip() or not request.why.strip():
        raise Refusal("it needs a name and a reason")
    if max(len(request.who), len(request.why)) > LONGEST_TEXT:
        raise Refusal(f"name and reason take {LONGEST_TEXT} characters at most")


def _found(request: Request, find: Find) -> Condition:
    condition = find(request.target)
    if condition is None:
        raise Refusal("no open condition has this id")
    return condition


def _text(request: Request, name: str) -> str | None:
    value = request.arguments.get(name)
    return value if isinstance(value, str) and value else None


def _time(request: Request, name: str) -> Seconds | None:
    value = request.arguments.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if not math.isfinite(value):
        raise Refusal(f"its {name} is no time")
    return float(value)
