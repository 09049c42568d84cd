"""Open conditions as people read them: causes, each with what follows from it."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from collector.model import Condition, Health, worst


class Folded(Struct, frozen=True):
    """A condition and everything that follows from it, over any number of steps."""

    condition: Condition
    consequences: tuple[Condition, ...] = ()

    @property
    def worst(self) -> Health:
        """Of the condition and its consequences."""
        return worst([self.condition.severity, *(each.severity for each in self.consequences)])


def folded(conditions: Iterable[Condition]) -> list[Folded]:
    """Causes with their consequences, in the order given, the worst of each first.

    What follows from a condition that is not among those given stands by itself.
    """
    listed = list(conditions)
    known = {each.id: each for each in listed}
    under: dict[str, list[Condition]] = {}
    tops: list[Condition] = []
    for each in listed:
        root = _root(each, known)
        if root is each:
            tops.append(each)
        else:
            under.setdefault(root.id, []).append(each)
    found = [Folded(each, tuple(under.get(each.id, ()))) for each in tops]
    return sorted(found, key=lambda each: -each.worst)


def _root(condition: Condition, known: dict[str, Condition]) -> Condition:
    """The outermost cause that is known; the condition itself where causes lead in a circle."""
    step, passed = condition, {condition.id}
    while step.cause is not None and (cause := known.get(step.cause)) is not None:
        if cause.id in passed:
            return condition
        passed.add(cause.id)
        step = cause
    return step
