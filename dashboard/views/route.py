"""In which order work orders are walked: along rows and racks, in a rack from the bottom up, the urgent racks first."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from collector.model import OrderState, Urgency, WorkOrder
from dashboard.views.answers import NO_RACK, SOONEST

_NUMBER = re.compile(r"(\d+)")


@dataclass(frozen=True, slots=True)
class Stop:
    """The open orders of one rack, bottom up."""

    rack: str
    orders: tuple[WorkOrder, ...]

    @property
    def urgency(self) -> Urgency:
        """Of the most urgent of them."""
        return min((order.urgency for order in self.orders), key=SOONEST.index)


@dataclass(frozen=True, slots=True)
class Tour:
    """Racks to go to in one go, in walking order: each once, in the tour of its most urgent order."""

    urgency: Urgency
    stops: tuple[Stop, ...]

    @property
    def orders(self) -> tuple[WorkOrder, ...]:
        """All of them, in the order of the walk."""
        return tuple(order for stop in self.stops for order in stop.orders)


def tours(orders: Iterable[WorkOrder]) -> tuple[Tour, ...]:
    """Open orders as tours, the most urgent first. What is less urgent in a rack is done while one is there."""
    racks: dict[str, list[WorkOrder]] = {}
    for order in orders:
        if order.closed is None:
            racks.setdefault(order.bundle or NO_RACK, []).append(order)
    stops = [Stop(rack, tuple(sorted(there, key=_upwards))) for rack, there in racks.items()]
    found = []
    for urgency in SOONEST:
        along = sorted((stop for stop in stops if stop.urgency is urgency), key=_along)
        if along:
            found.append(Tour(urgency, tuple(along)))
    return tuple(found)


def _along(stop: Stop) -> tuple[bool, tuple[tuple[int, str], ...]]:
    """By site, row and rack as labels count: R2 before R10; what has no rack last."""
    return stop.rack == NO_RACK, natural(stop.rack)


def natural(words: str) -> tuple[tuple[int, str], ...]:
    """A key that sorts numbers within words by their value."""
    return tuple((int(step), "") if step.isdecimal() else (-1, step) for step in _NUMBER.split(words))


def _upwards(order: WorkOrder) -> tuple[float, int, int, str]:
    at = order.location
    offset = at.offset if at.offset is not None else float("inf")
    slot = at.slot_index if at.slot_index is not None else 1 << 30
    return offset, slot, SOONEST.index(order.urgency), order.id


HANDS = (OrderState.OPEN, OrderState.TAKEN, OrderState.WATCHING, OrderState.STILL_THERE)
"""States of open orders, as they follow each other."""
