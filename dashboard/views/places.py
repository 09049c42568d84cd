"""Where a part is and what it is called, filled in from what contains it and from the fleet file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import msgspec

from collector.model import ControllerState, Kind, Location, Part
from collector.text import plain

_FRONTS = (Kind.SLED, Kind.ENCLOSURE, Kind.RACK)
_STEPS = ("site", "row", "rack", "offset", "offset_unit", "enclosure", "sled", "slot", "slot_index")
_LONGEST = 60
"""Characters of a part's name that are shown."""
_DEEPEST = 32
"""Containment deeper than this is followed no further: what a controller says may be a circle."""


class Places:
    """The parts of some controllers by id, with their places and names."""

    def __init__(self, parts: Iterable[Part], controllers: Iterable[ControllerState] = ()) -> None:
        self.parts: dict[str, Part] = {}
        self.of_controller: dict[str, list[Part]] = {}
        for part in parts:
            self.parts[part.id] = part
            self.of_controller.setdefault(part.controller, []).append(part)
        self._fleet = {state.controller: state.location for state in controllers}
        self._front: dict[str, Part | None] = {}

    def lineage(self, part: Part) -> list[Part]:
        """The part and what contains it, innermost first."""
        found = [part]
        while len(found) < _DEEPEST and found[-1].parent is not None:
            outer = self.parts.get(found[-1].parent)
            if outer is None or outer in found:
                break
            found.append(outer)
        return found

    def location(self, part: Part) -> Location:
        """The part's place; steps that it does not tell come from what contains it, then from the fleet file."""
        told = [each.location for each in self.lineage(part)]
        if (fleet := self._fleet.get(part.controller)) is not None:
            told.append(fleet)
        merged = {
            step: next((value for each in told if (value := getattr(each, step)) is not None), None) for step in _STEPS
        }
        return msgspec.convert(merged, Location)

    def controller_place(self, controller: str) -> Location:
        """Where the things are that a controller tells of: its outermost sled's place, else the fleet file's."""
        front = self.front(controller)
        if front is not None:
            return self.location(front)
        return self._fleet.get(controller, Location())

    def front(self, controller: str) -> Part | None:
        """The part whose front is drawn for a controller: its sled, else its blades' holder, else an outermost."""
        if controller not in self._front:
            self._front[controller] = self._find_front(controller)
        return self._front[controller]

    def blades(self, controller: str) -> list[Part]:
        """The blades that a controller tells of, in the order of their slots."""
        found = [part for part in self.of_controller.get(controller, ()) if part.kind is Kind.BLADE]
        return sorted(found, key=_slot_order)

    def within(self, controller: str, part_id: str) -> list[Part]:
        """Everything inside a part, in the order told."""
        return [
            part
            for part in self.of_controller.get(controller, ())
            if part.id != part_id and any(outer.id == part_id for outer in self.lineage(part)[1:])
        ]

    def _find_front(self, controller: str) -> Part | None:
        parts = self.of_controller.get(controller, [])
        for kind in _FRONTS:
            for part in parts:
                if part.kind is kind:
                    return part
        holders = [part.parent for part in parts if part.kind is Kind.BLADE and part.parent in self.parts]
        if holders and holders[0] is not None:
            return self.parts[holders[0]]
        chassis = [part for part in parts if part.kind not in (Kind.HOST, Kind.CONTROLLER)]
        return next((part for part in chassis or parts if part.parent not in self.parts), None)


def label(part: Part) -> str:
    """What stands on the part's sticker, as far as told: its slot or sled label, else its name."""
    told = part.name
    if part.kind is Kind.BLADE and part.location.slot:
        told = part.location.slot
    elif part.kind is Kind.SLED and part.location.sled:
        told = part.location.sled
    return plain(told or part.kind.value, _LONGEST)


def named(part: Part) -> str:
    """A part's name with its kind, unless the name says the kind already."""
    name = label(part)
    return name if part.kind.value.lower() in name.lower() else f"{name} ({part.kind.value})"


def without_name(text: str, part: Part | None) -> str:
    """A text about a part, without the part's name at its beginning and the full stop at its end."""
    if part is not None:
        for name in {part.name, label(part)}:
            if name and text.lower().startswith(f"{name.lower()}: "):
                text = text[len(name) + 2 :]
                break
    return text.rstrip().removesuffix(".")


def names_of(ids: Iterable[str], parts: Mapping[str, Part]) -> tuple[str, ...]:
    """Labels of some parts; the id's tail for one that is not known."""
    return tuple(label(parts[each]) if each in parts else tail_of(each) for each in ids)


def tail_of(part: str) -> str:
    """What an id alone tells of a part: its tail."""
    return part.rsplit("/", 1)[-1]


def _slot_order(part: Part) -> tuple[int, str, str]:
    index = part.location.slot_index
    return (index if index is not None else 1 << 30, part.location.slot or "", part.id)
