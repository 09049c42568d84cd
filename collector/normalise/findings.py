"""Collects the defects of one walk or round: each named once, bounded in number and length."""

from __future__ import annotations

from collections.abc import Iterable

from collector.model import Defect, DefectKind
from collector.redfish.resources import SERVICE_ROOT
from collector.text import plain

MAX_DEFECTS = 1_000
"""Defects kept of a walk, and of all rounds up to the next; the rest is counted."""


class Findings:
    """Defects of one controller, in the order found. One place is blamed once for one kind of thing."""

    def __init__(self, controller: str, known: Iterable[Defect] = (), limit: int = MAX_DEFECTS) -> None:
        self.controller = controller
        self._limit = limit
        self._seen: set[tuple[str, str, DefectKind]] = set()
        self._defects: list[Defect] = []
        self._untold = 0
        for defect in known:
            self._keep(defect)

    def add(self, resource: str, property: str, kind: DefectKind, detail: str) -> None:
        """Notes a defect of ``property`` (a JSON pointer, or "" for the whole) of a resource."""
        defect = Defect(
            controller=self.controller,
            resource=plain(resource, 500),
            property=plain(property, 200),
            kind=kind,
            detail=plain(detail, 300),
        )
        self._keep(defect)

    def _keep(self, defect: Defect) -> None:
        key = (defect.resource, defect.property, defect.kind)
        if key in self._seen:
            return
        if len(self._defects) >= self._limit:
            self._untold += 1
            return
        self._seen.add(key)
        self._defects.append(defect)

    def take(self) -> tuple[Defect, ...]:
        """The defects since the last take, which stay known; the last one counts those that were too many."""
        taken = tuple(self._defects)
        self._limit -= len(taken)
        self._defects = []
        if not self._untold:
            return taken
        untold, self._untold = self._untold, 0
        detail = f"{untold} more defects are not listed"
        return (
            *taken,
            Defect(
                controller=self.controller, resource=SERVICE_ROOT, property="", kind=DefectKind.TOO_BIG, detail=detail
            ),
        )


def shown(value: object) -> str:
    """A told value as it is quoted in a defect."""
    return plain(repr(value) if isinstance(value, str) else str(value), 60)
