"""What matters at a glance about one sled: what is wrong, which part explains it, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.assess.folding import folded
from collector.model import Condition, Health, Lamps, Trouble, Urgency, WorkOrder
from dashboard.views.answers import Accused, likelihood, percent
from dashboard.views.places import Places, named, without_name
from dashboard.views.words import count

_CLEAR = 0.5
"""Probability above which one part is named as the one that explains it."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """One thing that matters."""

    severity: Health
    says: str
    """A sentence: what is wrong and which part explains it."""
    sure: str = ""
    """How sure that is, in words and figures."""
    part: str | None = None
    """Id of the part in question, where it is of this sled."""
    elsewhere: str | None = None
    """Name of the controller whose part it is, where it is another's."""
    order: WorkOrder | None = None
    look: str = ""
    """What to look at next, where nothing is sure enough to send somebody."""

    @property
    def urgency(self) -> Urgency | None:
        """Of what is to be done."""
        return self.order.urgency if self.order is not None else None

    @property
    def lamp(self) -> Lamps | None:
        """The lamp to look for."""
        return self.order.lamp if self.order is not None else None


def verdicts(
    found: Sequence[Accused],
    orders: Sequence[WorkOrder],
    conditions: Sequence[Condition],
    places: Places,
    controller: str,
) -> tuple[Verdict, ...]:
    """One a trouble, then one for what no trouble explains, worst first; none where nothing is wrong."""
    told = [_of_trouble(each, orders, controller) for each in found]
    explained = {condition for each in found for condition in each.trouble.conditions}
    loose = [each.condition for each in folded(conditions) if each.condition.id not in explained]
    loose = [each for each in loose if each.announced]
    if loose:
        told.append(_of_conditions(loose, places))
    return tuple(sorted(told, key=lambda each: -each.severity))


def _of_trouble(accused: Accused, orders: Sequence[WorkOrder], controller: str) -> Verdict:
    trouble = accused.trouble
    suspects = trouble.suspects
    if not suspects:
        return Verdict(trouble.severity, f"No known fault of a part explains what is seen: {_signs(trouble)}.")
    first = suspects[0]
    of = f" of {first.controller}" if first.controller not in (None, controller) else ""
    sure = f"{percent(first.probability)}, {likelihood(first.probability)}"
    if accused.alike:
        names = " or ".join(each.name for each in accused.alike[:4])
        says = f"{names}: one of them has failed, the evidence can't tell which."
        sure = f"first of them {sure}"
    elif first.probability > _CLEAR:
        says = f"{first.name}{of}: {first.fault}."
    else:
        says = f"Not clear yet. Likeliest: {first.name}{of}, {first.fault}."
    order = next((each for each in orders if each.trouble == trouble.id and each.part == first.part), None)
    order = order or next((each for each in orders if each.trouble == trouble.id), None)
    mine = first.controller == controller
    return Verdict(
        trouble.severity,
        says,
        sure,
        first.part if mine else None,
        None if mine else first.controller,
        order,
        "" if order is not None else trouble.next_look,
    )


def _signs(trouble: Trouble) -> str:
    return "; ".join(sign.rstrip(".") for sign in trouble.signs[:3]) or "nothing in particular"


def _of_conditions(loose: Sequence[Condition], places: Places) -> Verdict:
    worst = max(loose, key=lambda each: (each.severity, -each.opened))
    part = places.parts.get(worst.part) if worst.part is not None else None
    name = named(part) if part is not None else worst.controller
    more = f"; and {count(len(loose) - 1, 'more condition')}" if len(loose) > 1 else ""
    return Verdict(
        worst.severity,
        f"{name}: {without_name(worst.text, part)}{more}.",
        "no part is blamed for it",
        part.id if part is not None else None,
    )
