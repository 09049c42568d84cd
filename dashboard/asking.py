"""How pages ask the collector for something: who may, what exactly, and what came of it. No Streamlit in here.

::

    desk = Desk(state, viewer)                      # viewer: dashboard.entry.viewer.viewer()
    if (why := desk.refusal(Verb.LOCATE)) ...       # show `why` instead of the form
    number = desk.ask(desk.locate(facts, part, who=typed_name, why="to find it"))
    desk.progress(number)                           # sentence, state and whether more is to come

Every refusal is a :class:`~collector.assess.asking.CantAsk` with one sentence for the person.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from collector.assess import asking, deeds
from collector.assess.asking import CantAsk
from collector.assess.tree import Tree
from collector.model import (
    UNDER_WAY,
    CollectorState,
    Fallen,
    Lamps,
    Link,
    Lit,
    Noticed,
    Part,
    Permits,
    PowerWish,
    Request,
    RequestState,
    Seconds,
    Sighting,
    Status,
    Verb,
    WorkOrder,
)
from collector.store.reader import Reader
from collector.store.requests import ask
from dashboard.people import Viewer

__all__ = ["CantAsk", "Choice", "Desk", "Progress", "Standing"]

_HEARTBEAT = 15.0
"""Seconds without a heartbeat after which no collector is taken to run; it beats every 5 s."""


@dataclass(frozen=True, slots=True)
class Standing:
    """All that its controller tells of a part's surroundings: made once a look, from what the page has read anyway."""

    tree: Tree
    statuses: Mapping[str, Status]

    @classmethod
    def of(cls, parts: Sequence[Part], links: Sequence[Link], statuses: Mapping[str, Status]) -> Standing:
        """Of the parts, links and statuses of one controller."""
        return cls(Tree(parts, links), statuses)


@dataclass(frozen=True, slots=True)
class Choice:
    """What the form for power must say before it asks."""

    label: str
    """To be typed."""
    hosts: tuple[Fallen, ...]
    """Every host that goes down, to be named."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a request is."""

    state: RequestState
    text: str
    """One sentence for the person."""
    settled: bool
    good: bool
    """Whether it was done, all of it."""


class Desk:
    """Where one viewer of one store asks. Cheap: make one whenever a page is drawn."""

    def __init__(self, state_dir: Path, viewer: Viewer, now: Callable[[], Seconds] = time.time) -> None:
        self.viewer = viewer
        self._state_dir = state_dir
        self._now = now

    def refusal(self, verb: Verb, collector: CollectorState | None = None, controller: str | None = None) -> str | None:
        """Why this viewer can't ask for this now, one sentence; None where they can.

        With ``collector``, the mark in the store, also whether one runs and what its fleet file allows;
        ``controller``: of the part, for power.
        """
        if (why := self.viewer.refusal(verb)) is not None or collector is None:
            return why
        if not self._runs(collector):
            return "no collector runs on this state, so nobody would carry it out"
        if verb is Verb.LOCATE and not collector.permits.locate:
            return "the fleet file does not allow locate lamps to be switched"
        if verb is Verb.POWER and not collector.permits.power_for(controller or ""):
            return "the fleet file does not allow power actions here"
        return None

    def ask(self, request: Request) -> int:
        """Ask for it; gives the request's number. The same asked twice before it was begun is one request.

        Raises :class:`CantAsk`, and a :class:`~collector.store.errors.StoreError` where the store can't be written.
        """
        if (why := self.viewer.refusal(request.verb)) is not None:
            raise CantAsk(why)
        if self.viewer.name and request.who != self.viewer.name:
            raise CantAsk("a request goes under the name of who signed in")
        return ask(self._state_dir, request)

    def progress(self, number: int) -> Progress | None:
        """How far a request is; None where there is none."""
        with Reader(self._state_dir) as reader:
            request, collector = reader.asked.request(number), reader.collector()
        if request is None:
            return None
        settled = request.state not in UNDER_WAY
        if settled:
            text = f"{request.state.value.capitalize()}: {request.result}"
        elif request.state is RequestState.TAKEN_UP:
            text = "The collector is at it."
        elif self._now() > request.expires:
            text = "Nobody carried it out in time, and nobody will."
        elif collector is None or not self._runs(collector):
            text = "Asked for; no collector runs here now."
        else:
            text = "Asked for; the collector takes it up in a moment."
        expired = not settled and self._now() > request.expires and request.state is RequestState.ASKED
        return Progress(request.state, text, settled or expired, request.state is RequestState.DONE)

    # What can be asked for: each gives a request for ask(). ``who``: as typed, for who is not signed in.

    def locate(
        self,
        standing: Standing,
        part: str,
        *,
        who: str = "",
        why: str,
        on: bool = True,
        minutes: float | None = None,
        permits: Permits | None = None,
    ) -> Request:
        """Switch the locate lamp that leads to a part, on for ``minutes`` or as long as the fleet file says."""
        return asking.locate(
            standing.tree,
            standing.statuses,
            part,
            who=self._name(who),
            why=why,
            now=self._now(),
            on=on,
            minutes=minutes,
            permits=permits,
        )

    def power(
        self,
        standing: Standing,
        part: str,
        how: PowerWish,
        *,
        confirm: str,
        who: str = "",
        why: str,
        permits: Permits | None = None,
    ) -> Request:
        """Switch or restart; name :meth:`choice` to the person before, and take the label that they typed."""
        return asking.power(
            standing.tree, part, how, confirm=confirm, who=self._name(who), why=why, now=self._now(), permits=permits
        )

    def observe(
        self,
        part: Part,
        *,
        who: str = "",
        seen: Lamps | None = None,
        noticed: tuple[Noticed, ...] = (),
        why: str = "",
    ) -> Request:
        """Say what a front shows; a lamp that was not looked at is unknown."""
        return asking.observe(part, who=self._name(who), now=self._now(), seen=seen, noticed=noticed, why=why)

    def take(self, order: WorkOrder, *, who: str = "", why: str = "") -> Request:
        """Take a work order on."""
        return asking.take(order, who=self._name(who), now=self._now(), why=why)

    def finish(self, order: WorkOrder, *, who: str = "", serial: str = "", why: str = "") -> Request:
        """Say that it is done, and the serial number of what was put in."""
        return asking.finish(order, who=self._name(who), now=self._now(), serial=serial, why=why)

    def give_back(self, order: WorkOrder, *, who: str = "", why: str = "") -> Request:
        """Leave it to others."""
        return asking.give_back(order, who=self._name(who), now=self._now(), why=why)

    def acknowledge(self, condition: str, *, who: str = "", why: str) -> Request:
        """Say that somebody looks after a condition."""
        return asking.acknowledge(condition, who=self._name(who), why=why, now=self._now())

    def shelve(self, condition: str, until: Seconds, *, who: str = "", why: str) -> Request:
        """Set a condition aside until a time."""
        return asking.shelve(condition, until, who=self._name(who), why=why, now=self._now())

    # What there is to know before

    @staticmethod
    def bearer(standing: Standing, part: str) -> Part | None:
        """The part whose lamp leads to this one: itself, or the nearest that holds it; None where none has one."""
        at = standing.tree.at.get(part)
        found = None if at is None else deeds.lamp_bearer(standing.tree, at, standing.statuses)
        return None if found is None else standing.tree.parts[found]

    @staticmethod
    def is_lit(standing: Standing, part: str) -> bool:
        """Whether the controller says that the part's own locate lamp is on."""
        at = standing.tree.at.get(part)
        return at is not None and deeds.is_lit(standing.tree, at, standing.statuses)

    @staticmethod
    def choice(standing: Standing, part: str) -> Choice | None:
        """What a form for power must name; None for a part whose power can't be switched."""
        tree, at = standing.tree, standing.tree.at.get(part)
        if at is None or deeds.switched_at(tree, at) is None:
            return None
        return Choice(deeds.label(tree, at), deeds.affected(tree, at))

    def lit(self, part: str) -> Lit | None:
        """Who had a part's lamp lit, and until when; None where it was not lit from here."""
        with Reader(self._state_dir) as reader:
            return reader.asked.held_of(Lit, part)

    def sighting(self, part: str) -> Sighting | None:
        """What somebody saw at a part's front, as far as it still counts."""
        with Reader(self._state_dir) as reader:
            found = reader.asked.held_of(Sighting, part)
        return found if found is not None and found.until > self._now() else None

    def requests(self, limit: int = 50) -> list[Request]:
        """What people asked for, newest first."""
        with Reader(self._state_dir) as reader:
            return reader.asked.requests(limit=limit)

    def _name(self, typed: str) -> str:
        return self.viewer.name or typed

    def _runs(self, collector: CollectorState) -> bool:
        return collector.stopped is None and self._now() - collector.heartbeat <= _HEARTBEAT
