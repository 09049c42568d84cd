"""What needs hands first, and what can't be reached: one line each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from collector.assess.folding import folded
from collector.model import CareKind, Condition, Health, Mark, Seconds, Subject
from collector.store.overview import SilentRow
from dashboard.views.places import Places, named, without_name
from dashboard.views.turned import words
from dashboard.views.units import Units


@dataclass(frozen=True, slots=True)
class Task:
    """One part, or one controller as a whole, that wants looking at."""

    controller: str
    part: str | None
    severity: Health
    name: str
    """What to look for: the part's label and kind."""
    place: str
    text: str
    """The worst of its open conditions, in words."""
    more: int
    """Further open conditions on the same part."""
    since: Seconds
    puts_at_risk: int
    """Blades that depend on it."""
    follows: tuple[str, ...] = ()
    """Conditions that follow from these, a few words each, the worst first."""
    marks: tuple[tuple[CareKind, Mark], ...] = ()
    """What people did about the worst of them."""
    set_aside: bool = False
    """Whether people have shelved all of them, or are at work there: it draws no attention meanwhile."""
    ordered: bool = False
    """Whether an open work order mends it."""
    measured: bool = False
    """Whether the text is about a reading and its limit."""


@dataclass(frozen=True, slots=True)
class Silent:
    """A controller whose newest round failed."""

    controller: str
    place: str
    outcome: str
    error: str
    last_good: Seconds | None
    since: Seconds | None
    """When the trouble was first seen, where a condition says so."""
    url: str
    follows: tuple[str, ...] = ()
    """Conditions that follow from its silence, a few words each."""
    marks: tuple[tuple[CareKind, Mark], ...] = ()
    """What people did about it."""
    because: str = ""
    """What it follows from itself, in a few words; "" where it stands by itself."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """The open conditions of one part, or of one controller as a whole, in their place among all others."""

    controller: str
    part: str | None
    first: Condition
    """The worst of those that draw attention."""
    group: tuple[Condition, ...]
    following: tuple[Condition, ...]
    puts_at_risk: int
    since: Seconds
    set_aside: bool
    ordered: bool


def ranked(
    conditions: Iterable[Condition], leaning: Mapping[str, int], ordered: frozenset[str] = frozenset()
) -> tuple[Ranked, ...]:
    """A rank a part with open conditions that stand by themselves, with what follows from them.

    Worst first, then those that most blades lean on, then the oldest; what people have set aside comes last.
    Conditions about a controller's telemetry as a whole are not among them: see :func:`silent`. ``leaning``: blades at
    risk through a part, by its id. ``ordered``: ids of the conditions that open work orders mend.
    """
    groups: dict[tuple[str, str | None], list[Condition]] = {}
    following: dict[tuple[str, str | None], list[Condition]] = {}
    for fold in folded(condition for condition in conditions if condition.closed is None):
        condition = fold.condition
        if condition.subject is not Subject.CONTROLLER:
            key = (condition.controller, condition.part)
            groups.setdefault(key, []).append(condition)
            following.setdefault(key, []).extend(fold.consequences)
    found = [_rank(key, group, following[key], leaning, ordered) for key, group in groups.items()]
    return tuple(
        sorted(
            found,
            key=lambda it: (
                it.set_aside,
                -it.first.severity,
                -it.puts_at_risk,
                it.since,
                it.controller,
                it.part or "",
            ),
        )
    )


def _rank(
    key: tuple[str, str | None],
    group: Sequence[Condition],
    following: Sequence[Condition],
    leaning: Mapping[str, int],
    ordered: frozenset[str],
) -> Ranked:
    loud = [condition for condition in group if condition.announced]
    controller, part = key
    return Ranked(
        controller=controller,
        part=part,
        first=min(loud or group, key=lambda condition: (-condition.severity, condition.opened, condition.id)),
        group=tuple(group),
        following=tuple(sorted(following, key=lambda each: -each.severity)),
        puts_at_risk=leaning.get(part, 0) if part is not None else 0,
        since=min(condition.opened for condition in group),
        set_aside=all(each.shelved is not None or each.maintenance is not None for each in group),
        ordered=any(each.id in ordered for each in group),
    )


def in_units(it: Task, units: Units) -> Task:
    """A task whose temperatures are told in the viewer's unit."""
    return replace(it, text=words(it.text, units)) if it.measured else it


def task(it: Ranked, places: Places) -> Task:
    """A rank as the pages tell it; ``places`` knows the parts of its controller."""
    part = places.parts.get(it.part) if it.part is not None else None
    place = places.location(part) if part is not None else places.controller_place(it.controller)
    return Task(
        controller=it.controller,
        part=it.part,
        severity=it.first.severity,
        name=named(part) if part is not None else it.controller,
        place=place.text or "place not told",
        text=without_name(it.first.text, part),
        more=len(it.group) - 1,
        since=it.since,
        puts_at_risk=it.puts_at_risk,
        follows=tuple(in_words(each, places) for each in it.following),
        marks=marks(it.first),
        set_aside=it.set_aside,
        ordered=it.ordered,
        measured=it.first.subject in (Subject.THRESHOLD, Subject.AIR),
    )


def marks(condition: Condition) -> tuple[tuple[CareKind, Mark], ...]:
    """What people did about a condition."""
    told = (
        (CareKind.ACKNOWLEDGED, condition.acknowledged),
        (CareKind.SHELVED, condition.shelved),
        (CareKind.MAINTENANCE, condition.maintenance),
    )
    return tuple((kind, mark) for kind, mark in told if mark is not None)


def in_words(condition: Condition, places: Places) -> str:
    """A condition with the name of what it is about."""
    part = places.parts.get(condition.part) if condition.part is not None else None
    name = named(part) if part is not None else condition.controller
    return f"{name}: {without_name(condition.text, part)}"


def silent(rows: Iterable[SilentRow], conditions: Iterable[Condition], places: Places) -> tuple[Silent, ...]:
    """Controllers that don't answer as they should, in the order given; ``places`` knows what follows from them."""
    open_ = [condition for condition in conditions if condition.closed is None]
    known = {condition.id: condition for condition in open_}
    about = {condition.controller: condition for condition in open_ if condition.subject is Subject.CONTROLLER}
    following = {fold.condition.id: fold.consequences for fold in folded(open_)}
    found = []
    for row in rows:
        condition = about.get(row.controller)
        cause = known.get(condition.cause) if condition is not None and condition.cause is not None else None
        follows = following.get(condition.id, ()) if condition is not None else ()
        found.append(
            Silent(
                controller=row.controller,
                place=row.front.location.text or "place not told",
                outcome=row.outcome.value,
                error=row.error,
                last_good=row.last_good,
                since=condition.opened if condition is not None else None,
                url=row.url,
                follows=tuple(in_words(each, places) for each in follows),
                marks=marks(condition) if condition is not None else (),
                because=in_words(cause, places) if cause is not None else "",
            )
        )
    return tuple(found)
