"""What people do about work orders: taken, done, given back; and whether what an order was written for clears then.

One for the fleet. Pure: the time is passed in. A step is of the part that the order is about, so that it outlives a
trouble that is told anew under another name.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping

from msgspec import structs

from collector.model import Handled, Handling, OrderState, Part, Request, RequestState, Seconds, Verb, WorkOrder

ROUNDS = 20
"""Rounds after an order is done in which its trouble must clear: ten minutes of the usual ones, where a trouble is
closed five minutes after its last sign. Common practice, no source."""
MOST_STEPS = 20
"""Kept of each: the first, and the newest."""
NOBODY = "sledkeeper"

FindOrder = Callable[[str], WorkOrder | None]
"""The open order of an id."""
SerialOf = Callable[[str], str | None]
"""The serial number of a part, as told last."""

_MAY: Mapping[str, Collection[OrderState | None]] = {
    Verb.TAKE: {None, OrderState.TAKEN, OrderState.STILL_THERE},
    Verb.FINISH: {None, OrderState.TAKEN, OrderState.STILL_THERE, OrderState.WATCHING},
    Verb.GIVE_BACK: {OrderState.TAKEN, OrderState.STILL_THERE, OrderState.WATCHING},
}
"""In which states each may be asked for; None: open."""


class Handlings:
    """All of them, by part. ``rounds``: after which trouble that did not clear is still there."""

    def __init__(self, standing: Iterable[Handling] = (), rounds: int = ROUNDS) -> None:
        self._rounds = rounds
        self._by_part = {each.part: each for each in standing}
        self._watched: dict[str, set[str]] = {}
        """By controller: parts whose orders are done, to be looked at."""
        self._changed: dict[str, Handling | None] = {}
        for each in self._by_part.values():
            self._watch(each)

    def of(self, part: str) -> Handling | None:
        """Of a part; None where nobody does anything about it."""
        return self._by_part.get(part)

    def changes(self) -> dict[str, Handling | None]:
        """What changed since it was last asked for, by part; None for what ended."""
        changed, self._changed = self._changed, {}
        return changed

    @property
    def changed(self) -> bool:
        """Whether anything did."""
        return bool(self._changed)

    # What people ask for

    def carry_out(self, request: Request, find: FindOrder, serial_of: SerialOf) -> tuple[RequestState, str]:
        """Do one of the requests about orders, at the time of its asking; how it went, and one sentence of it."""
        order = find(request.target)
        if order is None:
            return RequestState.REFUSED, "this order is closed, or was written anew; look at the orders again"
        before, verb = self._by_part.get(order.part), Verb(request.verb)
        state = None if before is None else before.state
        if state not in _MAY.get(verb, ()):
            return RequestState.REFUSED, _why_not(verb, before)
        if verb is Verb.TAKE and before is not None and before.state is OrderState.TAKEN:
            if before.who == request.who:
                return RequestState.DONE, "you have it already"
            return RequestState.REFUSED, f"{before.who} has it; ask them, or have them give it back"
        if verb is Verb.GIVE_BACK:
            self._end(order.part)
            return RequestState.DONE, f"given back: {order.task}"
        to = OrderState.TAKEN if verb is Verb.TAKE else OrderState.WATCHING
        step = Handled(state=to, who=request.who, at=request.asked_at, why=request.why, request=request.id)
        steps = (*(before.steps if before is not None else ()), step)
        typed = request.arguments.get("serial")
        serial = typed if isinstance(typed, str) and typed.strip() else None
        handling = Handling(
            part=order.part,
            order=order.id,
            steps=steps if len(steps) <= MOST_STEPS else (steps[0], *steps[1 - MOST_STEPS :]),
            serial_before=before.serial_before if before and verb is Verb.FINISH else serial_of(order.part),
            serial_typed=serial if to is OrderState.WATCHING else None,
        )
        self._put(handling)
        if to is OrderState.TAKEN:
            return RequestState.DONE, f"taken: {order.task}"
        return RequestState.DONE, "done; it closes when what it was written for clears, and says so if it does not"

    # What controllers tell

    def round(self, controller: str, now: Seconds) -> None:
        """A round of a controller was read."""
        for part in tuple(self._watched.get(controller, ())):
            handling = self._by_part[part]
            rounds = handling.rounds + 1
            if rounds < self._rounds:
                self._by_part[part] = structs.replace(handling, rounds=rounds)  # not worth telling
                continue
            self._unwatch(part)
            step = Handled(state=OrderState.STILL_THERE, who=NOBODY, at=now, why=f"after {rounds} rounds")
            self._put(structs.replace(handling, rounds=rounds, steps=(*handling.steps, step)))

    def walked(self, controller: str, parts: Iterable[Part]) -> None:
        """A walk of a controller is finished: what stands now where something was put in?"""
        watched = self._watched.get(controller)
        for part in parts if watched else ():
            handling = self._by_part.get(part.id) if watched and part.id in watched else None
            if handling is not None and part.identity.serial != handling.serial_read:
                self._put(structs.replace(handling, serial_read=part.identity.serial))

    def close(self, part: str, at: Seconds) -> Handling | None:
        """The order of a part is closed: what was done about it, ended."""
        handling = self._by_part.get(part)
        if handling is None:
            return None
        self._end(part)
        step = Handled(state=OrderState.CLOSED, who=NOBODY, at=at)
        return structs.replace(handling, steps=(*handling.steps, step))

    # How

    def _put(self, handling: Handling) -> None:
        self._unwatch(handling.part)
        self._by_part[handling.part] = self._changed[handling.part] = handling
        self._watch(handling)

    def _end(self, part: str) -> None:
        self._unwatch(part)
        if self._by_part.pop(part, None) is not None:
            self._changed[part] = None

    def _watch(self, handling: Handling) -> None:
        if handling.state is OrderState.WATCHING:
            self._watched.setdefault(handling.part.partition(":")[0], set()).add(handling.part)

    def _unwatch(self, part: str) -> None:
        self._watched.get(part.partition(":")[0], set()).discard(part)


def _why_not(verb: Verb, before: Handling | None) -> str:
    if before is None:
        return "nobody has it, so there is nothing to give back"
    return f"{before.who} says that it is done; it is being watched"
