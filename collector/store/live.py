"""The fleet's current state in memory, kept by the updates: for metrics snapshots, readiness and new followers.

An update costs the same however big the fleet is, and nothing is copied: what stands here is what the updates brought.
All on one event loop; do not change what you are handed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import TypeVar

from msgspec import structs

from collector.model import (
    Assessment,
    Condition,
    Contact,
    ControllerState,
    Defect,
    Figure,
    FigureKind,
    Frame,
    Inventory,
    Lamps,
    Layout,
    Location,
    Margin,
    MarginKind,
    Outcome,
    Rolled,
    Round,
    Seconds,
    Status,
    Trouble,
    Update,
    WorkOrder,
)
from collector.store.book import Registered
from collector.store.merge import defect_key
from collector.store.tally import Tally

A = TypeVar("A", Trouble, WorkOrder)
_TROUBLE = ".trouble."
"""What stands in a trouble's id behind its controller's name."""


class LiveController:
    """What is known of one controller right now."""

    __slots__ = (
        "bytes_total",
        "conditions",
        "contact",
        "defects",
        "figures",
        "frame",
        "insecure",
        "inventory",
        "lamps",
        "location",
        "margins",
        "name",
        "newest_round",
        "orders",
        "outcomes",
        "requests_total",
        "rolled",
        "statuses",
        "tally",
        "troubles",
        "url",
        "walks",
    )

    def __init__(self, name: str, url: str, location: Location, insecure: bool) -> None:
        self.name = name
        self.url = url
        self.location = location
        self.insecure = insecure
        self.inventory: Inventory | None = None
        self.frame: Frame | None = None
        """Newest readings, in the order of ``inventory.layout``."""
        self.statuses: dict[str, Status] = {}
        self.rolled: dict[str, Rolled] = {}
        self.lamps: dict[str, Lamps] = {}
        self.conditions: dict[str, Condition] = {}
        """Open ones, by id."""
        self.troubles: dict[str, Trouble] = {}
        """Open ones that are told under this controller (:func:`home_of`), by id, whoever else shows them."""
        self.orders: dict[str, WorkOrder] = {}
        """Open ones of these troubles, by id."""
        self.margins: dict[tuple[str, MarginKind], Margin] = {}
        """Of its parts."""
        self.figures: dict[tuple[str, FigureKind, str], Figure] = {}
        """Of its parts."""
        self.defects: dict[tuple[str, str, str], Defect] = {}
        self.newest_round: Round | None = None
        self.contact: Contact | None = None
        self.tally = Tally()
        self.outcomes: dict[Outcome, int] = {}
        """Rounds by how they ended, since this process started."""
        self.walks = 0
        self.requests_total = 0
        """Of all rounds since this process started; walks don't tell theirs here."""
        self.bytes_total = 0

    @property
    def layout(self) -> Layout | None:
        """The columns of ``frame``."""
        return None if self.inventory is None else self.inventory.layout

    @property
    def state(self) -> ControllerState:
        """The counters as the store would tell them, but since this process started."""
        walked = self.inventory
        return self.tally.state(
            self.name,
            self.url,
            self.location,
            self.insecure,
            len(self.defects),
            None if walked is None else walked.product,
            None if walked is None else walked.redfish_version,
            self.contact,
        )

    def apply(self, update: Update) -> None:
        """Take in one update."""
        self.tally.count(update)
        if update.inventory is not None:
            self._walked(update.inventory, update.found_anew)
        if update.round is not None:
            self._polled(update.round)
        if update.contact is not None:
            self.contact = update.contact
        if update.assessment is not None:
            self._assessed(update.assessment)

    def _walked(self, inventory: Inventory, found_anew: frozenset[str]) -> None:
        if self.inventory is not None:
            # Only what belonged to a part that has gone: a rollup may speak of things that are no part of this one.
            gone = {part.id for part in self.inventory.parts} - {part.id for part in inventory.parts}
            for part in gone | found_anew:
                self.rolled.pop(part, None)
                self.lamps.pop(part, None)
            self.margins = {key: margin for key, margin in self.margins.items() if key[0] not in gone}
            self.figures = {key: figure for key, figure in self.figures.items() if key[0] not in gone}
        self.inventory = inventory
        self.frame = inventory.frame
        self.statuses = dict(inventory.statuses)
        self.defects = {defect_key(defect): defect for defect in inventory.defects}
        self.walks += 1

    def _polled(self, done: Round) -> None:
        self.newest_round = done
        self.outcomes[done.outcome] = self.outcomes.get(done.outcome, 0) + 1
        self.requests_total += done.requests
        self.bytes_total += done.bytes_received
        if done.frame is not None:
            self.frame = done.frame
        self.statuses.update(done.statuses)
        for defect in done.defects:
            self.defects[defect_key(defect)] = defect

    def _assessed(self, assessment: Assessment) -> None:
        for condition in (*assessment.opened, *assessment.changed):
            self.conditions[condition.id] = condition
        for condition in assessment.closed:
            self.conditions.pop(condition.id, None)
        for defect in assessment.defects:
            self.defects[defect_key(defect)] = defect
        self.rolled.update(assessment.rolled)
        self.lamps.update(assessment.lamps)
        for margin in assessment.margins:
            if margin.controller == self.name:
                self.margins[margin.part, margin.kind] = margin
        for figure in assessment.figures:
            if figure.controller == self.name:
                if figure.gone:
                    self.figures.pop(figure.key, None)
                else:
                    self.figures[figure.key] = figure

    def snapshot(self) -> Update:
        """All that is known as one update, for a follower that starts now.

        The inventory carries the newest statuses, frame and defects; every open condition counts as opened. Troubles
        and orders are those that are told under this controller: with the snapshots of all, each comes once.
        """
        inventory = self.inventory
        if inventory is not None:
            inventory = structs.replace(
                inventory,
                statuses=dict(self.statuses),
                frame=inventory.frame if self.frame is None else self.frame,
                defects=tuple(self.defects.values()),
            )
        done = self.newest_round
        if done is not None and inventory is not None:
            # What it brought stands in the inventory above; what is left is how it went, if that is the newest news.
            bare = structs.replace(done, frame=None, statuses={}, defects=())
            done = bare if done.finished >= inventory.time else None
        return Update(
            controller=self.name,
            inventory=inventory,
            round=done,
            contact=self.contact,
            assessment=Assessment(
                controller=self.name,
                time=self._newest_time(),
                opened=tuple(self.conditions.values()),
                rolled=dict(self.rolled),
                lamps=dict(self.lamps),
                troubles=tuple(self.troubles.values()),
                orders=tuple(self.orders.values()),
                margins=tuple(self.margins.values()),
                figures=tuple(self.figures.values()),
            ),
        )

    def _newest_time(self) -> Seconds:
        times = (self.tally.last_round, None if self.inventory is None else self.inventory.time)
        return max((time for time in times if time is not None), default=0.0)


def home_of(trouble: str) -> str:
    """The name of the controller under which a trouble and its orders are told, from the trouble's id.

    It is the one whose part showed it first: a trouble of many sleds is told at one place, and stays there.
    """
    return trouble.rpartition(_TROUBLE)[0]


class Live:
    """The controllers of the fleet file and what is known of them right now."""

    def __init__(self, controllers: Iterable[Registered]) -> None:
        self._controllers = {
            known.name: LiveController(known.name, known.url, known.location, known.insecure) for known in controllers
        }
        self._heard = 0

    @property
    def controllers(self) -> Mapping[str, LiveController]:
        """By name, in the order of the fleet file; a view."""
        return MappingProxyType(self._controllers)

    @property
    def heard(self) -> int:
        """Controllers of which at least one update came, good or bad: all of them means the first pass is through."""
        return self._heard

    def restore(
        self,
        conditions: Iterable[Condition],
        troubles: Iterable[Trouble] = (),
        orders: Iterable[WorkOrder] = (),
    ) -> None:
        """Take up what an earlier run left open in the store."""
        self._answered(troubles, orders)
        for condition in conditions:
            known = self._controllers.get(condition.controller)
            if known is not None:
                known.conditions[condition.id] = condition

    def apply(self, update: Update) -> None:
        """Take in one update; ``KeyError`` for a controller that is not in the fleet file."""
        controller = self._controllers[update.controller]
        if not controller.walks and not controller.tally.rounds:
            self._heard += bool(update.inventory or update.round)
        controller.apply(update)
        if (told := update.assessment) is not None and (told.troubles or told.orders):
            self._answered(told.troubles, told.orders)

    def _answered(self, troubles: Iterable[Trouble], orders: Iterable[WorkOrder]) -> None:
        """What is told under a controller that is in the fleet file no more is the store's alone."""
        for trouble in troubles:
            if (home := self._controllers.get(home_of(trouble.id))) is not None:
                _keep(home.troubles, trouble)
        for order in orders:
            if (home := self._controllers.get(home_of(order.trouble))) is not None:
                _keep(home.orders, order)

    def states(self) -> list[ControllerState]:
        """A record for every controller."""
        return [controller.state for controller in self._controllers.values()]

    def snapshot(self, controller: str) -> Update:
        """All that is known of one controller as one update; ``KeyError`` for one not in the fleet file."""
        return self._controllers[controller].snapshot()


def _keep(open_ones: dict[str, A], told: A) -> None:
    if told.closed is None:
        open_ones[told.id] = told
    else:
        open_ones.pop(told.id, None)
