"""What needs hands first, and what can't be reached: one line each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from collector.model import Condition, ControllerState, Health, Kind, Rolled, Seconds, Subject
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


def tasks(conditions: Iterable[Condition], places: Places, rolled: Mapping[str, Rolled]) -> tuple[Task, ...]:
    """A line a part with open conditions, worst first, then those that most blades lean on, then the oldest.

    Conditions about a controller's telemetry as a whole are not among them: see :func:`silent`.
    """
    groups: dict[tuple[str, str | None], list[Condition]] = {}
    for condition in conditions:
        if condition.closed is None and condition.subject is not Subject.CONTROLLER:
            groups.setdefault((condition.controller, condition.part), []).append(condition)
    leaning = _leaning(places, rolled)
    found = [_task(controller, part, group, places, leaning) for (controller, part), group in groups.items()]
    return tuple(
        sorted(found, key=lambda task: (-task.severity, -task.puts_at_risk, task.since, task.place, task.name))
    )


def _task(
    controller: str, part_id: str | None, group: Sequence[Condition], places: Places, leaning: Mapping[str, int]
) -> Task:
    first = min(group, key=lambda condition: (-condition.severity, condition.opened, condition.id))
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
    since = {
        condition.controller: condition.opened
        for condition in conditions
        if condition.subject is Subject.CONTROLLER and condition.closed is None
    }
    found = [
        Silent(
            controller=state.controller,
            place=places.controller_place(state.controller).text or "place not told",
            outcome=state.outcome.value if state.outcome is not None else "not asked yet",
            error=state.error,
            last_good=state.last_good,
            since=since.get(state.controller),
            url=state.url,
        )
        for state in controllers
        if state.outcome is not None and not answers(state)
    ]
    return tuple(sorted(found, key=lambda each: (each.last_good or 0.0, each.controller)))
