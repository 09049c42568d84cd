"""Troubles and work orders that an earlier run left open: closed when this run does not tell of them again.

Isolation starts without a memory: what it finds after a start are troubles of their own, also where they are about
what was broken before. So one that is left over is closed as soon as a new one names the same part first, and else
once the fleet has been polled for long enough that whatever is still broken has shown itself.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Collection, Iterable

from msgspec import structs

from collector.model import Assessment, Seconds, Trouble, Update, WorkOrder
from collector.store.live import Live, home_of

log = logging.getLogger(__name__)

ROUNDS = 10
"""Poll intervals after a start in which a trouble may be told again."""
Tell = Callable[[Update], Awaitable[None]]


class Leftovers:
    """What was open when the collector started; ``live`` has it too, and what is told since."""

    def __init__(
        self,
        troubles: Iterable[Trouble],
        orders: Iterable[WorkOrder],
        live: Live,
        tell: Tell,
        now: Callable[[], Seconds],
    ) -> None:
        self._troubles = {trouble.id: trouble for trouble in troubles}
        self._orders = {order.id: order for order in orders}
        self._live = live
        self._tell = tell
        self._now = now

    async def run(self, interval: Seconds, rounds: int = ROUNDS) -> None:
        """Close them in the course of some poll intervals; returns when none is left."""
        for _ in range(rounds):
            if not self._troubles and not self._orders:
                return
            await asyncio.sleep(interval)
            await self.close(self._replaced())
        await self.close_all()

    async def close_all(self, of: Collection[str] | None = None) -> None:
        """Close those not told again; ``of``: only troubles that parts of these controllers alone show."""
        ids = {id for id, trouble in self._troubles.items() if of is None or set(trouble.controllers) <= set(of)}
        stray = {order.trouble for order in self._orders.values()} - self._troubles.keys()
        await self.close(ids | {id for id in stray if of is None or home_of(id) in of})

    async def close(self, ids: Collection[str]) -> None:
        """Close those of these troubles that have not been told again, with their orders."""
        self._drop_told_again()
        now = self._now()
        by_carrier: dict[str, tuple[list[Trouble], list[WorkOrder]]] = {}
        for id in ids:
            trouble = self._troubles.pop(id, None)
            orders = [order for order in self._orders.values() if order.trouble == id]
            for order in orders:
                del self._orders[order.id]
            carrier = self._carrier(id, trouble)
            if carrier is None:
                continue
            troubles, written = by_carrier.setdefault(carrier, ([], []))
            if trouble is not None:
                troubles.append(structs.replace(trouble, changed=now, closed=max(now, trouble.opened)))
            written += [structs.replace(order, changed=now, closed=max(now, order.opened)) for order in orders]
        for carrier, (troubles, written) in by_carrier.items():
            if troubles or written:
                log.info("%d troubles of an earlier run closed: not told again", len(troubles))
                told = Assessment(controller=carrier, time=now, troubles=tuple(troubles), orders=tuple(written))
                await self._tell(Update(controller=carrier, assessment=told))

    def _drop_told_again(self) -> None:
        """Those of which this run has said anything are its own, or closed by it."""
        for id, trouble in tuple(self._troubles.items()):
            if (home := self._live.controllers.get(home_of(id))) and home.troubles.get(id) is not trouble:
                del self._troubles[id]
        for id, order in tuple(self._orders.items()):
            if (home := self._live.controllers.get(home_of(order.trouble))) and home.orders.get(id) is not order:
                del self._orders[id]

    def _replaced(self) -> set[str]:
        """Those whose first suspect a trouble of this run names first."""
        named = {
            trouble.suspects[0].part
            for known in self._live.controllers.values()
            for trouble in known.troubles.values()
            if trouble.suspects and self._troubles.get(trouble.id) is not trouble
        }
        return {id for id, old in self._troubles.items() if old.suspects and old.suspects[0].part in named}

    def _carrier(self, id: str, trouble: Trouble | None) -> str | None:
        """The controller whose update carries the news: any will do for troubles of controllers that are gone."""
        fleet = self._live.controllers
        wanted = (home_of(id), *(trouble.controllers if trouble is not None else ()))
        return next((name for name in wanted if name in fleet), next(iter(fleet), None))
