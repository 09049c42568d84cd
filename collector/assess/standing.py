"""A part's own health: the worst of what the controller reports of it and of its own open conditions.

A condition that its part inherits (no power, no sight of it, through trouble elsewhere) counts as open and not as the
part's own trouble; nor does the air of its room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from collector.assess.book import AIR, CONTACT, GAPS, VANISHED, Book
from collector.assess.tree import Tree
from collector.model import Health, State, Status


class Standing:
    """Own health and number of own open conditions, by position.

    A condition about the controller as a whole stands on the part that is the controller; where the service lists none,
    it shows on every outermost part and is counted on the first.
    """

    def __init__(self) -> None:
        self._lent: dict[int, tuple[Health, int]] = {}

    def changes(
        self, positions: Iterable[int], tree: Tree, book: Book, statuses: Mapping[str, Status], readable: bool
    ) -> dict[int, tuple[Health, int]]:
        """For the parts at these positions and those whose conditions changed: (own health, own open conditions)."""
        affected = set(positions)
        affected |= {tree.at[group] for group in book.dirty if group in tree.at}
        lent = _lent(tree, book)
        if lent != self._lent:
            affected |= self._lent.keys() | lent.keys()
            self._lent = lent
        result = {}
        for position in affected:
            if position >= len(tree.parts):
                continue  # stood on a part of the tree before
            part = tree.parts[position].id
            conditions = book.open_in(part)
            more_health, more = lent.get(position, (Health.UNKNOWN, 0))
            own = max(
                [more_health, *(condition.severity for condition in conditions.values() if not condition.inherited)]
            )
            if readable and (status := statuses.get(part)) is not None:
                own = max(own, _reported(status))
            result[position] = (own, len(conditions) + more)
        return result


def _reported(status: Status) -> Health:
    """An empty place is neither well nor ill."""
    return Health.UNKNOWN if status.state is State.ABSENT and status.health is Health.OK else status.health


def _lent(tree: Tree, book: Book) -> dict[int, tuple[Health, int]]:
    lent: dict[int, tuple[Health, int]] = {}
    for group in (CONTACT, GAPS, VANISHED, AIR):
        for condition in book.open_in(group).values():
            position = tree.at.get(condition.part or "")
            for number, target in enumerate(tree.speakers if position is None else (position,)):
                health, count = lent.get(target, (Health.UNKNOWN, 0))
                severity = Health.UNKNOWN if condition.inherited or group == AIR else condition.severity
                lent[target] = (max(health, severity), count + (number == 0))
    return lent
