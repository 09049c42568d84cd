"""Work orders in people's hands, and what they saw at fronts: requests about them, and what becomes of them by time."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping

from collector.assess.diagnosis import Diagnosis
from collector.assess.orders.handling import Handlings
from collector.assess.sightings import Sightings
from collector.assess.watch import Watch
from collector.cli.holding import Holding
from collector.model import (
    ORDER_VERBS,
    Assessment,
    Handling,
    Outcome,
    Request,
    RequestState,
    Seconds,
    Sighting,
    Update,
    Verb,
    WorkOrder,
)
from collector.redfish.deeds import Came
from collector.store.live import home_of

Tell = Callable[[Update], Awaitable[None]]
Handler = Callable[[Request, Seconds], Awaitable[tuple[RequestState, str]]]
_READ = (Outcome.OK, Outcome.PARTIAL)


class Tending:
    """Of the fleet: ties what is asked for to what the assessment knows, and both to what is kept."""

    def __init__(
        self,
        handlings: Handlings,
        sightings: Sightings,
        diagnosis: Diagnosis,
        watches: Mapping[str, Watch],
        holding: Holding,
        tell: Tell,
    ) -> None:
        self._handlings = handlings
        self._sightings = sightings
        self._diagnosis = diagnosis
        self._watches = watches
        self._holding = holding
        self._tell = tell

    @property
    def handlers(self) -> Mapping[str, Handler]:
        """By verb."""
        return {**{verb.value: self._order for verb in ORDER_VERBS}, Verb.OBSERVE.value: self._observe}

    def hear(self, update: Update, now: Seconds) -> None:
        """Take what a controller told, for the orders that are watched; nothing where none is."""
        if update.inventory is not None:
            self._handlings.walked(update.controller, update.inventory.parts)
        if update.round is not None and update.round.outcome in _READ:
            self._handlings.round(update.controller, now)
        for order in update.assessment.orders if update.assessment is not None else ():
            # also one that an earlier run left, of which nothing was told again
            if order.closed is not None and not self._diagnosis.has_order(order.part):
                self._handlings.close(order.part, now)

    def followed(self, request: Request, came: Came) -> None:
        """A lamp was switched on request: whether it followed is evidence too."""
        watch = self._watches.get(request.target.partition(":")[0])
        if request.verb != Verb.LOCATE or watch is None or came.state is RequestState.TIMED_OUT:
            return
        if came.state in (RequestState.DONE, RequestState.HALF_DONE):
            on, good = request.arguments.get("on") is not False, came.state is RequestState.DONE
            self._sightings.followed(request, watch.tree, watch.lamps.get(request.target), on, good)

    async def tend(self, now: Seconds) -> None:
        """Keep what changed, forget what is too old, and tell the orders of which something changed."""
        self._sightings.lapse(now)
        for part, sighting in self._sightings.changes().items():
            self._hold(Sighting, part, sighting)
        if not self._handlings.changed:
            return
        changed = self._handlings.changes()
        for part, handling in changed.items():
            self._hold(Handling, part, handling)
        by_carrier: dict[str, list[WorkOrder]] = {}
        for order in self._diagnosis.handled(changed, now):
            home = home_of(order.trouble)
            by_carrier.setdefault(home if home in self._watches else next(iter(self._watches)), []).append(order)
        for controller, orders in by_carrier.items():
            assessment = Assessment(controller=controller, time=now, orders=tuple(orders))
            await self._tell(Update(controller=controller, assessment=assessment))

    def _hold(self, kind: type[Sighting] | type[Handling], part: str, held: Sighting | Handling | None) -> None:
        if held is None:
            self._holding.drop(kind, part)
        else:
            self._holding.put(held)

    async def _order(self, request: Request, now: Seconds) -> tuple[RequestState, str]:
        return self._handlings.carry_out(request, self._diagnosis.order, self._diagnosis.serial_of)

    async def _observe(self, request: Request, now: Seconds) -> tuple[RequestState, str]:
        watch = self._watches.get(request.target.partition(":")[0])
        if watch is None:
            return RequestState.REFUSED, "the fleet file has no controller that tells of this part"
        return self._sightings.take(request, watch.tree, watch.lamps.get(request.target))
