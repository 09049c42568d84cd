"""Health rolled up: own trouble kept apart from contained trouble, and both from what a shared part puts at risk.

A dead shared fan makes the fan's own health Critical and the sled that contains it Critical at worst; the four blades
that it cools are at risk through it and otherwise as well as they were. :class:`Rollup` does this for one controller's
parts and only where something changed; :func:`by_place` goes on beyond controllers, by what the labels say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache

from msgspec import Struct

from collector.assess.tree import Tree
from collector.model import Health, Kind, Location, Part, Rolled, worst


@lru_cache(maxsize=1024)
def _rolled(own: Health, worst_health: Health, open_conditions: int) -> Rolled:
    """One object for the many parts that look alike."""
    return Rolled(own=own, worst=worst_health, open_conditions=open_conditions)


class Rollup:
    """The rolled-up health of the parts of one tree. Everything is unknown until :meth:`update` tells.

    ``before`` is the rollup of the tree as it was before a new walk: what it told is not told again.
    """

    def __init__(self, tree: Tree, before: Rollup | None = None) -> None:
        self._tree = tree
        size = len(tree.parts)
        self._own = [Health.UNKNOWN] * size
        self._worst = [Health.UNKNOWN] * size
        self._open_here = [0] * size
        self._open_within = [0] * size
        self._through: dict[int, tuple[int, ...]] = {}
        """By part at risk: the parts in trouble that it depends on."""
        self._in_trouble: dict[int, bool] = {}
        """Parts in trouble, own or contained, and whether it is their own."""
        told: dict[str, Rolled] = {} if before is None else before._told
        self._told: dict[str, Rolled] = {part.id: told[part.id] for part in tree.parts if part.id in told}

    def update(self, changes: Mapping[int, tuple[Health, int]]) -> dict[str, Rolled]:
        """Take own health and number of own open conditions of some parts; say which parts' rollup changed, by id."""
        dirty: set[int] = set()
        for position, (own, open_here) in changes.items():
            self._own[position] = own
            if more := open_here - self._open_here[position]:
                self._open_here[position] = open_here
                for outer in (position, *self._tree.ancestors(position)):
                    self._open_within[outer] += more
                    dirty.add(outer)
            dirty.add(position)
            self._worst_upwards(position, dirty)
        if changes:
            self._spread_risk(dirty)
        return self._changed(dirty)

    def all(self) -> dict[str, Rolled]:
        """Every part's rollup, by id."""
        return {part.id: self.of(position) for position, part in enumerate(self._tree.parts)}

    def of(self, position: int) -> Rolled:
        """One part's rollup."""
        own, worst_health, count = self._own[position], self._worst[position], self._open_within[position]
        if (through := self._through.get(position)) is None:
            return _rolled(own, worst_health, count)
        ids = tuple(self._tree.parts[cause].id for cause in through)
        return Rolled(own=own, worst=worst_health, at_risk_through=ids, open_conditions=count)

    def _worst_upwards(self, position: int, dirty: set[int]) -> None:
        while position >= 0:
            now = max((self._worst[child] for child in self._tree.children[position]), default=Health.UNKNOWN)
            now = max(now, self._own[position])
            if now is self._worst[position]:
                return
            self._worst[position] = now
            dirty.add(position)
            position = self._tree.parent[position]

    def _spread_risk(self, dirty: set[int]) -> None:
        in_trouble = {position: own for position, own in self._in_trouble.items() if position not in dirty}
        for position in dirty:
            if self._worst[position] >= Health.WARNING:
                in_trouble[position] = self._own[position] >= Health.WARNING
        if in_trouble == self._in_trouble:
            return
        self._in_trouble = in_trouble
        through: dict[int, list[int]] = {}
        for position in sorted(in_trouble):
            for affected in self._tree.affected_by(position):
                if in_trouble[position] or position not in self._tree.ancestors(affected):  # not its own trouble back
                    through.setdefault(affected, []).append(position)
        before, self._through = self._through, {part: tuple(causes) for part, causes in through.items()}
        dirty |= {part for part in before.keys() | through.keys() if before.get(part) != self._through.get(part)}

    def _changed(self, dirty: Iterable[int]) -> dict[str, Rolled]:
        changed = {}
        for position in sorted(dirty):
            rolled = self.of(position)
            part = self._tree.parts[position].id
            if rolled != self._told.get(part):
                self._told[part] = changed[part] = rolled
        return changed


class Place(Struct, frozen=True):
    """A stretch of the label path: site / row / rack / enclosure, as far down as it goes; None is not told."""

    site: str | None = None
    row: str | None = None
    rack: str | None = None
    enclosure: str | None = None

    @property
    def text(self) -> str:
        """One line, widest first; "" where nothing is told."""
        return " / ".join(step for step in (self.site, self.row, self.rack, self.enclosure) if step)


class PlaceHealth(Struct, frozen=True, kw_only=True):
    """What is in one place, rolled up. Every part counts in one place only: its own label's, else its parent's."""

    place: Place
    worst: Health
    open_conditions: int
    outermost: tuple[str, ...]
    """Ids of the parts there that no other part there contains, lowest rack offset first."""
    blades: Mapping[Health, int]
    """Number of blades by their worst health."""
    blades_at_risk: int
    """Blades without trouble of their own that depend on a part in trouble."""


def by_row(parts: Iterable[Part], rolled: Mapping[str, Rolled]) -> dict[Place, PlaceHealth]:
    """Rolled up by site and row."""
    return by_place(parts, rolled, lambda at: Place(at.site, at.row))


def by_rack(parts: Iterable[Part], rolled: Mapping[str, Rolled]) -> dict[Place, PlaceHealth]:
    """Rolled up by site, row and rack; ``rolled`` by part id, parts missing in it are unknown."""
    return by_place(parts, rolled, lambda at: Place(at.site, at.row, at.rack))


def by_enclosure(parts: Iterable[Part], rolled: Mapping[str, Rolled]) -> dict[Place, PlaceHealth]:
    """Rolled up by site, row, rack and enclosure."""
    return by_place(parts, rolled, lambda at: Place(at.site, at.row, at.rack, at.enclosure))


def by_place(
    parts: Iterable[Part], rolled: Mapping[str, Rolled], place_of: Callable[[Location], Place]
) -> dict[Place, PlaceHealth]:
    """Rolled up by any cut of the locations, over any number of controllers."""
    tree = Tree(list(parts))
    nothing = _rolled(Health.UNKNOWN, Health.UNKNOWN, 0)
    rolls = [rolled.get(part.id, nothing) for part in tree.parts]
    places: list[Place] = [Place()] * len(rolls)
    members: dict[Place, list[int]] = {}
    for position in tree.order:
        parent = tree.parent[position]
        place = place_of(tree.parts[position].location)
        places[position] = places[parent] if place == Place() and parent >= 0 else place
        members.setdefault(places[position], []).append(position)
    result = {}
    for place in sorted(members, key=_place_order):
        inside = members[place]
        blades = [rolls[position] for position in inside if tree.parts[position].kind is Kind.BLADE]
        counts = dict.fromkeys(Health, 0)
        for blade in blades:
            counts[blade.worst] += 1
        tops = [tree.parts[at] for at in inside if tree.parent[at] < 0 or places[tree.parent[at]] != place]
        result[place] = PlaceHealth(
            place=place,
            worst=worst([rolls[position].own for position in inside]),
            open_conditions=sum(_open_here(tree, rolls, position) for position in inside),
            outermost=tuple(part.id for part in sorted(tops, key=_offset_order)),
            blades=counts,
            blades_at_risk=sum(blade.worst < Health.WARNING and bool(blade.at_risk_through) for blade in blades),
        )
    return result


def _open_here(tree: Tree, rolls: list[Rolled], position: int) -> int:
    """Conditions on a part itself, from the counts that include what it contains."""
    return rolls[position].open_conditions - sum(rolls[child].open_conditions for child in tree.children[position])


def _place_order(place: Place) -> tuple[str, str, str, str]:
    return (place.site or "", place.row or "", place.rack or "", place.enclosure or "")


def _offset_order(part: Part) -> tuple[float, str]:
    return (part.location.offset if part.location.offset is not None else -1.0, part.id)
