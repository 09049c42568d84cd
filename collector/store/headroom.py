"""What is left, asked for narrowly: the least of every controller, and all of one rack's, however big the fleet is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from collector.model import Margin, MarginKind
from collector.model.places import Front

# The other columns are those of the row with the least: https://sqlite.org/lang_select.html#bareagg
_LEAST = """
SELECT f.site, f.line, f.rack, c.name, min(m.remaining), count(*), m.record
FROM margins m JOIN controllers c ON c.id = m.controller JOIN fronts f ON f.controller = c.id
WHERE c.retired IS NULL AND m.kind = :kind GROUP BY m.controller ORDER BY min(m.remaining), c.name
"""
_OF_RACK = """
SELECT c.name, f.record, m.record
FROM fronts f JOIN controllers c ON c.id = f.controller JOIN margins m ON m.controller = c.id
WHERE c.retired IS NULL AND m.kind = :kind AND f.site = :site AND f.line = :line AND f.rack = :rack
ORDER BY m.remaining, m.part LIMIT :limit
"""
_PLACES = "SELECT record FROM margins WHERE controller IS NULL ORDER BY kind, remaining, part LIMIT :limit"
_NUMBERS = """
SELECT m.kind, count(*) FROM margins m LEFT JOIN controllers c ON c.id = m.controller
WHERE c.retired IS NULL GROUP BY m.kind
"""


class Least(NamedTuple):
    """The least that one controller has left of something."""

    site: str
    row: str
    rack: str
    controller: str
    left: float
    margins: int
    margin: Margin


class There(NamedTuple):
    """One margin of one controller in a rack."""

    controller: str
    front: Front
    margin: Margin


class Headroom:
    """Asks for margins; ``rows`` and ``record`` are a reader's, and so are the errors."""

    def __init__(self, rows: Callable[..., list[Any]], record: Callable[[str, Any], Any]) -> None:
        self._rows = rows
        self._record = record

    def least(self, kind: MarginKind) -> list[Least]:
        """Of every controller that has any, least first."""
        return [
            Least._make((*row[:6], self._record(row[6], Margin))) for row in self._rows(_LEAST, {"kind": kind.value})
        ]

    def of_rack(self, kind: MarginKind, site: str, row: str, rack: str, limit: int) -> list[There]:
        """Of all that stands in a rack, least first; empty words: where that is not told."""
        given = {"kind": kind.value, "site": site, "line": row, "rack": rack, "limit": limit}
        return [
            There(name, self._record(front, Front), self._record(margin, Margin))
            for name, front, margin in self._rows(_OF_RACK, given)
        ]

    def places(self, limit: int = 1000) -> list[Margin]:
        """Of places that are no controller's: racks and rows; by kind, least first."""
        return [self._record(row[0], Margin) for row in self._rows(_PLACES, {"limit": limit})]

    def numbers(self) -> dict[MarginKind, int]:
        """How many margins of each kind are known."""
        return {MarginKind(kind): number for kind, number in self._rows(_NUMBERS)}
