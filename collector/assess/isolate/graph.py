"""The dependency graph of parts over all controllers: told parts, what several controllers tell of one place, and the
parts that nobody tells of: switches, cables, boards, air paths, feeds.

Nothing is compiled before a sign asks for it, and then for one sled, one rack or one switch: the fleet is never walked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from msgspec import Struct, structs

from collector.assess.isolate.sheet import MOST_NOTES, Sheet
from collector.assess.isolate.words import Role
from collector.assess.place_merge import Merged
from collector.model import Defect, DefectKind, Identity, Inventory, Kind, Location, Part, Quantity

Anchor = tuple[str, str]
"""(controller, part id)."""
Rack = tuple[str | None, str | None, str]
"""(site, row, rack)."""
_LIQUID = (Kind.PUMP, Kind.COOLANT_LOOP, Kind.LEAK_DETECTOR, Kind.COOLING_UNIT)
_FEEDERS = (Kind.POWER_FEED, Kind.CIRCUIT, Kind.OUTLET)
_SHARED_KINDS = (Kind.RACK, Kind.ENCLOSURE, Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.POWER_SUPPLY)
MOST_TOGETHER = 4
"""Contradictions about one part that are told in one go."""
_WORD = re.compile(r"[\w.-]+")


class Node(Struct, frozen=True, kw_only=True):
    """A part that can fail."""

    id: str
    role: Kind | Role
    kind: Kind
    name: str
    controller: str | None = None
    location: Location = Location()
    identity: Identity = Identity()
    anchors: tuple[Anchor, ...] = ()
    """The told parts from which it is seen where its signs would show; of a told part, itself."""
    feeds: tuple[Anchor, ...] = ()
    """Sleds that it powers, beside what links tell."""
    sensed: bool = False


class Graph:
    """The newest walk of every controller. Not thread-safe."""

    def __init__(self) -> None:
        self._sheets: dict[str, Sheet] = {}
        self._rack_of: dict[str, Rack | None] = {}
        self._in_rack: dict[Rack, set[str]] = {}
        self._at_switch: dict[str, dict[Anchor, str | None]] = {}
        """By the switch's name for itself: the ports that hear it, each with the switch's port."""
        self._hears: dict[Anchor, str] = {}
        self._named: dict[str, dict[str | None, None]] = {}
        self._data_switch: dict[Rack, str | None] = {}
        self._notes: dict[str, tuple[Defect, ...]] = {}
        self._disputes: dict[Rack, dict[str, tuple[Defect, ...]]] = {}
        """By rack, then by controller: in what it contradicts another one of the rack."""
        self._one: dict[Rack, dict[str, str]] = {}
        self._tellers: dict[Rack, dict[str, tuple[Anchor, ...]]] = {}
        """By rack, then by the id under which a part fails: all that tell of it, where several do."""

    # What walks bring

    def take(self, inventory: Inventory) -> bool:
        """A walk; says whether it changed anything that isolation knows."""
        name = inventory.controller
        before = self._sheets.get(name)
        if before is not None and before.same(inventory):
            return False
        if before is not None:
            self._forget(before)
        heard = inventory.neighbours if before is None else before.heard_still(inventory)
        sheet = self._sheets[name] = Sheet(inventory, heard)
        rack = self._rack_of[name] = next(
            (
                (part.location.site, part.location.row, part.location.rack)
                for part in sheet.parts
                if part.location.rack is not None
            ),
            None,
        )
        if rack is not None:
            self._in_rack.setdefault(rack, set()).add(name)
        for told in sheet.neighbours:
            port = (name, told.part)
            self._hears[port] = told.chassis
            self._named.setdefault(told.chassis, {})[told.name] = None
            self._at_switch.setdefault(told.chassis, {})[port] = told.port
        self._notes.pop(name, None)
        self._stale(rack)
        return True

    def _forget(self, sheet: Sheet) -> None:
        rack = self._rack_of.get(sheet.controller)
        if rack is not None:
            self._in_rack[rack].discard(sheet.controller)
            self._stale(rack)
        for told in sheet.neighbours:
            port = (sheet.controller, told.part)
            self._hears.pop(port, None)
            ports = self._at_switch.get(told.chassis, {})
            ports.pop(port, None)
            if not ports:
                self._at_switch.pop(told.chassis, None)

    def _stale(self, rack: Rack | None) -> None:
        if rack is not None:
            self._disputes.pop(rack, None)
            self._one.pop(rack, None)
            self._tellers.pop(rack, None)
            self._data_switch.pop(rack, None)

    # What is known

    def sheet(self, controller: str) -> Sheet | None:
        """One controller's parts; None before its first walk."""
        return self._sheets.get(controller)

    def rack_of(self, controller: str) -> Rack | None:
        """The rack that a controller's parts are in, as labelled."""
        return self._rack_of.get(controller)

    def switch_of(self, port: Anchor) -> str | None:
        """What the switch at a port's other end calls itself; where it hears none, the only one of its rack."""
        heard = self._hears.get(port)
        rack = self._rack_of.get(port[0])
        return heard if heard is not None or rack is None else self.data_switch_of(rack)

    def notes_of(self, controller: str) -> tuple[Defect, ...]:
        """What a controller tells that can't be so: of its own parts, and beside what others of its rack tell."""
        sheet, rack = self._sheets.get(controller), self._rack_of.get(controller)
        if sheet is None:
            return ()
        if controller not in self._notes:
            self._notes[controller] = sheet.notes()
        if rack is None or len(self._in_rack[rack]) < 2:
            return self._notes[controller]
        if rack not in self._disputes:
            self._merge(rack)
        return (*self._notes[controller], *self._disputes[rack].get(controller, ()))

    def one(self, controller: str, part: str) -> str:
        """The id under which a part fails that several controllers tell of."""
        rack = self._rack_of.get(controller)
        if rack is None or len(self._in_rack.get(rack, ())) < 2:
            return part
        if rack not in self._one:
            self._merge(rack)
        return self._one[rack].get(part, part)

    def _told_by(self, controller: str, id: str) -> tuple[Anchor, ...]:
        """All that tell of a part, where several controllers do: what either shows of it, or doesn't, is evidence."""
        rack = self._rack_of.get(controller)
        return () if rack is None else self._tellers.get(rack, {}).get(id, ())

    def beside(self, controller: str) -> frozenset[str]:
        """The other controllers that tell of a part that this one tells of."""
        rack = self._rack_of.get(controller)
        if rack is None or len(self._in_rack[rack]) < 2:
            return frozenset()
        if rack not in self._tellers:
            self._merge(rack)
        groups = ({name for name, _ in tellers} for tellers in self._tellers[rack].values())
        return frozenset(name for group in groups if controller in group for name in group) - {controller}

    def _merge(self, rack: Rack) -> None:
        parts = [
            part
            for name in sorted(self._in_rack[rack])
            for part in self._sheets[name].parts
            if part.kind in _SHARED_KINDS
        ]
        merged = Merged(parts)
        self._one[rack] = {
            part.id: tellers[0].id for tellers in merged.nodes.values() if len(tellers) > 1 for part in tellers[1:]
        }
        self._tellers[rack] = {
            tellers[0].id: tuple((part.controller, part.id) for part in tellers)
            for tellers in merged.nodes.values()
            if len(tellers) > 1
        }
        by_id = {part.id: part for part in parts}
        said: dict[str, list[str]] = {}
        for told in merged.contradictions:
            for id in told.parts:
                said.setdefault(id, []).append(told.text)
        found: dict[str, list[Defect]] = {}
        for id, texts in said.items():
            part = by_id[id]
            detail = "; ".join(dict.fromkeys(texts[:MOST_TOGETHER]))
            found.setdefault(part.controller, []).append(
                Defect(
                    controller=part.controller,
                    resource=part.uri,
                    property="",
                    kind=DefectKind.CONTRADICTION,
                    detail=detail,
                )
            )
        self._disputes[rack] = {name: tuple(notes[:MOST_NOTES]) for name, notes in found.items()}

    # Who can fail

    def nodes_of(self, controller: str) -> Iterator[Node]:
        """Everything of one controller that can fail, told or assumed."""
        sheet = self._sheets.get(controller)
        if sheet is None:
            return
        shared = self._rack_of.get(controller) is not None
        for part in sheet.parts:
            if not (shared and part.kind in _FEEDERS):
                yield self._told(sheet, part)
        yield from self._assumed(sheet)

    def feeding(self, rack: Rack) -> Iterator[Node]:
        """What controllers of a rack tell that feeds the rack: it shows in other controllers' sleds."""
        for name in sorted(self._in_rack.get(rack, ())):
            sheet = self._sheets[name]
            for part in sheet.parts:
                if part.kind in _FEEDERS:
                    yield self._told(sheet, part)

    def _told(self, sheet: Sheet, part: Part) -> Node:
        id = self.one(sheet.controller, part.id)
        return Node(
            id=id,
            role=part.kind,
            kind=part.kind,
            name=part.name,
            controller=sheet.controller,
            location=part.location,
            identity=part.identity,
            anchors=self._told_by(sheet.controller, id) or ((sheet.controller, part.id),),
            feeds=self._fed_by(sheet, part) if part.kind in _FEEDERS else (),
            sensed=part.id in sheet.sensed,
        )

    def _assumed(self, sheet: Sheet) -> Iterator[Node]:
        if sheet.speaker is not None and (part := sheet.part(sheet.speaker)) is not None:
            own = next((port for port in sheet.parts if port.kind is Kind.PORT and port.parent == part.id), part)
            yield _near(sheet, own, Role.MANAGEMENT_CABLE, Kind.CABLE, "cable")
        kinds = {part.kind for part in sheet.parts}
        if kinds & set(_FEEDERS):
            return  # a power shelf: it has neither blades nor their boards
        for base in sheet.bases:
            yield _near(sheet, base, Role.BLANKING, Kind.OTHER, "panel")
            if Kind.FILTER not in kinds:
                yield _near(sheet, base, Role.AIR_PATH, Kind.FILTER)
            yield Node(
                id=f"~{base.id}/feed",
                role=Role.FEED,
                kind=Kind.POWER_FEED,
                name=f"Power feed of {base.name}",
                location=base.location,
                anchors=((sheet.controller, base.id),),
                feeds=((sheet.controller, base.id),),
            )
            if self._is_liquid(sheet):
                carrier = self._coolant_carrier(sheet)
                if carrier is not None:
                    yield structs.replace(self._told(sheet, carrier), role=Role.COOLANT)
                else:
                    yield _near(sheet, base, Role.COOLANT, Kind.COOLANT_LOOP)
                if Kind.PUMP not in kinds:
                    yield _near(sheet, base, Role.COOLANT_PUMP, Kind.PUMP)
        liquid = self._is_liquid(sheet)
        for part in sheet.parts:
            if part.kind is Kind.PROCESSOR and liquid:
                yield structs.replace(self._told(sheet, part), role=Role.COLD_PLATE)
            elif part.kind in (Kind.DRIVE, Kind.BLADE):
                yield _near(sheet, part, Role.PLUG, Kind.CABLE, "cable")
            elif part.kind is Kind.PORT and part.parent != sheet.speaker:
                yield _near(sheet, part, Role.DATA_CABLE, Kind.CABLE, "cable")
                if (sheet.controller, part.id) not in self._hears:
                    yield _near(sheet, part, Role.SWITCH_PORT, Kind.PORT)
            elif part.kind is Kind.FILTER:
                yield structs.replace(self._told(sheet, part), role=Role.AIR_PATH)

    @staticmethod
    def _coolant_carrier(sheet: Sheet) -> Part | None:
        """The told part that carries the sled's coolant, where one is told: its connectors, its loop."""
        for sensor in sheet.layout.sensors:
            part = sheet.part(sensor.part) if sensor.quantity is Quantity.LIQUID_FLOW else None
            if part is not None and part.kind in (Kind.OTHER, Kind.COOLANT_LOOP):
                return part
        return None

    @staticmethod
    def _is_liquid(sheet: Sheet) -> bool:
        return any(part.kind in _LIQUID for part in sheet.parts) or any(
            sensor.quantity is Quantity.LIQUID_FLOW for sensor in sheet.layout.sensors
        )

    def rack_nodes(self, rack: Rack) -> Iterator[Node]:
        """What a rack's controllers share and none of them tells of."""
        names = sorted(self._in_rack.get(rack, ()))
        if len(names) < 2:
            return
        where = Location(site=rack[0], row=rack[1], rack=rack[2])
        key = "/".join(step or "" for step in rack)
        bases = [(name, base) for name in names for base in self._sheets[name].bases]
        anchors = tuple((name, base.id) for name, base in bases)
        known = {self._switch_name(told) for name in names for told in self._managing(name)}
        yield Node(
            id=f"~{next(iter(known))}" if len(known) == 1 else f"~{key}/management switch",
            role=Role.MANAGEMENT_SWITCH,
            kind=Kind.SWITCH,
            name=f"Management switch {next(iter(known)) if len(known) == 1 else 'of rack ' + rack[2]}",
            location=where,
            anchors=anchors,
        )
        yield Node(id=f"~{key}/room", role=Role.ROOM, kind=Kind.OTHER, name="Room air", location=where, anchors=anchors)
        fed = {anchor for name in names for anchor in self._told_feeds(name)}
        open_ends = [(name, base) for name, base in bases if (name, base.id) not in fed and not self._is_shelf(name)]
        by_enclosure: dict[str | None, list[Anchor]] = {None: [(name, base.id) for name, base in open_ends]}
        for name, base in open_ends:
            if base.location.enclosure is not None:
                by_enclosure.setdefault(base.location.enclosure, []).append((name, base.id))
        if not any(self._is_shelf(name) for name in names):
            for enclosure, ends in by_enclosure.items():
                if len(ends) > 1 and (enclosure is None or len(ends) < len(open_ends)):
                    yield Node(
                        id=f"~{key}/{enclosure or ''}/feed",
                        role=Role.FEED,
                        kind=Kind.POWER_FEED,
                        name=f"Power feed of {'rack ' + rack[2] if enclosure is None else 'enclosure ' + enclosure}",
                        location=where,
                        anchors=tuple(ends),
                        feeds=tuple(ends),
                    )

    def _managing(self, controller: str) -> list[str]:
        """The switches that a controller's own port hears."""
        sheet = self._sheets[controller]
        own = {part.id for part in sheet.parts if part.kind is Kind.PORT and part.parent == sheet.speaker}
        return [told.chassis for told in sheet.neighbours if told.part in own]

    def _switch_name(self, chassis: str) -> str:
        return next((name for name in self._named.get(chassis, ()) if name), chassis)

    def _deaf_ports(self, chassis: str) -> Iterator[Anchor]:
        """Ports that hear nobody, in racks where all that hear a switch hear this one: assumed to hang on it too."""
        for rack in {self._rack_of.get(controller) for controller, _ in self._at_switch.get(chassis, {})}:
            if rack is None or self.data_switch_of(rack) != chassis:
                continue
            for name in sorted(self._in_rack[rack]):
                sheet = self._sheets[name]
                for part in sheet.parts:
                    if part.kind is Kind.PORT and part.parent != sheet.speaker and (name, part.id) not in self._hears:
                        yield (name, part.id)

    def data_switch_of(self, rack: Rack) -> str | None:
        """The one switch that the rack's adapters hear; None for none or several."""
        if rack not in self._data_switch:
            heard = {
                told.chassis
                for name in self._in_rack.get(rack, ())
                for told in self._sheets[name].neighbours
                if told.chassis not in self._managing(name)
            }
            self._data_switch[rack] = heard.pop() if len(heard) == 1 else None
        return self._data_switch[rack]

    def switch_nodes(self, chassis: str) -> Iterator[Node]:
        """A network switch that ports hear, and its ports."""
        ports = self._at_switch.get(chassis, {})
        name = self._switch_name(chassis)
        yield Node(
            id=f"~{name}",
            role=Role.DATA_SWITCH,
            kind=Kind.SWITCH,
            name=f"Network switch {name}",
            anchors=(*sorted(ports), *self._deaf_ports(chassis)),
        )
        for anchor, port in sorted(ports.items()):
            yield Node(
                id=f"~{name}/{port or anchor[1]}",
                role=Role.SWITCH_PORT,
                kind=Kind.PORT,
                name=f"Port {port or '?'} of network switch {name}",
                anchors=(anchor,),
            )

    # Power from shelves, by location

    def _is_shelf(self, controller: str) -> bool:
        return any(part.kind in _FEEDERS for part in self._sheets[controller].parts)

    def _told_feeds(self, controller: str) -> Iterable[Anchor]:
        sheet = self._sheets[controller]
        return [anchor for part in sheet.parts if part.kind in _FEEDERS for anchor in self._fed_by(sheet, part)]

    def _fed_by(self, sheet: Sheet, part: Part) -> tuple[Anchor, ...]:
        """A shelf feeds its rack's sleds; an outlet that has an enclosure's label in its name, that enclosure's."""
        rack = self._rack_of.get(sheet.controller)
        if rack is None or part.kind is Kind.CIRCUIT:
            return ()  # a rack's second feed carries the rack when one is lost
        words = {word.casefold() for word in _WORD.findall(part.name)}
        every: list[Anchor] = []
        named: list[Anchor] = []
        for name in sorted(self._in_rack.get(rack, ())):
            other = self._sheets[name]
            if name == sheet.controller or self._is_shelf(name):
                continue
            for base in other.bases:
                every.append((name, base.id))
                if base.location.enclosure is not None and base.location.enclosure.casefold() in words:
                    named.append((name, base.id))
        return tuple(named if part.kind is Kind.OUTLET else every)


def _near(sheet: Sheet, part: Part, role: Role, kind: Kind, suffix: str | None = None) -> Node:
    """A part that nobody tells of, known by the told part that it belongs to: its id is that part's with a suffix."""
    return Node(
        id=f"~{part.id}/{suffix or role.value}",
        role=role,
        kind=kind,
        name=f"{role.value.capitalize()} of {part.name}",
        location=part.location,
        anchors=((sheet.controller, part.id),),
    )
