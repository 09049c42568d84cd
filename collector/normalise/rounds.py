"""What a round has brought so far, however its bodies are decoded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from collector.model import DefectKind, Status
from collector.normalise import statuses
from collector.normalise.bodies import Body, pointer
from collector.normalise.compiled import PartSlot, Plan, Wanted
from collector.normalise.findings import Findings
from collector.normalise.inventory import Normalised
from collector.normalise.reading import Columns
from collector.redfish import links


class Round:
    """The round under way, and what outlasts it: the last status of every part, the defects known since the walk."""

    __slots__ = ("_ids", "_width", "changed", "columns", "findings", "last", "odd_times", "shape_changed", "statuses")

    def __init__(self, inventory: Normalised) -> None:
        self._width = len(inventory.layout.sensors)
        self.findings = Findings(inventory.controller, inventory.defects)
        self.findings.take()
        self.statuses = dict(inventory.statuses)
        self._ids = [f"{inventory.controller}:{uri}" for uri in inventory.recipe.told]
        self.last: list[tuple[Any, ...] | None] = [None] * len(self._ids)
        """What was told of each part last time, as decoded; None where it must be looked at anew."""
        self.odd_times: set[int] = set()
        """Columns whose acquisition time was found fault with."""
        self.begin()

    def begin(self) -> None:
        """Starts the next one."""
        self.columns = Columns(self._width)
        self.changed: dict[str, Status] = {}
        self.shape_changed = False

    def note_status(self, slot: PartSlot, body: Body, wanted: Wanted) -> None:
        """Takes what a body tells of a part; nothing told any more is unknown, not as before."""
        status = statuses.read(body, self.findings, wanted.uri, pointer(*slot.steps)) or Status()
        part = self._ids[slot.position]
        status = statuses.settled(status, self.statuses.get(part))
        if status != self.statuses.get(part):
            self.statuses[part] = self.changed[part] = status

    def match(self, plan: Plan, names: list[Any]) -> Sequence[int | None]:
        """Where in an expanded collection each wanted member stands, by its name; members come or gone are noted."""
        if names == plan.names:
            return range(len(names))
        at: dict[str, int] = {}
        for index, name in enumerate(names):
            at.setdefault(links.key(name) if isinstance(name, str) else "", index)
        found = [at.pop(links.key(wanted.name), None) for wanted in plan.wanted]
        if at or None in found:
            self.shape_changed = True
        return found

    def blame_bare(self, plan: Plan) -> None:
        """Notes that a GET no longer brings what it brought to the walk."""
        at, what = ("/Members", "members come as links only") if plan.fetch.expanded else ("", "the body tells nothing")
        detail = f"{what} where the walk was told more; a new walk is asked for"
        self.findings.add(plan.fetch.path, at, DefectKind.MISSING, detail)
        self.shape_changed = True
