"""What people saw at fronts, for the fleet: kept until it is superseded or too old, by controller.

One for the fleet, fed by requests and read by every ward's look (:mod:`collector.assess.looks.witness`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from collector.assess.tree import Tree
from collector.model import Kind, Lamps, LampState, Noticed, Request, RequestState, Seconds, Sighting

HOURS = 8.0
"""For which a sighting counts: a shift. Common practice, no source."""
_KINDS: Mapping[Noticed, frozenset[Kind]] = {Noticed.FAN_STANDS: frozenset({Kind.FAN, Kind.PUMP})}
"""Of which parts something can be noticed; of any, where it is not here."""


class Sightings:
    """All of them. ``hours``: how long one counts."""

    def __init__(self, standing: Iterable[Sighting] = (), hours: float = HOURS) -> None:
        self._hours = hours
        self._by_controller: dict[str, dict[str, Sighting]] = {}
        self._changed: dict[str, Sighting | None] = {}
        for sighting in standing:
            self._by_controller.setdefault(sighting.controller, {})[sighting.part] = sighting

    def of(self, controller: str) -> Mapping[str, Sighting]:
        """Those of a controller's parts, by part."""
        return self._by_controller.get(controller, {})

    def take(self, request: Request, tree: Tree, told: Lamps | None) -> tuple[RequestState, str]:
        """Take a request to observe; ``told``: what its front should show by now, as the controller tells it."""
        at = tree.at.get(request.target)
        if at is None:
            return RequestState.REFUSED, "there is no such part any more; look again"
        part = tree.parts[at]
        try:
            seen, noticed = _seen(request), _noticed(request)
        except ValueError as error:
            return RequestState.REFUSED, str(error)
        if seen is None and not noticed:
            return RequestState.REFUSED, "it says nothing of what was seen"
        for each in noticed:
            if part.kind not in _KINDS.get(each, frozenset(Kind)):
                return RequestState.REFUSED, f"a {part.kind.value} can't be seen so: {each.value}"
        sighting = Sighting(
            part=part.id,
            controller=part.controller,
            request=request.id,
            who=request.who,
            at=request.asked_at,
            until=request.asked_at + 3600.0 * self._hours,
            seen=seen,
            told=told,
            noticed=noticed,
        )
        self._by_controller.setdefault(part.controller, {})[part.id] = self._changed[part.id] = sighting
        return RequestState.DONE, "noted; it counts until somebody looks again, for a while"

    def followed(self, request: Request, tree: Tree, told: Lamps | None, on: bool, good: bool) -> None:
        """A lamp was switched on request: ``good`` where the controller says that it followed.

        One that did not follow shows another lamp than it should, as if somebody had seen it; one that did ends that.
        """
        if (at := tree.at.get(request.target)) is None:
            return
        part = tree.parts[at]
        known = self._by_controller.get(part.controller, {}).get(part.id)
        if good:
            if known is not None and known.by_deed:
                del self._by_controller[part.controller][part.id]
                self._changed[part.id] = None
            return
        blue = LampState.UNKNOWN if told is None else told.blue
        amber = (LampState.OFF, LampState.BLINK) if on else (LampState.BLINK, LampState.OFF)
        sighting = Sighting(
            part=part.id,
            controller=part.controller,
            request=request.id,
            who=request.who,
            at=request.asked_at,
            until=request.asked_at + 3600.0 * self._hours,
            seen=Lamps(blue, amber[0]),
            told=Lamps(blue, amber[1]),
            by_deed=True,
        )
        self._by_controller.setdefault(part.controller, {})[part.id] = self._changed[part.id] = sighting

    def lapse(self, now: Seconds) -> None:
        """Forget what is too old."""
        for controller, sightings in tuple(self._by_controller.items()):
            for part in [part for part, sighting in sightings.items() if sighting.until <= now]:
                del sightings[part]
                self._changed[part] = None
            if not sightings:
                del self._by_controller[controller]

    def changes(self) -> dict[str, Sighting | None]:
        """What changed since it was last asked for, by part; None for what no longer counts."""
        changed, self._changed = self._changed, {}
        return changed


def _seen(request: Request) -> Lamps | None:
    told = [request.arguments.get(colour) for colour in ("blue", "amber")]
    if told == [None, None]:
        return None
    words = {state.value for state in LampState}
    states = []
    for value in told:
        if value is not None and value not in words:
            raise ValueError("a lamp is off, on or blinks")
        states.append(LampState.UNKNOWN if value is None else LampState(str(value)))
    return Lamps(*states)


def _noticed(request: Request) -> tuple[Noticed, ...]:
    told = request.arguments.get("noticed")
    if told is None:
        return ()
    words = {each.value: each for each in Noticed}
    lines = str(told).split("\n")
    if any(line not in words for line in lines):
        raise ValueError("what was noticed is not among what can be said")
    return tuple(dict.fromkeys(words[line] for line in lines))
