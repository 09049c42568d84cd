"""Open work orders: written from troubles, changed when these change, closed with them."""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import Protocol, TypeVar

from msgspec import structs

from collector.assess.orders import advice
from collector.assess.orders.handling import Handlings
from collector.assess.orders.stakes import goes_down, leans_on
from collector.assess.tree import Tree
from collector.model import (
    Fallen,
    Health,
    Inventory,
    Kind,
    Lamps,
    Part,
    Seconds,
    Status,
    Suspect,
    Trouble,
    Urgency,
    WorkOrder,
)

T_co = TypeVar("T_co", covariant=True)


class Table(Protocol[T_co]):
    """What is known by part id."""

    def get(self, part: str, /) -> T_co | None:
        """Of one part; None where nothing is."""


WORTH_A_VISIT = 0.5
"""Least probability of a suspect that somebody is sent for, alone or with those it can't be told from."""
_SO = 0.9
"""Probability of the way in which a part has failed below which it is told apart from that it has."""
WORTH_IT_UNTOLD = 0.96
"""The same where no condition is open: what only comparisons and trends say has to be surer before anybody walks."""


class Desk:
    """Keeps the orders of the fleet. Each trouble costs by what hangs on its own suspects.

    ``handlings``: what people do about them, told with them.
    """

    def __init__(self, handlings: Handlings | None = None) -> None:
        self._handlings = Handlings() if handlings is None else handlings
        self._trees: dict[str, Tree] = {}
        self._orders: dict[str, dict[str, WorkOrder]] = {}
        """Open ones, by trouble and then by part."""
        self._troubles_at: dict[str, set[str]] = {}
        """By controller: troubles with open orders for its parts, and some that are over."""

    def inventory(self, inventory: Inventory) -> None:
        """Take a finished walk."""
        self._trees[inventory.controller] = Tree(inventory.parts, inventory.links)

    def write(self, troubles: Iterable[Trouble], statuses: Table[Status], lamps: Table[Lamps]) -> tuple[WorkOrder, ...]:
        """The orders that open, change or close with these troubles.

        ``statuses`` and ``lamps``: by part id, as far as they are known.
        """
        told: list[WorkOrder] = []
        for trouble in troubles:
            before = self._orders.pop(trouble.id, {})
            now: dict[str, WorkOrder] = {}
            if trouble.closed is None:
                for suspect in _accused(trouble):
                    known = before.get(suspect.part)
                    now[suspect.part] = self._order(trouble, suspect, known, statuses, lamps)
                    self._troubles_at.setdefault(suspect.controller or "", set()).add(trouble.id)
                self._orders[trouble.id] = now
            for part, order in now.items():
                if part not in before or _matters(before[part]) != _matters(order):
                    told.append(order)
                else:
                    now[part] = before[part]
            ended = trouble.closed if trouble.closed is not None else trouble.changed
            told += [self._closed(order, ended) for part, order in before.items() if part not in now]
        return tuple(told)

    def lit(self, controller: str, statuses: Table[Status], lamps: Table[Lamps], now: Seconds) -> tuple[WorkOrder, ...]:
        """The open orders for a controller's parts whose lamp to look for is another by now: one was asked for, or went
        off again."""
        told = []
        for trouble in tuple(self._troubles_at.get(controller, ())):
            orders = self._orders.get(trouble)
            if not orders:
                self._troubles_at[controller].discard(trouble)
                continue
            for part, order in orders.items():
                if order.controller != controller:
                    continue
                lamp, text = self._lamp(controller, part, statuses, lamps)
                if (lamp, text) != (order.lamp, order.lamp_text):
                    orders[part] = structs.replace(order, lamp=lamp, lamp_text=text, changed=now)
                    told.append(orders[part])
        return tuple(told)

    def find(self, order: str) -> WorkOrder | None:
        """The open order of an id."""
        trouble, _, part = order.partition("|")
        return self._orders.get(trouble, {}).get(part)

    def has_order(self, part: str) -> bool:
        """Whether any order for this part is open."""
        return any(part in orders for orders in self._orders.values())

    def serial_of(self, part: str) -> str | None:
        """The serial number of a part, as told last."""
        tree = self._trees.get(part.partition(":")[0])
        at = None if tree is None else tree.at.get(part)
        return None if tree is None or at is None else tree.parts[at].identity.serial

    def handled(self, parts: Container[str], now: Seconds) -> tuple[WorkOrder, ...]:
        """The open orders for these parts, told again because of what people did about them."""
        told = []
        for orders in self._orders.values():
            for part, order in orders.items():
                if part in parts and order.handling != (handling := self._handlings.of(part)):
                    orders[part] = structs.replace(order, handling=handling, changed=now)
                    told.append(orders[part])
        return tuple(told)

    def _closed(self, order: WorkOrder, at: Seconds) -> WorkOrder:
        """An order that ends; what was done about it ends with the last order for its part."""
        if self.has_order(order.part):
            return structs.replace(order, closed=at, changed=at)
        handling = self._handlings.close(order.part, at)
        return structs.replace(order, closed=at, changed=at, handling=handling)

    def _order(
        self,
        trouble: Trouble,
        suspect: Suspect,
        known: WorkOrder | None,
        statuses: Table[Status],
        lamps: Table[Lamps],
    ) -> WorkOrder:
        tree = self._trees.get(suspect.controller or "")
        at = tree.at.get(suspect.part) if tree is not None else None
        down: tuple[Fallen, ...] = ()
        leaning: tuple[Fallen, ...] = ()
        part: Part | None = None
        if tree is not None and at is not None:
            part = tree.parts[at]
            down, leaning = goes_down(tree, at), leans_on(tree, at)
        running = _running(part, down)
        lamp, lamp_text = self._lamp(suspect.controller or "", suspect.part, statuses, lamps)
        where = suspect.location.text or suspect.name
        identity = suspect.identity
        return WorkOrder(
            id=f"{trouble.id}|{suspect.part}",
            trouble=trouble.id,
            part=suspect.part,
            controller=suspect.controller,
            kind=suspect.kind,
            name=suspect.name,
            location=suspect.location,
            identity=identity,
            opened=known.opened if known is not None else trouble.changed,
            changed=trouble.changed,
            urgency=_urgency(trouble, down, leaning),
            task=advice.task(
                suspect.remedy, f"{suspect.name} at {where}", identity.part_number, identity.spare_part_number
            ),
            reason=_reason(trouble, suspect),
            lamp=lamp,
            lamp_text=lamp_text,
            takes_down=down,
            running=running,
            first=advice.before(suspect.kind, down, leaning, running),
            cautions=advice.cautions(suspect.kind, suspect.remedy),
            otherwise=tuple(part for part in trouble.group if part != suspect.part),
            bundle=_bundle(suspect),
            handling=self._handlings.of(suspect.part),
        )

    def _lamp(
        self, controller: str, part: str, statuses: Table[Status], lamps: Table[Lamps]
    ) -> tuple[Lamps | None, str]:
        """The lamp that leads to a part: its own front's, else that of what holds it; and how to look for it."""
        tree = self._trees.get(controller)
        at = None if tree is None else tree.at.get(part)
        near = [] if tree is None or at is None else [tree.parts[each] for each in (at, *tree.ancestors(at))]
        front = next((each for each in near if lamps.get(each.id)), None)
        told = statuses.get(front.id) if front is not None else None
        own = statuses.get(part) if front is None or front.id != part else None
        lamp = lamps.get(front.id) if front is not None else None
        locate = None if told is None else told.locate
        return lamp, advice.lamp_text(lamp, locate, _called(front), None if own is None else own.locate)


def _accused(trouble: Trouble) -> list[Suspect]:
    """The suspects that somebody should be sent for: the first, and those that have failed besides."""
    group = sum(suspect.probability for suspect in trouble.suspects if suspect.part in trouble.group)
    least = WORTH_A_VISIT if trouble.conditions else WORTH_IT_UNTOLD
    found = []
    for rank, suspect in enumerate(trouble.suspects):
        if suspect.remedy in advice.REMOTE:
            continue
        sure = max(suspect.probability, group) if rank == 0 else suspect.probability
        if (rank == 0 or suspect.part in trouble.also) and sure >= least:
            found.append(suspect)
    return found


def _matters(order: WorkOrder) -> WorkOrder:
    """An order but for its time stamp: a change of that alone is not worth telling."""
    return structs.replace(order, changed=0.0)


def _running(part: Part | None, down: tuple[Fallen, ...]) -> bool | None:
    if part is not None and part.hot_swap is not None:
        return part.hot_swap and not down
    return False if down else None


def _urgency(trouble: Trouble, down: tuple[Fallen, ...], leaning: tuple[Fallen, ...]) -> Urgency:
    if trouble.severity < Health.CRITICAL:
        return Urgency.NEXT_VISIT
    shared = len(leaning) > 1 or len({each.part for each in down if each.kind is Kind.BLADE}) > 1
    return Urgency.NOW if shared else Urgency.TODAY


def _reason(trouble: Trouble, suspect: Suspect) -> str:
    sure = f"{100 * suspect.probability:.0f} %" if suspect.probability < 0.995 else "more than 99 %"
    text = f"{suspect.name} {suspect.fault}: {sure} sure"
    if suspect.fault_probability < _SO:
        text = f"{suspect.name} has failed: {sure} sure; {suspect.fault}: {100 * suspect.fault_probability:.0f} % if so"
    if suspect.speaks_for:
        text += f"; {suspect.speaks_for[0].rstrip('.')}"
    if len(trouble.group) > 1:
        text += f"; {len(trouble.group) - 1} other part(s) would look the same"
    return text + "."


def _called(front: Part | None) -> str:
    return "the front" if front is None else (front.location.text or front.name)


def _bundle(suspect: Suspect) -> str:
    place = suspect.location
    return " / ".join(step for step in (place.site, place.row, place.rack) if step)
