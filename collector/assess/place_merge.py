"""Which parts that several controllers tell are one, by serial number and by label, and what contains what then.

Names all in which those who tell of one thing contradict each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Any

from msgspec import Struct

from collector.assess.identity import compatible, differ, elsewhere, said, serial_of
from collector.assess.tree import Tree
from collector.assess.words import clip
from collector.model import Kind, Location, Part

LABELS: Mapping[Kind, tuple[str, ...]] = {
    Kind.RACK: ("rack",),
    Kind.ENCLOSURE: ("rack", "enclosure"),
    Kind.SLED: ("rack", "enclosure", "sled"),
    Kind.BLADE: ("rack", "enclosure", "sled", "slot"),
}
"""Kinds whose labels say which one it is, with those that must be told for it; the enclosure may be left out."""
STEPS = ("site", "row", "rack", "enclosure", "sled", "slot")
_MOST_TELLERS = 4
"""Controllers that may tell of one part; a serial number that more tell is no part's own."""
_COMPARED = (("manufacturer", "manufacturer"), ("model", "model"), ("part_number", "part number"))


class Dispute(StrEnum):
    """What tellers contradict each other in."""

    IDENTITY = "identity"
    LOCATION = "location"
    CONTAINER = "container"
    OCCUPANT = "occupant"
    """Two parts that are not one claim the same place."""
    SERIAL = "serial number"
    """A serial number that one controller tells of several parts, or very many tell: it joins nothing."""


class Contradiction(Struct, frozen=True):
    """Two tellings that can't both be so."""

    dispute: Dispute
    parts: tuple[str, ...]
    """Ids of the parts told."""
    text: str


class Merged:
    """The parts of any number of controllers, those that are one joined. The order of the parts makes no difference."""

    def __init__(self, parts: Iterable[Part]) -> None:
        self._parts = sorted({part.id: part for part in parts}.values(), key=lambda part: part.id)
        self._tree = Tree(self._parts)
        self._group = list(range(len(self._parts)))
        self._members: dict[int, list[int]] = {at: [at] for at in self._group}
        self.contradictions: list[Contradiction] = []
        self._size = self._sizes()
        self._join_by_serial()
        self._join_by_labels()
        self.nodes = self._nodes()
        """By group, its tellers: first the one with the most inside it."""
        self.parents = self._parents(self.nodes)
        """By group, the group that contains it as told; without circles."""

    # Who is one

    def _join_by_serial(self) -> None:
        told: dict[tuple[str, str], dict[str, list[int]]] = {}
        for at, part in enumerate(self._parts):
            serial = serial_of(part.identity)
            if serial is not None:
                told.setdefault((_role(part.kind), serial), {}).setdefault(part.controller, []).append(at)
        for (_, serial), by_controller in sorted(told.items()):
            if len(by_controller) < 2:
                continue
            single: list[int] = []
            for found in by_controller.values():
                outer = self._outermost(found)
                if len(outer) == 1:
                    single.append(outer[0])
                else:
                    text = f"serial number {clip(serial)} is told of {len(outer)} parts by one controller"
                    self._dispute(Dispute.SERIAL, outer, text)
            if len(single) > _MOST_TELLERS:
                text = f"serial number {clip(serial)} is told by {len(single)} controllers"
                self._dispute(Dispute.SERIAL, single[:_MOST_TELLERS], text)
                continue
            for later, at in enumerate(single[1:], 1):
                for other in single[:later]:
                    if self._is_same(self._parts[other], self._parts[at]):
                        self._join(other, at)

    @staticmethod
    def _is_same(one: Part, other: Part) -> bool:
        """Whether two parts of one serial number are one: by part number too, or else by not being elsewhere."""
        if not compatible(one.identity, other.identity):
            return False
        numbers = said(one.identity.part_number), said(other.identity.part_number)
        return None not in numbers or not elsewhere(_labelled(one.location), _labelled(other.location))

    def _join_by_labels(self) -> None:
        claimed: dict[tuple[Kind, tuple[str | None, ...]], dict[str, list[int]]] = {}
        for at, part in enumerate(self._parts):
            if (key := label_key(part.kind, part.location)) is not None:
                claimed.setdefault((part.kind, key), {}).setdefault(part.controller, []).append(at)
        for by_controller in claimed.values():
            claims = [each for found in by_controller.values() for each in self._outermost(found)]
            if len(by_controller) > _MOST_TELLERS:
                text = f"{len(claims)} parts are told at {clip(self._parts[claims[0]].location.text)}"
                self._dispute(Dispute.OCCUPANT, claims[:_MOST_TELLERS], text)
                continue
            for later, at in enumerate(claims[1:], 1):
                self._settle(claims[:later], at)

    def _settle(self, before: Sequence[int], at: int) -> None:
        """One more claim to a place: by one who is there already, or by a stranger."""
        part = self._parts[at]
        strangers = []
        for other in before:
            if self._find(other) == self._find(at):
                return
            there = self._parts[other]
            if _at_other_heights(there.location, part.location):
                continue  # the label is written on both
            # Of two that each tell a sled as their own, one may be the neighbour: it takes one who sees it in a slot.
            contained = there.parent is not None or part.parent is not None
            if contained and compatible(there.identity, part.identity) and not self._tells_both(other, at):
                self._join(other, at)
                return
            strangers.append(other)
        if strangers:
            text = f"{_who(self._parts[strangers[0]])} and {_who(part)} are both told at {clip(part.location.text)}"
            self._dispute(Dispute.OCCUPANT, [strangers[0], at], text)

    def _tells_both(self, one: int, other: int) -> bool:
        """Whether some controller tells both of them: then they are two."""
        tellers = {self._parts[at].controller for at in self._members[self._find(one)]}
        return any(self._parts[at].controller in tellers for at in self._members[self._find(other)])

    def _outermost(self, found: Sequence[int]) -> list[int]:
        """Of some parts of one controller, those that none of the others contains."""
        among = set(found)
        return [at for at in found if not any(outer in among for outer in self._tree.ancestors(at))]

    def _join(self, one: int, other: int) -> None:
        first, second = sorted((self._find(one), self._find(other)))
        if first == second:
            return
        for at in self._members[second]:
            self._group[at] = first
        self._members[first] += self._members.pop(second)

    def _find(self, at: int) -> int:
        return self._group[at]

    # What is in what

    def _nodes(self) -> dict[int, list[Part]]:
        """What tellers of one part contradict each other in is named."""
        nodes = {}
        for group, members in self._members.items():
            ordered = sorted(members, key=lambda at: (-self._size[at], self._parts[at].id))
            nodes[group] = [self._parts[at] for at in ordered]
            for at in ordered[1:]:
                self._compare(ordered[0], at)
        return nodes

    def _compare(self, first: int, other: int) -> None:
        one, two = self._parts[first], self._parts[other]
        for field, word in _COMPARED:
            mine, theirs = getattr(one.identity, field), getattr(two.identity, field)
            if differ(mine, theirs):
                text = f"{_who(one)}: {word} {clip(mine)} by {one.controller}, {clip(theirs)} by {two.controller}"
                self._dispute(Dispute.IDENTITY, [first, other], text)
        here, there = _labelled(one.location), _labelled(two.location)
        if elsewhere(here, there):
            text = f"{_who(one)} is at {clip(here.text)} by {one.controller}, at {clip(there.text)} by {two.controller}"
            self._dispute(Dispute.LOCATION, [first, other], text)

    def _parents(self, nodes: Mapping[int, Sequence[Part]]) -> dict[int, int]:
        parents: dict[int, int] = {}
        for group in nodes:
            told = dict.fromkeys(
                self._find(self._tree.parent[at]) for at in self._members[group] if self._tree.parent[at] >= 0
            )
            containers = [each for each in told if each != group]
            if containers:
                parents[group] = containers[0]
            for other in containers[1:]:
                parents[group] = self._inner(group, parents[group], other)
        for group in nodes:
            self._cut_circle(group, parents)
        return parents

    def _inner(self, group: int, one: int, other: int) -> int:
        """Of two containers told, the one inside the other; where neither is, the first, and that is named."""
        for inner, outer in ((one, other), (other, one)):
            above = {self._find(step) for at in self._members[inner] for step in self._tree.ancestors(at)}
            if outer in above:
                return inner
        held, first, second = (self._parts[each] for each in (group, one, other))
        text = f"{_who(held)} is told to be in {_who(first)} and in {_who(second)}"
        self._dispute(Dispute.CONTAINER, [group, one, other], text)
        return one

    @staticmethod
    def _cut_circle(group: int, parents: dict[int, int]) -> None:
        seen = {group}
        step = group
        while step in parents:
            if parents[step] in seen:
                del parents[step]
                return
            step = parents[step]
            seen.add(step)

    # Helpers

    def _sizes(self) -> list[int]:
        sizes = [1] * len(self._parts)
        for at in reversed(list(self._tree.order)):
            if self._tree.parent[at] >= 0:
                sizes[self._tree.parent[at]] += sizes[at]
        return sizes

    def _dispute(self, dispute: Dispute, parts: Sequence[int], text: str) -> None:
        self.contradictions.append(Contradiction(dispute, tuple(self._parts[at].id for at in parts), text))


def _role(kind: Kind) -> str:
    """A host tells its board's serial number, a controller now and then its sled's: neither is the board or the sled.

    What holds others has many words: one service's module is another's sled.
    """
    if kind in (Kind.HOST, Kind.CONTROLLER):
        return kind.value
    return "holder" if kind in (*LABELS, Kind.MODULE, Kind.OTHER) else kind.value


def label_key(kind: Kind, at: Location) -> tuple[str | None, ...] | None:
    """The labels that say which thing of its kind this is; None where they don't."""
    needed = LABELS.get(kind)
    if needed is None or getattr(at, needed[-1]) is None or at.rack is None:
        return None
    steps = STEPS[: STEPS.index(needed[-1]) + 1]
    return tuple(None if (told := getattr(at, step)) is None else " ".join(told.split()).casefold() for step in steps)


def _labelled(at: Location) -> Location:
    """Labels alone, as one may compare them: one teller's ordinal numbers count what another's don't."""
    told: dict[str, Any] = {
        step: " ".join(text.split()) for step in STEPS[:-1] if (text := getattr(at, step)) is not None
    }
    return Location(**told)


def _at_other_heights(one: Location, other: Location) -> bool:
    return one.offset is not None and other.offset is not None and one.offset != other.offset


def _who(part: Part) -> str:
    serial = "" if part.identity.serial is None else f" (serial {clip(part.identity.serial)})"
    return f"{part.kind.value} {clip(part.name)}{serial} of {part.controller}"
