"""One part in hand: all that is known of it, gathered from what its sled's page knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from collector.model import Condition, Event, Figure, Kind, Lamps, Part, Reading, Status, Suspect, Trouble, WorkOrder
from dashboard.drawings.things import Standing
from dashboard.views.answers import Accused, Left
from dashboard.views.places import Places, label
from dashboard.views.readings import ReadingLine, reading_line
from dashboard.views.sled import status_facts
from dashboard.views.units import PLAIN, Units
from dashboard.views.verdict import Verdict
from dashboard.views.worked import Worked, worked

_MOST = 60
"""Readings, and parts within, that are shown of one part."""


@dataclass(frozen=True, slots=True)
class InHand:
    """A part with all that is known of it."""

    part: Part
    standing: Standing
    place: str
    told: str
    """What the controller says of it, in the standard's words; "" where nothing."""
    lamps: Lamps | None
    lines: tuple[ReadingLine, ...]
    conditions: tuple[Condition, ...]
    accused: tuple[tuple[Trouble, Suspect], ...]
    orders: tuple[WorkOrder, ...]
    events: tuple[Event, ...]
    lefts: tuple[Left, ...]
    worked: tuple[Worked, ...]
    """What follows from its readings."""
    within: tuple[Part, ...]
    """Parts directly in it."""
    holder: Part | None

    def line(self, key: str | None) -> ReadingLine | None:
        """The reading of a key, else the worst, else the first temperature, else the first."""
        if not self.lines:
            return None
        for line in self.lines:
            if line.key == key:
                return line
        loud = max(self.lines, key=lambda line: max(line.crossed, line.health))
        return loud if max(loud.crossed, loud.health) > 1 else self.lines[0]


def chosen(asked: str | None, verdicts: Sequence[Verdict], places: Places, controller: str) -> tuple[Part | None, bool]:
    """The part to open and whether the address asked for it: what is in question in the worst trouble, else the case.

    None only where the controller has told of no part.
    """
    if asked and (part := places.parts.get(asked)) is not None and part.controller == controller:
        return part, True
    for verdict in verdicts:
        if verdict.part is not None and (part := places.parts.get(verdict.part)) is not None:
            return part, False
    return places.front(controller), False


def in_hand(
    part: Part,
    places: Places,
    standing: Standing,
    statuses: Mapping[str, Status],
    lamps: Mapping[str, Lamps],
    readings: Sequence[Reading],
    conditions: Sequence[Condition],
    found: Sequence[Accused],
    orders: Sequence[WorkOrder],
    events: Sequence[Event],
    lefts: Sequence[Left],
    units: Units = PLAIN,
    figures: Sequence[Figure] = (),
) -> InHand:
    """All that is known of a part."""
    inner = [each for each in places.of_controller.get(part.controller, ()) if each.parent == part.id]
    hosts = [each.id for each in inner if each.kind is Kind.HOST]
    own = {part.id, *hosts}
    lines = [reading_line(each, units) for each in readings if each.sensor.part in own]
    lines.sort(key=lambda line: -max(line.crossed, line.health, 1))
    status = statuses.get(part.id)
    facts = [", ".join(status_facts(status))] if status is not None else []
    facts += [f"host: {', '.join(status_facts(statuses[each]))}" for each in hosts if each in statuses]
    holders = places.lineage(part)
    return InHand(
        part,
        standing,
        places.location(part).text,
        "; ".join(each for each in facts if each),
        lamps.get(part.id),
        tuple(lines[:_MOST]),
        tuple(each for each in conditions if each.part in own),
        tuple((each.trouble, one) for each in found for one in each.trouble.suspects if one.part in own),
        tuple(each for each in orders if each.part in own),
        tuple(each for each in events if each.part in own),
        tuple(each for each in lefts if each.margin.part in own),
        worked((each for each in figures if each.part in own), places.parts, units),
        tuple(sorted((each for each in inner if each.kind is not Kind.HOST), key=_order)[:_MOST])
        + tuple(
            each for host in hosts for each in places.of_controller.get(part.controller, ()) if each.parent == host
        )[:_MOST],
        holders[1] if len(holders) > 1 else None,
    )


def _order(part: Part) -> tuple[str, int, str]:
    index = part.location.slot_index
    return (part.kind.value, index if index is not None else 1 << 30, label(part))
