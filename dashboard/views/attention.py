"""What needs hands first, and what can't be reached: one line each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from collector.assess.folding import folded
from collector.model import CareKind, Condition, ControllerState, Health, Kind, Mark, Rolled, Seconds, Subject
from dashboard.views.floor import answers
from dashboard.views.places import Places, named, without_name


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


def tasks(
    conditions: Iterable[Condition],
    places: Places,
    rolled: Mapping[str, Rolled],
    ordered: frozenset[str] = frozenset(),
) -> tuple[Task, ...]:
    """A line a part with open conditions that stand by themselves, with what follows from them.

    Worst first, then those that most blades lean on, then the oldest; what people have set aside comes last.
    Conditions about a controller's telemetry as a whole are not among them: see :func:`silent`. ``ordered``: ids of
    the conditions that open work orders mend.
    """
    groups: dict[tuple[str, str | None], list[Condition]] = {}
    following: dict[tuple[str, str | None], list[Condition]] = {}
    for fold in folded(condition for condition in conditions if condition.closed is None):
        condition = fold.condition
        if condition.subject is not Subject.CONTROLLER:
            key = (condition.controller, condition.part)
            groups.setdefault(key, []).append(condition)
            following.setdefault(key, []).extend(fold.consequences)
    leaning = _leaning(places, rolled)
    found = [
        _task(controller, part, group, following[controller, part], places, leaning, ordered)
        for (controller, part), group in groups.items()
    ]
    return tuple(
        sorted(
            found,
            key=lambda task: (task.set_aside, -task.severity, -task.puts_at_risk, task.since, task.place, task.name),
        )
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


def _task(
    controller: str,
    part_id: str | None,
    group: Sequence[Condition],
    following: Sequence[Condition],
    places: Places,
    leaning: Mapping[str, int],
    ordered: frozenset[str],
) -> Task:
    loud = [condition for condition in group if condition.announced]
    first = min(loud or group, key=lambda condition: (-condition.severity, condition.opened, condition.id))
    part = places.parts.get(part_id) if part_id is not None else None
    place = places.location(part) if part is not None else places.controller_place(controller)
    return Task(
        controller=controller,
        part=part_id,
        severity=first.severity,
        name=named(part) if part is not None else controller,
        place=place.text or "place not told",
        text=without_name(first.text, part),
        more=len(group) - 1,
        since=min(condition.opened for condition in group),
        puts_at_risk=leaning.get(part_id, 0) if part_id is not None else 0,
        follows=tuple(in_words(each, places) for each in sorted(following, key=lambda each: -each.severity)),
        marks=marks(first),
        set_aside=all(each.shelved is not None or each.maintenance is not None for each in group),
        ordered=any(each.id in ordered for each in group),
    )


def _leaning(places: Places, rolled: Mapping[str, Rolled]) -> dict[str, int]:
    """By part in trouble: the number of blades at risk through it."""
    found: dict[str, int] = {}
    for part_id, each in rolled.items():
        if each.at_risk_through and (part := places.parts.get(part_id)) is not None and part.kind is Kind.BLADE:
            for cause in each.at_risk_through:
                found[cause] = found.get(cause, 0) + 1
    return found


def silent(
    controllers: Iterable[ControllerState], conditions: Iterable[Condition], places: Places
) -> tuple[Silent, ...]:
    """Controllers that don't answer as they should, those longest without a good round first."""
    open_ = [condition for condition in conditions if condition.closed is None]
    known = {condition.id: condition for condition in open_}
    about = {condition.controller: condition for condition in open_ if condition.subject is Subject.CONTROLLER}
    following = {fold.condition.id: fold.consequences for fold in folded(open_)}
    found = []
    for state in controllers:
        if state.outcome is None or answers(state):
            continue
        condition = about.get(state.controller)
        cause = known.get(condition.cause) if condition is not None and condition.cause is not None else None
        follows = following.get(condition.id, ()) if condition is not None else ()
        found.append(
            Silent(
                controller=state.controller,
                place=places.controller_place(state.controller).text or "place not told",
                outcome=state.outcome.value,
                error=state.error,
                last_good=state.last_good,
                since=condition.opened if condition is not None else None,
                url=state.url,
                follows=tuple(in_words(each, places) for each in follows),
                marks=marks(condition) if condition is not None else (),
                because=in_words(cause, places) if cause is not None else "",
            )
        )
    return tuple(sorted(found, key=lambda each: (each.last_good or 0.0, each.controller)))
