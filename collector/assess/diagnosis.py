"""The fleet's answers: one isolation, one desk, one set of peers for all wards."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import Generic, TypeVar

from collector.assess.isolate.isolation import Isolation
from collector.assess.looking import Look
from collector.assess.looks.air import AirLook
from collector.assess.looks.busbar import Bars, BusbarLook
from collector.assess.looks.clocks import Clocks
from collector.assess.looks.contact import ContactLook
from collector.assess.looks.fit import Firmware, FitLook
from collector.assess.looks.peers import Peers, PeersLook
from collector.assess.looks.power import PowerLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.told import Told
from collector.assess.looks.unsteady import UnsteadyLook
from collector.assess.looks.wear import WearLook
from collector.assess.looks.witness import WitnessLook
from collector.assess.margins.airing import Airing
from collector.assess.margins.drawn import Drawing, RackDrawing
from collector.assess.margins.electrics import Electrics
from collector.assess.margins.outlook import Outlook
from collector.assess.margins.peers import Peers as Alike
from collector.assess.margins.places import Place
from collector.assess.margins.racks import RackPower, Racks
from collector.assess.margins.rooms import Rooms
from collector.assess.margins.swing import AirSwing
from collector.assess.margins.tracker import Margins
from collector.assess.orders.desk import Desk
from collector.assess.orders.handling import Handlings
from collector.assess.sightings import Sightings
from collector.assess.ward import Answers, Ward
from collector.assess.watch import Watch
from collector.model import (
    Assessment,
    Condition,
    Defect,
    Design,
    Inventory,
    Lamps,
    Location,
    Observation,
    Seconds,
    SignKey,
    Status,
    Visible,
    WorkOrder,
)

T = TypeVar("T")


class _Everywhere(Generic[T]):
    """Tables by part id of all controllers, as one: ids begin with their controller's name."""

    def __init__(self, tables: Mapping[str, Mapping[str, T]]) -> None:
        self._tables = tables

    def get(self, part: str) -> T | None:
        """What is known of a part."""
        table = self._tables.get(part.partition(":")[0])
        return None if table is None else table.get(part)


class Diagnosis:
    """Makes wards, and answers of what they see. One for the fleet; not thread-safe.

    ``designs``: what sleds should hold; ``places``: what people know of sites, rows and racks; ``handlings``: what they
    do about orders; ``sightings``: what they saw.
    """

    def __init__(
        self,
        designs: Sequence[Design] = (),
        places: Sequence[Place] = (),
        handlings: Handlings | None = None,
        sightings: Sightings | None = None,
    ) -> None:
        self._designs = tuple(designs)
        self._places = tuple(places)
        self._alike = Alike()
        self._peers = Peers()
        self._racks = Racks(self._places)
        self._rooms = Rooms()
        self._firmware = Firmware()
        self._bars = Bars()
        self._clocks = Clocks()
        self._isolation = Isolation()
        self._desk = Desk(handlings)
        self._sightings = Sightings() if sightings is None else sightings
        self._statuses: dict[str, Mapping[str, Status]] = {}
        self._lamps: dict[str, dict[str, Lamps]] = {}

    def ward(
        self,
        watch: Watch,
        location: Location | None = None,
        open_conditions: Sequence[Condition] = (),
        learnt: bytes | None = None,
    ) -> Ward:
        """A ward around a controller's watch; ``open_conditions`` as the watch was given them; ``learnt``: what an
        earlier run's ward remembered."""
        name = watch.controller
        told, air = Told(name, open_conditions), AirLook(name, self._alike)
        contact = ContactLook(name, self._clocks)
        sensors, power, wear = SensorsLook(name), PowerLook(name), WearLook(name)
        busbar = BusbarLook(name, self._bars)
        peers = PeersLook(name, self._peers, air.explained)
        fit = FitLook(name, self._designs, self._firmware)
        looks: tuple[Look, ...] = (
            told,
            contact,
            UnsteadyLook(name),
            sensors,
            air,
            peers,
            power,
            busbar,
            wear,
            fit,
            WitnessLook(name, self._sightings, lambda: watch.lamps),
        )
        rack, electrics = RackPower(name, self._racks, location), Electrics(name)
        measures = (
            Margins(name, self._places, location, air.per_watt),
            AirSwing(name, self._places, location),
            rack,
        )
        drawing, rack_drawing = Drawing(name), RackDrawing(self._racks, rack, electrics)
        outlook = Outlook(name, wear.lives)
        works = (outlook, Airing(name, self._places, self._rooms, location), electrics, drawing, rack_drawing)
        learns = (told, sensors, air, peers, power, busbar, wear, drawing, rack_drawing)
        return Ward(watch, looks, told, self, measures, fit, works, lacks=(contact, air), learns=learns, learnt=learnt)

    # What people do about orders

    def order(self, order: str) -> WorkOrder | None:
        """The open order of an id."""
        return self._desk.find(order)

    def has_order(self, part: str) -> bool:
        """Whether any order for this part is open."""
        return self._desk.has_order(part)

    def serial_of(self, part: str) -> str | None:
        """The serial number of a part, as told last."""
        return self._desk.serial_of(part)

    def handled(self, parts: Container[str], now: Seconds) -> tuple[WorkOrder, ...]:
        """The open orders for these parts, told again because of what people did about them."""
        return self._desk.handled(parts, now)

    # What wards call

    def walked(
        self,
        inventory: Inventory,
        statuses: Mapping[str, Status],
        visible: Visible,
        now: Seconds,
        weak: tuple[str, ...] = (),
    ) -> tuple[Defect, ...]:
        """Take a finished walk of one controller, and what its looks lack; what it tells that can't be so."""
        self._statuses[inventory.controller] = statuses
        self._isolation.inventory(inventory, visible, now, weak)
        self._desk.inventory(inventory)
        return self._isolation.notes_of(inventory.controller)

    def assessed(self, assessment: Assessment) -> None:
        """Take what a watch made of a walk or round: the fronts' lamps."""
        if assessment.lamps:
            self._lamps.setdefault(assessment.controller, {}).update(assessment.lamps)

    def observed(
        self,
        controller: str,
        present: Mapping[SignKey, Observation],
        visible: Visible,
        readable: bool,
        now: Seconds,
    ) -> None:
        """Take all that is seen, and could be, at one controller now."""
        self._isolation.observe(controller, present, visible, readable, now)

    def answer(self, controller: str, now: Seconds) -> Answers:
        """What is new, a round or walk of one controller having ended."""
        self._isolation.round(controller, now)
        troubles = self._isolation.solve(now)
        statuses, lamps = _Everywhere(self._statuses), _Everywhere(self._lamps)
        written = self._desk.write(troubles, statuses, lamps) if troubles else ()
        # one that was written just now may have been told with lamps of before
        orders = {order.id: order for order in (*written, *self._desk.lit(controller, statuses, lamps, now))}
        return Answers(troubles=troubles, orders=tuple(orders.values()))
