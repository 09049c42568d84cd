"""Fault isolation for a fleet, incrementally: observations in, troubles out.

Only neighbourhoods in which something changed are weighed again; a round in which nothing changed costs nothing,
whatever the size of the fleet. Never reads a clock, never raises on what a controller said.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from hashlib import sha256

from msgspec import Struct, field, structs

from collector.assess.isolate.explain import Answer, Weighed, answer
from collector.assess.isolate.faults import Faults, Spot
from collector.assess.isolate.graph import Graph
from collector.assess.isolate.hearing import Hearing, told
from collector.assess.isolate.neighbourhood import around, explain
from collector.assess.words import clip
from collector.model import Defect, Health, Inventory, Observation, Seconds, Sign, SignKey, Trouble, Visible

TELL = 0.75
"""Probability that anything has failed from which on a trouble is told."""
KEEP = 0.4
"""Below this a trouble that was told is over."""
SETTLE = 90.0
"""Seconds that a trouble which comes on slowly must stand before it is told, where nobody has told a condition yet."""
CERTAIN = 0.95
"""How sure it must be that anything has failed for one that comes on slowly to be told at once."""
UNSURE = 0.85
UNSURE_SETTLE = 240.0
"""Seconds that a trouble must stand of which it is less than :data:`UNSURE` sure that anything has failed."""
OFF_DELAY = 300.0
"""Seconds that a trouble's signs must be gone before it is closed: what comes and goes is one trouble."""
MOVED = 0.1
"""Change of a probability that is news."""
MOST_WEAKER = 6
"""Sentences about what makes an answer weaker."""
_CRITICAL = {
    *(Sign.STANDS, Sign.NO_POWER, Sign.LEAKING, Sign.UNCORRECTABLE, Sign.CUT_OFF, Sign.OFF, Sign.FAULTY),
    *(Sign.ABSENT, Sign.LINK_DOWN),
}


class _Case(Struct):
    """A trouble under way."""

    id: str
    began: Seconds
    """Of the first sign."""
    met: Seconds
    """When isolation first saw it."""
    spots: set[Spot]
    told: Trouble | None = None
    sure_since: Seconds | None = None
    """Since when it could be told."""
    gone_since: Seconds | None = None
    due: Seconds = math.inf
    """When time alone may change it."""
    controllers: set[str] = field(default_factory=set)
    robbed: bool = False
    """Whether signs of it went to another trouble."""


class Isolation:
    """One for the fleet. Not thread-safe."""

    def __init__(self) -> None:
        self._graph = Graph()
        self._faults = Faults(self._graph)
        self._hearing = Hearing()
        self._dirty: set[str] = set()
        self._cases: dict[str, _Case] = {}
        self._case_at: dict[Spot, str] = {}
        self._cases_of: dict[str, set[str]] = {}
        self._waiting: set[str] = set()
        """Cases that time alone may change."""
        self._weak: dict[str, tuple[str, ...]] = {}
        """By controller: what its looks lack."""

    # What comes in

    def inventory(self, inventory: Inventory, visible: Visible, now: Seconds, weak: tuple[str, ...] = ()) -> None:
        """Take a finished walk of one controller, and what its looks can see from now on; ``weak``: what they lack."""
        self._hearing.controller(inventory.controller).visible = visible
        self._weak[inventory.controller] = weak
        self._faults.changed(inventory.controller)
        beside = self._graph.beside(inventory.controller)
        if self._graph.take(inventory):
            for name in (inventory.controller, *beside, *self._graph.beside(inventory.controller)):
                self._faults.changed(name)
                self._dirty.add(name)

    def observe(
        self,
        controller: str,
        present: Mapping[SignKey, Observation] | Iterable[Observation],
        visible: Visible,
        readable: bool,
        now: Seconds,
    ) -> None:
        """Take all that is seen of one controller now. While it can't be ``readable``, what it showed last stays, and
        what it did not show is unknown."""
        heard = self._hearing.controller(controller)
        spots = told(controller, present)
        gist = frozenset((spot, round(20 * min(1.0, each.weight)), each.condition) for spot, each in spots.items())
        troubled = bool(spots) or controller in self._cases_of
        if gist != heard.gist or (
            troubled and (readable != heard.readable or (visible is not heard.visible and visible != heard.visible))
        ):
            self._dirty.add(controller)
        heard.present, heard.gist, heard.visible, heard.readable = spots, gist, visible, readable
        if heard.last == -math.inf:
            heard.last = now

    def round(self, controller: str, now: Seconds) -> None:
        """A round or walk of a controller ended, whatever it brought: what it does not show counts from here on."""
        self._hearing.round(controller, now)

    # What is known

    def notes_of(self, controller: str) -> tuple[Defect, ...]:
        """What a controller tells of parts and dependencies that can't be so, by itself or beside what its neighbours
        tell; isolation is weaker for it there."""
        return self._graph.notes_of(controller)

    def _weaker(self, controllers: Iterable[str]) -> tuple[str, ...]:
        """What makes an answer about these controllers weaker, contradictions first."""
        told: dict[str, None] = {}
        names = list(controllers)
        for name in names:
            told.update(dict.fromkeys(note.detail for note in self._graph.notes_of(name)))
        for name in names:
            told.update(dict.fromkeys(f"{name}: {text}" for text in self._weak.get(name, ())))
        return tuple(told)[:MOST_WEAKER]

    @property
    def open(self) -> tuple[Trouble, ...]:
        """Every trouble that has been told and not closed."""
        return tuple(case.told for case in self._cases.values() if case.told is not None)

    def _name(self, spot: Spot) -> str:
        sheet = self._graph.sheet(spot[0])
        part = None if sheet is None else sheet.part(spot[1])
        return spot[0] if part is None else f"{clip(part.name)} of {spot[0]}"

    # What it means

    def solve(self, now: Seconds) -> tuple[Trouble, ...]:
        """Troubles opened, changed and closed since the last time; each stands there once."""
        self._hearing.now = now
        seeds, affected = self._touched(now)
        told: list[Trouble] = []
        done: set[Spot] = set()
        claimed: set[str] = set()
        for seed in seeds:
            if seed in done:
                continue
            neighbourhood = around(seed, self._hearing, self._faults)
            done.update(neighbourhood.spots)
            for weighed in explain(neighbourhood, self._hearing, self._name):
                told += self._take(weighed, claimed, now)
        for id in sorted(affected - claimed):
            case = self._cases.get(id)
            if case is not None:  # one whose signs belong to another trouble now is over at once
                told += self._end(case, now) if case.robbed or not case.spots else self._fade(case, now)
        return tuple(told)

    def _touched(self, now: Seconds) -> tuple[list[Spot], set[str]]:
        """Signs to start from, and the cases that may change."""
        affected = {id for controller in self._dirty for id in self._cases_of.get(controller, ())}
        affected |= {id for id in self._waiting if not self._cases[id].met <= now < self._cases[id].due}
        seeds = [spot for controller in sorted(self._dirty) for spot in sorted(self._seen_of(controller))]
        for id in sorted(affected):
            seeds += sorted(spot for spot in self._cases[id].spots if self._hearing.present(spot) is not None)
        self._dirty.clear()
        return list(dict.fromkeys(seeds)), affected

    def _seen_of(self, controller: str) -> Iterable[Spot]:
        return self._hearing.of[controller].present if controller in self._hearing.of else ()

    def _take(self, weighed: Weighed, claimed: set[str], now: Seconds) -> list[Trouble]:
        """Weighed signs become news of the case that they belong to, or a new one."""
        known = sorted(
            {id for spot in weighed.spots if (id := self._case_at.get(spot)) is not None and id not in claimed},
            key=lambda id: (self._cases[id].told is None, self._cases[id].met, id),
        )
        case = self._cases[known[0]] if known else self._new(weighed, now)
        claimed.add(case.id)
        found = answer(weighed, case.told.suspects[0].part if case.told and case.told.suspects else None)
        self._move(case, set(weighed.spots))
        case.gone_since = None
        sure = TELL if case.told is None else KEEP
        unsure = found.failed < sure or not found.suspects
        if unsure and case.told is not None:
            return self._end(case, now)
        told = any(each.condition is not None for each in weighed.seen)
        hurried = told or found.failed >= CERTAIN
        settle = UNSURE_SETTLE if found.failed < UNSURE else SETTLE if found.slow and not hurried else 0.0
        if unsure:
            case.sure_since = None
        elif case.sure_since is None or case.sure_since > now:
            case.sure_since = now
        hasty = case.told is None and case.sure_since is not None and now - case.sure_since < settle
        ripe = case.sure_since + settle if hasty and case.sure_since is not None else math.inf
        self._wait(case, min(ripe, weighed.due))
        if unsure or hasty:
            return []
        trouble = self._trouble(case, weighed, found, now)
        if case.told is not None and not _news(case.told, trouble):
            case.told = structs.replace(trouble, changed=case.told.changed)
            return []
        case.told = trouble
        return [trouble]

    def _new(self, weighed: Weighed, now: Seconds) -> _Case:
        began = min((each.since for each in weighed.seen if math.isfinite(each.since)), default=now)
        first = min(weighed.spots)
        digest = sha256("\0".join((*first, f"{now:.3f}")).encode("utf-8", "surrogatepass")).hexdigest()[:16]
        case = _Case(id=f"{first[0]}.trouble.{digest}", began=min(began, now), met=now, spots=set())
        self._cases[case.id] = case
        return case

    def _move(self, case: _Case, spots: set[Spot]) -> None:
        for spot in case.spots - spots:
            if self._case_at.get(spot) == case.id:
                del self._case_at[spot]
        for spot in spots:
            before = self._case_at.get(spot)
            if before is not None and before != case.id:
                self._cases[before].spots.discard(spot)
                self._cases[before].robbed = True
            self._case_at[spot] = case.id
        for controller in {spot[0] for spot in spots} - case.controllers:
            self._cases_of.setdefault(controller, set()).add(case.id)
            case.controllers.add(controller)
        case.spots, case.robbed = set(spots), False

    def _wait(self, case: _Case, due: Seconds) -> None:
        case.due = due
        if due < math.inf:
            self._waiting.add(case.id)
        else:
            self._waiting.discard(case.id)

    def _fade(self, case: _Case, now: Seconds) -> list[Trouble]:
        """Its signs are gone: over, once they have been for long enough."""
        if case.told is None:
            return self._end(case, now)
        if case.gone_since is None or case.gone_since > now:
            case.gone_since = now
        self._wait(case, case.gone_since + OFF_DELAY)
        return self._end(case, now) if now - case.gone_since >= OFF_DELAY else []

    def _end(self, case: _Case, now: Seconds) -> list[Trouble]:
        self._wait(case, math.inf)
        del self._cases[case.id]
        for spot in case.spots:
            if self._case_at.get(spot) == case.id:
                del self._case_at[spot]
        for controller in case.controllers:
            self._cases_of[controller].discard(case.id)
            if not self._cases_of[controller]:
                del self._cases_of[controller]
        if case.told is None:
            return []
        return [structs.replace(case.told, changed=now, closed=max(now, case.told.opened))]

    def _trouble(self, case: _Case, weighed: Weighed, found: Answer, now: Seconds) -> Trouble:
        worst = any(spot[2] in _CRITICAL for spot in weighed.spots)
        controllers = tuple(sorted({spot[0] for spot in weighed.spots}))
        return Trouble(
            id=case.id,
            opened=case.began,
            changed=now,
            severity=Health.CRITICAL if worst else Health.WARNING,
            controllers=controllers,
            suspects=found.suspects,
            group=found.group,
            also=found.also,
            conditions=tuple(sorted({each.condition for each in weighed.seen if each.condition is not None})),
            signs=tuple(dict.fromkeys(each.text for each in weighed.seen)),
            unexplained=min(1.0, max(0.0, 1.0 - found.failed)),
            next_look=found.next_look,
            weaker=self._weaker(controllers),
        )


def _news(before: Trouble, now: Trouble) -> bool:
    """Whether people would want to hear of it again."""
    if (before.group, before.also, before.severity, before.controllers, before.conditions) != (
        now.group,
        now.also,
        now.severity,
        now.controllers,
        now.conditions,
    ):
        return True
    one, other = before.suspects[0], now.suspects[0]
    return (one.part, one.fault) != (other.part, other.fault) or abs(one.probability - other.probability) > MOVED
