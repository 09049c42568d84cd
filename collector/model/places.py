"""Where a part is, filled in from what contains it and from the fleet file; the front that a controller shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

import msgspec
from msgspec import Struct

from collector.model.parts import Location, Part
from collector.model.words import Health, Kind

_FRONTS = (Kind.SLED, Kind.ENCLOSURE, Kind.RACK)
_STEPS = ("site", "row", "rack", "offset", "offset_unit", "enclosure", "sled", "slot", "slot_index")
_DEEPEST = 32
"""Containment deeper than this is followed no further: what a controller says may be a circle."""


class Placed(Protocol):
    """A controller, and where the fleet file says it is."""

    @property
    def controller(self) -> str:
        """Its name."""

    @property
    def location(self) -> Location:
        """As the fleet file has it."""


class Places:
    """The parts of some controllers by id, with their places."""

    def __init__(self, parts: Iterable[Part], controllers: Iterable[Placed] = ()) -> None:
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
        return _merged(told)

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


def label_told(part: Part) -> str:
    """What stands on the part's sticker, as told: its slot or sled label, else its name. Not safe to show as it is."""
    told = part.name
    if part.kind is Kind.BLADE and part.location.slot:
        told = part.location.slot
    elif part.kind is Kind.SLED and part.location.sled:
        told = part.location.sled
    return told or part.kind.value


class Slot(Struct, frozen=True, array_like=True):
    """A blade in a front: id, label as told, slot number (0-based), width and height in mm where told."""

    part: str
    label: str
    index: int | None = None
    width: float | None = None
    height: float | None = None


class Front(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is drawn of a controller: changes only when a walk finds other parts."""

    part: str | None = None
    """Id; None where the controller has told of no part."""
    label: str = ""
    """As told."""
    location: Location = Location()
    width: float | None = None
    """mm, as told."""
    height: float | None = None
    holds: str = "sled"
    """What kind of thing it is: a sled where it is called one or holds blades or hosts, else by what it carries."""
    slots: tuple[Slot, ...] = ()
    roots: tuple[str, ...] = ()
    """Ids of the controller's other outermost parts: their health counts into the whole."""
    rack_height: float | None = None
    """mm; of the rack it stands in, where the controller tells one."""


class FrontHealth(Struct, frozen=True, omit_defaults=True, array_like=True):
    """How a front stands: the worst of it and in it, the outside parts (ids) it is at risk through, and its blades."""

    worst: Health = Health.UNKNOWN
    risk: tuple[str, ...] = ()
    blades: tuple[tuple[Health, tuple[str, ...], bool], ...] = ()
    """In the order of the front's slots: worst, at risk through, and whether the slot is empty."""

    @property
    def at_risk(self) -> int:
        """Blades at risk."""
        return sum(1 for _, risk, _ in self.blades if risk)


def front_of(controller: str, parts: Iterable[Part], fleet: Location) -> Front:
    """What is drawn of a controller that tells of these parts and stands where the fleet file says."""
    places = Places(parts, [_Where(controller, fleet)])
    part = places.front(controller)
    if part is None:
        return Front(location=fleet)
    own = places.of_controller.get(controller, [])
    at = places.location(part)
    return Front(
        part=part.id,
        label=label_told(part),
        location=at,
        width=part.size.width,
        height=part.size.height,
        holds=holds(part.kind, {each.kind for each in own}),
        slots=tuple(
            Slot(blade.id, label_told(blade), blade.location.slot_index, blade.size.width, blade.size.height)
            for blade in places.blades(controller)
        ),
        roots=tuple(each.id for each in own if each.id != part.id and each.parent not in places.parts),
        rack_height=next(
            (
                each.size.height
                for each in own
                if each.kind is Kind.RACK and each.size.height is not None and _same_rack(places.location(each), at)
            ),
            None,
        ),
    )


def holds(front: Kind, kinds: set[Kind]) -> str:
    """What stands there: a sled where it is called one or holds blades or hosts, else a shelf by what it carries."""
    if front in (Kind.SLED, Kind.BLADE) or kinds & {Kind.BLADE, Kind.HOST}:
        return "sled"
    return "power shelf" if kinds & {Kind.POWER_SUPPLY, Kind.POWER_FEED} else front.value


class _Where(Struct, frozen=True):
    controller: str
    location: Location


def _same_rack(one: Location, other: Location) -> bool:
    return (one.site, one.row, one.rack) == (other.site, other.row, other.rack)


def _merged(told: list[Location]) -> Location:
    merged: Mapping[str, object] = {
        step: next((value for each in told if (value := getattr(each, step)) is not None), None) for step in _STEPS
    }
    return msgspec.convert(merged, Location)


def _slot_order(part: Part) -> tuple[int, str, str]:
    index = part.location.slot_index
    return (index if index is not None else 1 << 30, part.location.slot or "", part.id)
