"""One controller's parts as isolation sees them: who stands where to whom, and what is wrong with how that is told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

from collector.assess.isolate.words import Where
from collector.assess.tree import Tree
from collector.assess.words import clip
from collector.model import (
    Defect,
    DefectKind,
    Inventory,
    Kind,
    Link,
    Neighbour,
    Part,
    Quantity,
    Sensor,
    Thresholds,
    Why,
)

_SLEDS = (Kind.SLED,)
_BLADES = (Kind.BLADE, Kind.MODULE)
NONE = Thresholds()
MOST_NOTES = 20
"""Defects that are told of one controller's tree."""
_LIMITED = (Quantity.TEMPERATURE, Quantity.VOLTAGE, Quantity.ROTATION, Quantity.SPEED_RATIO)
"""Quantities that are watched by thresholds first of all."""
NO_THRESHOLDS = (
    "no temperature, voltage or speed comes with a threshold: what is beyond one shows only where comparison with its "
    "past or its peers gives it away, later and less surely"
)


class Sheet:
    """Built with a walk; the tree in it only when something is wrong there: most controllers never need it."""

    def __init__(self, inventory: Inventory, neighbours: Iterable[Neighbour] | None = None) -> None:
        self.controller = inventory.controller
        self.parts = inventory.parts
        self.links = inventory.links
        self.neighbours = inventory.neighbours if neighbours is None else tuple(neighbours)
        self.layout = inventory.layout
        self.unlimited = _unlimited(inventory.layout.sensors)

    def heard_still(self, inventory: Inventory) -> tuple[Neighbour, ...]:
        """The neighbours of a newer walk, and for ports that hear nobody now, those that they heard before: who is at
        the other end of a cable matters most when it is silent."""
        heard = {told.part for told in inventory.neighbours}
        parts = {part.id for part in inventory.parts}
        before = (told for told in self.neighbours if told.part in parts and told.part not in heard)
        return (*inventory.neighbours, *before)

    def same(self, inventory: Inventory) -> bool:
        """Whether a walk found what the last one found."""
        return (
            self.parts == inventory.parts
            and self.links == inventory.links
            and not set(inventory.neighbours) - set(self.neighbours)
            and len(self.layout.sensors) == len(inventory.layout.sensors)
            and self.unlimited == _unlimited(inventory.layout.sensors)
        )

    @cached_property
    def tree(self) -> Tree:
        """What holds what."""
        return Tree(self.parts, self.links)

    @cached_property
    def sensed(self) -> frozenset[str]:
        """Ids of the parts that carry a sensor."""
        return frozenset(sensor.part for sensor in self.layout.sensors)

    @cached_property
    def speaker(self) -> str | None:
        """Id of the part that stands for the controller itself."""
        return self.parts[self.tree.speakers[0]].id if self.parts and self.tree.speakers else None

    @cached_property
    def bases(self) -> tuple[Part, ...]:
        """The sleds; where none is told, the outermost parts."""
        sleds = tuple(part for part in self.parts if part.kind in _SLEDS)
        return sleds or tuple(self.parts[at] for at in self.tree.roots)

    @cached_property
    def _base_ids(self) -> frozenset[str]:
        return frozenset(part.id for part in self.bases)

    @cached_property
    def _powered(self) -> dict[str, list[str]]:
        return self._reverse(Why.POWERED_BY)

    @cached_property
    def _suppliers(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for link in self.links:
            if link.why is Why.POWERED_BY and link.part != link.on:
                found.setdefault(link.part, set()).add(link.on)
        return found

    def _reverse(self, why: Why) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for link in self.links:
            if link.why is why and link.part != link.on and link.part in self.tree.at:
                found.setdefault(link.on, []).append(link.part)
        return found

    def part(self, id: str) -> Part | None:
        """A part by its id."""
        at = self.tree.at.get(id)
        return None if at is None else self.parts[at]

    def base_of(self, id: str) -> str | None:
        """The sled that a part is in, or is."""
        return self._nearest(id, self._base_ids)

    def _nearest(self, id: str, among: Iterable[str]) -> str | None:
        at = self.tree.at.get(id)
        if at is None:
            return None
        outermost = id
        for step in (at, *self.tree.ancestors(at)):
            outermost = self.parts[step].id
            if outermost in among:
                return outermost
        return outermost

    def _within(self, id: str) -> list[Part]:
        at = self.tree.at.get(id)
        return [] if at is None else [self.parts[each] for each in self.tree.within(at)]

    def near(self, id: str, where: Where, kinds: Sequence[Kind] = ()) -> list[str]:
        """Ids of the parts that stand so to this one."""
        found = [part for part in self._near(id, where) if not kinds or part.kind in kinds]
        return list(dict.fromkeys(part.id for part in found))

    def _near(self, id: str, where: Where) -> list[Part]:
        at = self.tree.at.get(id)
        if at is None:
            return []
        part = self.parts[at]
        match where:
            case Where.ITSELF:
                return [part]
            case Where.HOLDERS:
                return [self.parts[each] for each in self.tree.ancestors(at)]
            case Where.SLED:
                return self._named(self.base_of(id))
            case Where.BLADE:
                chain = (at, *self.tree.ancestors(at))
                blade = next((each for each in chain if self.parts[each].kind in _BLADES), None)
                return [self.parts[blade]] if blade is not None else []
            case Where.INSIDE:
                return self._within(id)[1:]
            case Where.AROUND:
                base = self.base_of(id)
                return [] if base is None else self._within(base)
            case Where.PEERS:
                parent = self.tree.parent[at]
                beside = self.tree.children[parent] if parent >= 0 else self.tree.roots
                return [self.parts[each] for each in beside if each != at and self.parts[each].kind is part.kind]
            case Where.COOLERS:
                return [each for each in self._near(id, Where.AROUND) if each.kind is Kind.FAN]
            case Where.FED:
                return [each for fed in self._powered.get(id, ()) for each in self._named(fed)]
            case Where.FED_INSIDE:
                return [each for fed in self._powered.get(id, ()) for each in self._within(fed)[1:]]
            case Where.ONLY_FED:
                alone = [fed for fed in self._powered.get(id, ()) if self._suppliers.get(fed) == {id}]
                return [each for fed in alone for each in self._named(fed)]
            case Where.CONTROLLER:
                return self._named(self.speaker)

    def _named(self, id: str | None) -> list[Part]:
        part = None if id is None else self.part(id)
        return [] if part is None else [part]

    def notes(self) -> tuple[Defect, ...]:
        """What in the tree and the links can't be so, or leads nowhere, and what is missing: isolation does without."""
        found: list[Defect] = []
        known = {part.id for part in self.parts}
        # made for this alone: to keep it takes room, and most controllers never need it again
        parent = (self.__dict__.get("tree") or Tree(self.parts)).parent
        for at, part in enumerate(self.parts):
            if part.parent is None or parent[at] >= 0:
                continue
            kind = DefectKind.LINK_LOOP if part.parent in known else DefectKind.DANGLING_LINK
            words = "is told to be inside itself" if part.parent in known else "is told to be in a part that is missing"
            found.append(self._note(part, kind, f"{clip(part.name)} {words}"))
        for link in self.links:
            missing = [end for end in (link.part, link.on) if end not in known]
            if missing:
                text = f"{link.why.value}: a link leads to a part that is not there"
                found.append(self._note_of(link.part, DefectKind.DANGLING_LINK, text))
        for circle in _circles(self.links):
            text = f"parts are told to depend on each other in a circle ({len(circle)} of them)"
            found.append(self._note_of(circle[0], DefectKind.LINK_LOOP, text))
        if self.unlimited and self.parts:
            found.insert(0, self._note(self.parts[0], DefectKind.MISSING, NO_THRESHOLDS))
        return tuple(found[:MOST_NOTES])

    def _note(self, part: Part, kind: DefectKind, detail: str) -> Defect:
        return Defect(controller=self.controller, resource=part.uri, property="", kind=kind, detail=detail)

    def _note_of(self, id: str, kind: DefectKind, detail: str) -> Defect:
        uri = id.removeprefix(self.controller + ":")
        return Defect(controller=self.controller, resource=uri, property="", kind=kind, detail=detail)


def _unlimited(sensors: Sequence[Sensor]) -> bool:
    """Whether there are sensors that want thresholds, and none has any."""
    limited = [sensor.thresholds for sensor in sensors if sensor.quantity in _LIMITED]
    return bool(limited) and all(each == NONE for each in limited)


def _circles(links: Iterable[Link]) -> list[list[str]]:
    """Circles of dependency of one sort, each once: what is left when all that leads nowhere has been taken away."""
    found = []
    for why in Why:
        needs: dict[str, set[str]] = {}
        for link in links:
            if link.why is why:
                needs.setdefault(link.part, set()).add(link.on)
        shrinking = True
        while shrinking:
            ends = [part for part, on in needs.items() if not any(each in needs for each in on)]
            shrinking = bool(ends)
            for part in ends:
                del needs[part]
        if needs:
            found.append(sorted(needs))
    return found
