"""Which open condition follows from which, by plain rules of dependency: one trouble, its consequences folded under it.

A rule says what a cause shows, whom it reaches, and what it makes those show:

* a part that lost its power takes with it what runs on it alone: that is silent, off, gone, without voltage, its fans
  stand. What has another supply without trouble does not follow: then something else is wrong;
* a part that is gone takes with it what it contained;
* a controller that can't be reached, or is not well, takes with it the readings that it told;
* a fan, pump or cooling unit in trouble takes with it the heat of what it cools;
* a switch, port or cable in trouble takes with it what is connected through it;
* a blade or sled that reports itself not OK follows from the part in it that is at least as ill.

A cause must have been seen about when its consequence was; heat may come later. What is merely possible stays a
condition of its own: nothing is folded on location alone but a feed's loss (:mod:`collector.assess.outages`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from enum import Enum, auto

from msgspec import Struct

from collector.assess.book import missing_part
from collector.assess.outages import Outage
from collector.assess.tree import Tree
from collector.model import Condition, Health, Kind, Part, Quantity, Seconds, State, Status, Subject, Why

BEFORE, AFTER = 4, 10
"""Poll intervals by which a consequence may be seen before its cause and after it. Common practice, no source."""


class Shows(Enum):
    """What a condition comes to, as far as folding is concerned."""

    CUT_OFF = auto()
    SILENT = auto()
    GONE = auto()
    OFF = auto()
    NO_POWER = auto()
    NO_COOLING = auto()
    HOT = auto()
    NOT_OK = auto()
    OTHER = auto()


_MOVES_AIR = {Kind.FAN, Kind.PUMP, Kind.COOLING_UNIT, Kind.FILTER}
_GIVES_POWER = {Kind.POWER_SUPPLY, Kind.POWER_FEED, Kind.BATTERY, Kind.OUTLET, Kind.CIRCUIT}
_CARRIES_DATA = {Kind.SWITCH, Kind.PORT, Kind.CABLE, Kind.NETWORK_ADAPTER}
_HOLDS_OTHERS = {Kind.ENCLOSURE, Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.HOST}
_MOTION = {Quantity.ROTATION, Quantity.SPEED_RATIO, Quantity.AIR_FLOW, Quantity.LIQUID_FLOW}
_SUPPLY = {Quantity.VOLTAGE, Quantity.POWER, Quantity.CURRENT, Quantity.APPARENT_POWER}
_WITHOUT_POWER = {Shows.SILENT, Shows.GONE, Shows.OFF, Shows.NO_POWER, Shows.NO_COOLING}
INHERITED = {Shows.SILENT, Shows.GONE, Shows.OFF, Shows.NO_POWER, Shows.CUT_OFF}
"""Consequences that leave the part itself well; what is hot is hot, whoever's fault it is."""


class Cause(Struct, frozen=True):
    """From what a condition follows."""

    id: str
    inherited: bool


class _Case(Struct, frozen=True):
    """A condition as the rules see it."""

    condition: Condition
    at: int
    """Position of its part; -1 for the controller as a whole and for what is no longer listed."""
    shows: Shows
    rank: int
    """The lower, the likelier it is a cause of others."""
    vanished: bool
    """Whether it is about a part that is no longer listed; ``at`` is where that was."""


def causes_of(
    conditions: Iterable[Condition],
    tree: Tree,
    statuses: Mapping[str, Status],
    quantities: Mapping[tuple[str, str], Quantity],
    interval: Seconds,
    outages: Iterable[Outage] = (),
) -> dict[str, Cause]:
    """By condition id: the direct cause, for those that follow from another. Never in a circle.

    ``quantities``: by part id and sensor. ``interval``: of polling, seconds. ``outages``: what others tell of the power
    of the place.
    """
    cases = [_case(each, tree, statuses, quantities) for each in conditions]
    found: dict[str, Cause] = {}
    for outage in outages:
        for case in cases:
            if case.condition.id != outage.condition and _reached_by(outage, case, tree, interval):
                found.setdefault(case.condition.id, Cause(outage.condition, case.shows in INHERITED))
    lost = {case.at for case in cases if case.shows is Shows.NO_POWER or _supply_gone(case, tree)}
    for case in sorted(cases, key=lambda each: (each.rank, each.condition.opened, each.condition.id)):
        for other in _followers(case, cases, tree, lost):
            if other.condition.id in found or not _in_time(case, other, interval):
                continue
            if not leads_to(found, case.condition.id, other.condition.id):
                found[other.condition.id] = Cause(case.condition.id, other.shows in INHERITED)
    return found


def shows_of(
    condition: Condition, part: Part | None, statuses: Mapping[str, Status], quantity: Quantity | None
) -> Shows:
    """What a condition comes to."""
    kind = None if part is None else part.kind
    match condition.subject:
        case Subject.CONTROLLER:
            return Shows.CUT_OFF
        case Subject.STALE:
            return Shows.SILENT
        case Subject.MISSING:
            return Shows.GONE
        case Subject.THRESHOLD:
            lower = any((each.threshold or "").startswith("lower") for each in condition.evidence)
            if lower and kind in _MOVES_AIR and quantity in _MOTION:
                return Shows.NO_COOLING
            if lower and quantity in _SUPPLY:
                return Shows.NO_POWER
            if not lower and quantity is Quantity.TEMPERATURE:
                return Shows.HOT
            return Shows.OTHER
        case Subject.STATUS:
            status = None if part is None else statuses.get(part.id)
            if kind in _MOVES_AIR:
                return Shows.NO_COOLING
            if kind in _GIVES_POWER and condition.severity is Health.CRITICAL:
                return Shows.NO_POWER
            if status is not None and status.state is State.UNAVAILABLE_OFFLINE and status.health < Health.WARNING:
                return Shows.OFF
            return Shows.NOT_OK
        case _:
            return Shows.OTHER


def _case(
    condition: Condition, tree: Tree, statuses: Mapping[str, Status], quantities: Mapping[tuple[str, str], Quantity]
) -> _Case:
    at = -1 if condition.part is None else tree.at.get(condition.part, -1)
    part = tree.parts[at] if at >= 0 else None
    shows = shows_of(condition, part, statuses, quantities.get((condition.part or "", condition.sensor or "")))
    depth = sum(1 for _ in tree.ancestors(at)) if at >= 0 else 0
    rank = {Shows.CUT_OFF: 0, Shows.NO_POWER: 100, Shows.GONE: 200, Shows.NO_COOLING: 300}.get(shows, 400)
    vanished = shows is Shows.GONE and missing_part(condition) != condition.part
    return _Case(condition, at, shows, rank + min(depth, 99), vanished)


def _in_time(cause: _Case, other: _Case, interval: Seconds) -> bool:
    after = math.inf if other.shows in (Shows.HOT, Shows.NOT_OK) else AFTER * interval
    before = (AFTER if other.shows is Shows.NOT_OK or cause.shows is Shows.CUT_OFF else BEFORE) * interval
    return -before <= other.condition.opened - cause.condition.opened <= after


def leads_to(found: Mapping[str, Cause], start: str, end: str) -> bool:
    """Whether ``start`` is ``end`` or follows from it, over any number of steps."""
    step: str | None = start
    while step is not None:
        if step == end:
            return True
        step = cause.id if (cause := found.get(step)) is not None else None
    return False


def _followers(case: _Case, cases: list[_Case], tree: Tree, lost: set[int]) -> Iterator[_Case]:
    """What may follow from a case, whatever the times."""
    if case.shows is Shows.CUT_OFF:
        yield from (other for other in cases if other.shows is Shows.SILENT)
        return
    if case.at < 0 or case.vanished:
        return
    kind = tree.parts[case.at].kind
    within = set(tree.within(case.at))
    others = [other for other in cases if other is not case and other.at >= 0]
    if case.shows is Shows.NO_POWER or _supply_gone(case, tree):
        reached = _unpowered(case.at, within, tree, lost)
        yield from (each for each in others if each.at in reached and each.shows in _WITHOUT_POWER)
    if case.shows is Shows.GONE:
        yield from (each for each in others if each.at in within and each.shows in (Shows.SILENT, Shows.GONE))
    if case.shows is Shows.NO_COOLING or (case.shows is Shows.GONE and kind in _MOVES_AIR):
        cooled = _reach(case.at, Why.COOLED_BY, tree)
        yield from (each for each in others if each.at in cooled and each.shows is Shows.HOT)
    if case.shows is Shows.NOT_OK and kind is Kind.CONTROLLER:
        managed = _reach(case.at, Why.MANAGED_BY, tree)
        yield from (each for each in others if each.at in managed and each.shows is Shows.SILENT)
    if case.shows in (Shows.NOT_OK, Shows.GONE) and kind in _CARRIES_DATA:
        connected = _reach(case.at, Why.CONNECTED_THROUGH, tree)
        yield from (each for each in others if each.at in connected and _is_link(each, tree))
    if kind not in _HOLDS_OTHERS:
        around = set(tree.ancestors(case.at))
        for each in others:
            holds = each.at in around and tree.parts[each.at].kind in _HOLDS_OTHERS
            if holds and each.shows is Shows.NOT_OK and each.condition.severity <= case.condition.severity:
                yield each


def _supply_gone(case: _Case, tree: Tree) -> bool:
    return case.shows is Shows.GONE and case.at >= 0 and not case.vanished and tree.parts[case.at].kind in _GIVES_POWER


def _is_link(case: _Case, tree: Tree) -> bool:
    return case.shows is Shows.NOT_OK and tree.parts[case.at].kind in _CARRIES_DATA


def _reach(start: int, why: Why, tree: Tree) -> set[int]:
    """What depends on a part for one reason, and what that contains."""
    return {inner for outer in tree.dependents(start, why) for inner in tree.within(outer)} - {start}


def _unpowered(start: int, within: set[int], tree: Tree, lost: set[int]) -> set[int]:
    """What a part without power leaves without: what it contains and what runs on nothing else that is well."""
    reached, queue = set(within), [start]
    while queue:
        for fed in tree.dependents(queue.pop(), Why.POWERED_BY):
            if fed in reached and fed != start:
                continue
            if all(supply in lost or supply in reached for supply in tree.needs(fed, Why.POWERED_BY)):
                reached |= set(tree.within(fed))
                queue.append(fed)
    return reached


def _reached_by(outage: Outage, case: _Case, tree: Tree, interval: Seconds) -> bool:
    """Whether a feed that others tell to be lost explains a condition here."""
    apart = case.condition.opened - outage.opened
    if not -BEFORE * interval <= apart <= AFTER * interval:
        return False
    if case.shows is Shows.NO_POWER:  # a supply that has lost its input, whatever else feeds the place
        return outage.whole or (case.at >= 0 and tree.parts[case.at].kind is Kind.POWER_SUPPLY)
    return outage.whole and case.shows in (Shows.CUT_OFF, Shows.OFF, Shows.SILENT)
