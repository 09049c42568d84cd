"""The lamps that the fronts of one controller's parts should show, told only where they change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from collector.assess.lamps import expected_lamps, panel_of
from collector.assess.rollup import Rollup
from collector.assess.tree import Tree
from collector.model import Kind, Lamps, LampState, Status

DARK = Lamps(blue=LampState.UNKNOWN, amber=LampState.UNKNOWN)
"""Told of a front whose part went away."""


class Fronts:
    """``before`` is the same of the tree before a new walk: what it told is not told again."""

    def __init__(self, tree: Tree, before: Fronts | None = None) -> None:
        self._tree = tree
        self._hosts: dict[int, tuple[int, ...]] = {}
        """By part with a panel: the hosts that it carries directly."""
        for position, part in enumerate(tree.parts):
            hosts = tuple(child for child in tree.children[position] if tree.parts[child].kind is Kind.HOST)
            if panel_of(part.kind, bool(hosts)) is not None:
                self._hosts[position] = hosts
        told: dict[str, Lamps] = {} if before is None else before._told
        self._told: dict[str, Lamps] = {part.id: told[part.id] for part in tree.parts if part.id in told}

    @property
    def told(self) -> Mapping[str, Lamps]:
        """What was told last, by part id."""
        return self._told

    def update(self, positions: Iterable[int], statuses: Mapping[str, Status], rollup: Rollup) -> dict[str, Lamps]:
        """The lamps that changed, by part id, after the parts at these positions did."""
        affected = set(positions)
        affected |= {self._tree.parent[position] for position in affected}
        changed: dict[str, Lamps] = {}
        for position in sorted(affected & self._hosts.keys()):
            part = self._tree.parts[position]
            hosts = tuple(statuses.get(self._tree.parts[host].id) for host in self._hosts[position])
            lamps = expected_lamps(part, statuses.get(part.id), rollup.of(position), hosts=hosts)
            if lamps is None:
                if part.id not in self._told:
                    continue
                lamps = DARK
            if lamps != self._told.get(part.id):
                self._told[part.id] = changed[part.id] = lamps
        return changed
