"""What explains the trouble, what to do about it, what is left: suspects, work orders, margins as pages say them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.model import Margin, MarginKind, Suspect, Trouble, Urgency, WorkOrder
from dashboard.views.places import Places, named
from dashboard.views.units import PLAIN, Units

SOONEST: tuple[Urgency, ...] = (Urgency.NOW, Urgency.TODAY, Urgency.NEXT_VISIT)
NO_RACK = "no rack told"

# The likelihood scale of the IPCC's guidance note on uncertainty (Mastrandrea et al. 2010, table 1), from memory.
_LIKELIHOOD: tuple[tuple[float, str], ...] = (
    (0.99, "virtually certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.01, "very unlikely"),
    (0.0, "exceptionally unlikely"),
)


def likelihood(probability: float) -> str:
    """A probability, 0 to 1, in words of a published scale."""
    return next((words for least, words in _LIKELIHOOD if probability >= least), _LIKELIHOOD[-1][1])


def percent(probability: float) -> str:
    """A probability, 0 to 1, as a figure that never claims to be sure, e.g. ``87 %``, ``> 99 %``, ``< 1 %``."""
    if probability > 0.995:
        return "> 99 %"
    if probability < 0.005:
        return "< 1 %"
    return f"{100 * probability:.0f} %"


# --- work orders ---


def worst_first(orders: Iterable[WorkOrder]) -> tuple[WorkOrder, ...]:
    """Open orders, the most urgent first; of one urgency those that take most down, then the oldest."""
    still = [order for order in orders if order.closed is None]
    return tuple(
        sorted(still, key=lambda each: (SOONEST.index(each.urgency), -len(each.takes_down), each.opened, each.id))
    )


def chosen(
    orders: Iterable[WorkOrder], rack: str | None, urgency: str | None, state: str | None = None
) -> tuple[WorkOrder, ...]:
    """The orders that the address asks for; a filter that is not given lets all through."""
    return tuple(
        order
        for order in orders
        if (not rack or (order.bundle or NO_RACK) == rack)
        and (not urgency or order.urgency.value == urgency)
        and (not state or order.state.value == state)
    )


def running_words(running: bool | None) -> str:
    """Whether a part can be pulled while everything runs."""
    if running is None:
        return "Nobody tells whether it may be pulled while everything runs: ask before you pull it."
    return (
        "It can be pulled while everything else runs." if running else "Not while it runs: drain what goes down first."
    )


# --- suspects ---


@dataclass(frozen=True, slots=True)
class Accused:
    """A trouble as one sled's page tells it."""

    trouble: Trouble
    here: tuple[Suspect, ...]
    """Suspects of this sled, likeliest first."""
    elsewhere: tuple[Suspect, ...]
    """Suspects of others, or of no controller."""
    alike: tuple[Suspect, ...]
    """Suspects that the evidence can't tell apart; empty where the first stands alone."""


def accusations(troubles: Iterable[Trouble], controller: str) -> tuple[Accused, ...]:
    """Open troubles that a controller's parts show or may have caused, in the order given."""
    found = []
    for trouble in troubles:
        here = tuple(each for each in trouble.suspects if each.controller == controller)
        if trouble.closed is None and (here or controller in trouble.controllers):
            elsewhere = tuple(each for each in trouble.suspects if each.controller != controller)
            alike = tuple(each for each in trouble.suspects if each.part in trouble.group)
            found.append(Accused(trouble, here, elsewhere, alike if len(alike) > 1 else ()))
    return tuple(found)


# --- margins ---


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of something at one part or place."""

    margin: Margin
    name: str
    rack: str
    left: str
    """e.g. ``12.4 K left``, ``35 W over``."""
    used: str
    """e.g. ``67.6 of 80 °C``."""
    share: float
    """What is left as a share of the most that any of this kind has left, -1 to 1, for drawing."""


def left_unit(margin: Margin) -> str:
    """Kelvin for a distance between temperatures, else the margin's own unit."""
    return "K" if margin.kind in (MarginKind.HEAT, MarginKind.AIR, MarginKind.SWING) else margin.unit


def left_words(margin: Margin, units: Units = PLAIN) -> str:
    """e.g. ``12.4 K left``, ``35 W over``."""
    warm = left_unit(margin) == "K"
    unit = units.span_word("Cel") if warm else margin.unit
    left = abs(units.span(margin.left, "Cel")) if warm else abs(margin.left)
    return f"{left:.{1 if warm else 0}f} {unit} {'left' if margin.left >= 0 else 'over'}"


def lefts(margins: Sequence[Margin], places: Places, units: Units = PLAIN) -> tuple[Left, ...]:
    """Least first within each kind, named and placed."""
    most: dict[MarginKind, float] = {}
    for margin in margins:
        most[margin.kind] = max(most.get(margin.kind, 0.0), abs(margin.left))
    found = []
    for margin in sorted(margins, key=lambda each: (each.kind.value, each.left, each.part)):
        part = places.parts.get(margin.part)
        unit, decimals = units.word(margin.unit), 1 if margin.unit == "Cel" else 0
        value, limit = (units.value(each, margin.unit) for each in (margin.value, margin.limit))
        found.append(
            Left(
                margin,
                named(part) if part is not None else margin.part,
                _rack(margin, places),
                left_words(margin, units),
                f"{value:.{decimals}f} of {limit:.{decimals}f} {unit}",
                margin.left / most[margin.kind] if most[margin.kind] else 0.0,
            )
        )
    return tuple(found)


def _rack(margin: Margin, places: Places) -> str:
    """The rack that a margin is in, as work orders bundle; a place that is no controller's is its own."""
    if margin.controller is None:
        return margin.part
    at = places.controller_place(margin.controller)
    return " / ".join(step for step in (at.site, at.row, at.rack) if step) or NO_RACK


def least_of_each(found: Iterable[Left]) -> tuple[Left, ...]:
    """The least of each kind, then the second of each, and so on: kinds can't be compared with one another."""
    rank: dict[MarginKind, int] = {}
    ranked = []
    for each in found:
        rank[each.margin.kind] = rank.get(each.margin.kind, -1) + 1
        ranked.append((rank[each.margin.kind], list(MarginKind).index(each.margin.kind), each))
    return tuple(each for _, _, each in sorted(ranked, key=lambda one: one[:2]))
