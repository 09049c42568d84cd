"""Faults: one part failing in one way, with everything that it would show, part by part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from collector.assess.isolate.computing import HEAT_SINK, LOOSE_PLATE
from collector.assess.isolate.failures import HOURS, NEVER_CHARGED, modes_of
from collector.assess.isolate.graph import Anchor, Graph, Node
from collector.assess.isolate.words import Mode, Role, Where
from collector.model import Kind, Location, Sign

Spot = tuple[str, str, Sign]
"""(controller, part id, sign): what is present, visibly not there, or unknown."""
_FED = {Where.FED: Where.ITSELF, Where.FED_INSIDE: Where.INSIDE, Where.ONLY_FED: None}


class Fault(Struct, frozen=True, kw_only=True, eq=False):
    """A part that has failed in one way."""

    node: Node
    mode: Mode
    prior: float
    shows: Mapping[Spot, float]

    @property
    def key(self) -> str:
        """The same fault, the same key, however often it is compiled."""
        return f"{self.node.id} {self.mode.name}"


class Faults:
    """All that may have failed, compiled where a sign asks for it and kept until a walk changes it."""

    def __init__(self, graph: Graph) -> None:
        self._graph = graph
        self._rooms: dict[object, Mapping[Spot, list[Fault]]] = {}
        """By controller, rack or switch: the faults there by what they would show."""
        self._compiled_for: dict[str, set[object]] = {}

    def changed(self, controller: str) -> None:
        """Forget what was compiled with a controller's parts."""
        rack = self._graph.rack_of(controller)
        self._rooms.pop(("controller", controller), None)
        if rack is not None:
            self._rooms.pop(("rack", rack), None)
        for room in self._compiled_for.pop(controller, ()):
            self._rooms.pop(room, None)

    def behind(self, spot: Spot) -> Iterator[Fault]:
        """Every fault that would show so."""
        controller, part, sign = spot
        room = ("controller", controller)
        if room not in self._rooms:
            self._compile(room, self._graph.nodes_of(controller))
        yield from self._rooms[room].get(spot, ())
        rack = self._graph.rack_of(controller)
        if rack is not None:
            room_of_rack = ("rack", rack)
            if room_of_rack not in self._rooms:
                self._compile(room_of_rack, self._shared(rack))
            yield from self._rooms[room_of_rack].get(spot, ())
        chassis = self._graph.switch_of((controller, part)) if sign in _AT_PORTS else None
        if chassis is not None:
            room_of_switch = ("switch", chassis)
            if room_of_switch not in self._rooms:
                self._compile(room_of_switch, self._graph.switch_nodes(chassis))
            yield from self._rooms[room_of_switch].get(spot, ())
        if self._graph.sheet(controller) is None or not self._knows(controller, part):
            yield from self._unknown(spot)

    def _shared(self, rack: tuple[str | None, str | None, str]) -> Iterator[Node]:
        yield from self._graph.rack_nodes(rack)
        yield from self._graph.feeding(rack)

    def _knows(self, controller: str, part: str) -> bool:
        sheet = self._graph.sheet(controller)
        return sheet is not None and sheet.part(part) is not None

    def _unknown(self, spot: Spot) -> Iterator[Fault]:
        """A part that no walk has brought: what is told of it alone."""
        controller, part, sign = spot
        kind = Kind.CONTROLLER if sign in CONTACT else Kind.OTHER
        node = Node(
            id=part,
            role=kind,
            kind=kind,
            name=part.removeprefix(controller + ":") or controller,
            controller=controller,
            location=Location(),
        )
        for mode in modes_of(kind, has_sensor=True):
            chances = {(controller, part, show.sign): show.chance for show in mode.shows if show.on is Where.ITSELF}
            if spot in chances:
                yield Fault(node=node, mode=mode, prior=mode.prior(HOURS), shows=chances)

    def _compile(self, room: object, nodes: Iterator[Node]) -> None:
        by_spot: dict[Spot, list[Fault]] = {}
        everything = list(nodes)
        under_plates = {node.id for node in everything if node.role is Role.COLD_PLATE}
        for node in everything:
            for anchor in node.anchors:
                self._compiled_for.setdefault(anchor[0], set()).add(room)
            for usual in modes_of(node.role, has_sensor=node.sensed):
                mode = LOOSE_PLATE if usual is HEAT_SINK and node.id in under_plates else usual
                shows = self._shows(node, mode)
                if not shows:
                    continue
                fault = Fault(node=node, mode=mode, prior=mode.prior(HOURS), shows=shows)
                for spot in shows:
                    by_spot.setdefault(spot, []).append(fault)
        self._rooms[room] = by_spot

    def _shows(self, node: Node, mode: Mode) -> dict[Spot, float]:
        shows: dict[Spot, float] = {}
        for show in mode.shows:
            for controller, id in self._places(node, show.on, show.kinds):
                spot = (controller, id, show.sign)
                shows[spot] = max(shows.get(spot, 0.0), show.chance)
        return shows

    def _places(self, node: Node, where: Where, kinds: tuple[Kind, ...]) -> Iterator[Anchor]:
        for controller, part in node.anchors:
            sheet = self._graph.sheet(controller)
            if sheet is not None:
                yield from ((controller, id) for id in sheet.near(part, where, kinds))
        inner = _FED.get(where)
        if inner is None:
            return
        for controller, part in node.feeds:
            sheet = self._graph.sheet(controller)
            if sheet is not None:
                yield from ((controller, id) for id in sheet.near(part, inner, kinds))


_AT_PORTS = frozenset({Sign.LINK_DOWN, Sign.UNSTEADY})
CONTACT = frozenset({Sign.CUT_OFF, Sign.SILENT, Sign.SLOW})
"""Signs that are seen of a controller although, or because, it can't be read."""
__all__ = ["CONTACT", "NEVER_CHARGED", "Fault", "Faults", "Spot"]
