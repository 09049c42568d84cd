"""One tree and one dependency graph a place, from what several controllers each tell of it.

A sled's controller tells the sled; the manager of its enclosure tells it too, as what is in a slot; a shelf's
controller tells the feed. Parts are one where their serial numbers say so, or their labels do and their serial numbers
don't disagree. Each keeps all who tell of it. Where they contradict each other, that is named.

What only stands on labels (the enclosure that no controller tells of) becomes a node that nobody tells.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct

from collector.assess.identity import fuller, fuller_location
from collector.assess.place_merge import LABELS, STEPS, Contradiction, Merged, label_key
from collector.assess.rollup import Place
from collector.model import Identity, Kind, Link, Location, Part

_AROUND: Mapping[Kind, tuple[Kind, ...]] = {
    Kind.RACK: (),
    Kind.ENCLOSURE: (Kind.RACK,),
    Kind.SLED: (Kind.ENCLOSURE, Kind.RACK),
    Kind.BLADE: (Kind.SLED, Kind.ENCLOSURE, Kind.RACK),
}
"""What may hold an outermost part by its labels, nearest first; all other kinds stand where a blade could."""


class Node(Struct, frozen=True, kw_only=True):
    """One thing at a place."""

    id: str
    """Id of the part as its first teller has it; of a node on labels alone, its kind and labels."""
    tellers: tuple[Part, ...]
    """All parts that are this one: first the one with the most inside it. Empty where only labels tell."""
    kind: Kind
    name: str
    location: Location
    identity: Identity
    parent: str | None
    children: tuple[str, ...]


class PlaceTree(Struct, frozen=True, kw_only=True):
    """All that is in one rack, or at one site or row where no rack is told."""

    place: Place
    roots: tuple[str, ...]
    nodes: Mapping[str, Node]
    links: tuple[Link, ...]
    """Dependencies between nodes, each once; those that lead out of the place included."""
    contradictions: tuple[Contradiction, ...]

    def within(self, node: str) -> Iterator[Node]:
        """A node and everything in it, outermost first; ``KeyError`` for one that is not here."""
        stack = [node]
        while stack:
            found = self.nodes[stack.pop()]
            yield found
            stack.extend(reversed(found.children))


def place_trees(parts: Iterable[Part], links: Iterable[Link] = ()) -> dict[Place, PlaceTree]:
    """The parts of any number of controllers, by site, row and rack in the order of their names.

    The outcome does not depend on the order of the parts.
    """
    merged = Merged(parts)
    ids = {group: tellers[0].id for group, tellers in merged.nodes.items()}
    built = _Built()
    for group, tellers in merged.nodes.items():
        parent = merged.parents.get(group)
        built.add(ids[group], tellers, None if parent is None else ids[parent])
    built.place()
    of_part = {part.id: ids[group] for group, tellers in merged.nodes.items() for part in tellers}
    return built.trees(_joined(links, of_part), [(of_part[told.parts[0]], told) for told in merged.contradictions])


class _Built:
    """The nodes while their places are found: outermost ones go into what their labels name."""

    def __init__(self) -> None:
        self._tellers: dict[str, Sequence[Part]] = {}
        self._parent: dict[str, str | None] = {}
        self._location: dict[str, Location] = {}
        self._kind: dict[str, Kind] = {}
        self._name: dict[str, str] = {}
        self._labelled: dict[tuple[Kind, tuple[str | None, ...]], str] = {}
        self._places: dict[str, Place] = {}

    def add(self, id: str, tellers: Sequence[Part], parent: str | None) -> None:
        """A node that controllers tell."""
        location = tellers[0].location
        for other in tellers[1:]:
            location = fuller_location(location, other.location)
        self._keep(id, tellers, parent, tellers[0].kind, tellers[0].name, location)

    def _keep(
        self, id: str, tellers: Sequence[Part], parent: str | None, kind: Kind, name: str, location: Location
    ) -> None:
        self._tellers[id], self._parent[id], self._kind[id], self._name[id] = tellers, parent, kind, name
        self._location[id] = location
        key = label_key(kind, location)
        if key is None:
            return
        holder = self._labelled.get((kind, key))
        if holder is None or (self._parent[holder] is not None and parent is None):
            self._labelled[kind, key] = id

    def place(self) -> None:
        """Put every outermost node into the nearest that its labels name, making those that nobody tells."""
        for id in [each for each, parent in self._parent.items() if parent is None]:
            self._parent[id] = self._around(id, self._kind[id], self._location[id])

    def _around(self, id: str, kind: Kind, location: Location) -> str | None:
        for outer in _AROUND.get(kind, _AROUND[Kind.BLADE]):
            within = _outer_location(outer, location)
            key = label_key(outer, within)
            if key is None:
                continue
            holder = self._labelled.get((outer, key))
            if holder is not None:
                if not self._is_in(holder, id):
                    return holder
                continue
            if outer is Kind.RACK:
                return None  # the tree of a rack needs no node for the rack
            label = within.sled if outer is Kind.SLED else within.enclosure
            made = f"{outer.value}:{'/'.join(step or '' for step in key)}"
            self._keep(made, (), None, outer, label or "", within)
            self._parent[made] = self._around(made, outer, within)
            return made
        return None

    def _is_in(self, id: str | None, outer: str) -> bool:
        while id is not None:
            if id == outer:
                return True
            id = self._parent[id]
        return False

    def place_of(self, id: str) -> Place:
        """Site, row and rack of a node: as its outermost container's labels say."""
        chain = []
        step: str | None = id
        while step is not None and step not in self._places:
            chain.append(step)
            step = self._parent[step]
        if step is None:
            at = self._location[chain[-1]]
            found = Place(at.site, at.row, at.rack)
        else:
            found = self._places[step]
        for each in chain:
            self._places[each] = found
        return found

    def trees(self, links: Sequence[Link], disputes: Sequence[tuple[str, Contradiction]]) -> dict[Place, PlaceTree]:
        """All trees, in the order of their places' names."""
        children: dict[str, list[str]] = {}
        for id, parent in self._parent.items():
            if parent is not None:
                children.setdefault(parent, []).append(id)
        nodes: dict[Place, dict[str, Node]] = {}
        for id in self._parent:
            inside = tuple(sorted(children.get(id, ()), key=self._order))
            nodes.setdefault(self.place_of(id), {})[id] = self._node(id, inside)
        told: dict[Place, dict[Contradiction, None]] = {}
        for id, dispute in disputes:
            told.setdefault(self.place_of(id), {})[dispute] = None
        by_place: dict[Place, list[Link]] = {}
        for link in links:
            by_place.setdefault(self.place_of(link.part), []).append(link)
        return {
            place: PlaceTree(
                place=place,
                roots=tuple(sorted((id for id in nodes[place] if self._parent[id] is None), key=self._order)),
                nodes=nodes[place],
                links=tuple(by_place.get(place, ())),
                contradictions=tuple(told.get(place, ())),
            )
            for place in sorted(nodes, key=lambda each: (each.site or "", each.row or "", each.rack or ""))
        }

    def _node(self, id: str, children: tuple[str, ...]) -> Node:
        tellers = self._tellers[id]
        identity = tellers[0].identity if tellers else Identity()
        for other in tellers[1:]:
            identity = fuller(other.identity, identity)
        return Node(
            id=id,
            tellers=tuple(tellers),
            kind=self._kind[id],
            name=self._name[id],
            location=self._location[id],
            identity=identity,
            parent=self._parent[id],
            children=children,
        )

    def _order(self, id: str) -> tuple[float, float, str]:
        """From the bottom of the rack, then by slot."""
        at = self._location[id]
        return (-1.0 if at.offset is None else at.offset, -1.0 if at.slot_index is None else at.slot_index, id)


def _joined(links: Iterable[Link], of_part: Mapping[str, str]) -> list[Link]:
    """Links between nodes, each once; one that any service tells is not assumed."""
    found: dict[tuple[str, str, str], Link] = {}
    for link in links:
        part, on = of_part.get(link.part), of_part.get(link.on)
        if part is None or on is None or part == on:
            continue
        key = (part, on, link.why.value)
        if key not in found or (found[key].assumed and not link.assumed):
            found[key] = Link(part, on, link.why, link.assumed)
    return [found[key] for key in sorted(found)]


def _outer_location(kind: Kind, at: Location) -> Location:
    """As much of a location as a container of this kind has."""
    kept = STEPS[: STEPS.index(LABELS[kind][-1]) + 1] if kind in LABELS else ()
    return Location(**{step: getattr(at, step) for step in kept})
