"""A controller in care: its watch, the looks that seek signs in what it tells, and the answers that follow.

A ward stands where the poll path wants a watch: it is fed walks and rounds, and gives assessments. The watch says what
is wrong; the looks add what no threshold tells; the fleet's :class:`Answering` makes troubles, work orders and
margins of both. A round in which no look changes its mind costs the looks' own pass and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from msgspec import Struct, structs

from collector.assess.looking import Look, Seen
from collector.assess.looks.memory import Damaged, Learns, pack, unpack
from collector.assess.watch import Watch
from collector.model import (
    Assessment,
    Defect,
    Event,
    Figure,
    Health,
    Inventory,
    Margin,
    Misfit,
    Observation,
    Outcome,
    Round,
    Seconds,
    Sign,
    SignKey,
    Status,
    Trouble,
    Visible,
    WorkOrder,
)

READ = frozenset({Outcome.OK, Outcome.PARTIAL})
"""Outcomes of rounds in which something was read."""

AHEAD = 300.0
"""Seconds that what was learnt may lie ahead: our clock was set back by more, and its times mean nothing."""
AFTER_HANDS = 600.0
"""Seconds after a declared maintenance in which what was at work on may still settle."""
ROUNDS_AFTER_HANDS = 8
"""Rounds in which it may, at least: states that seldom change are read in turns, and looks hold what they saw."""


class Answers(Struct, frozen=True, kw_only=True):
    """What is new about troubles and orders, whoever's parts they are about."""

    troubles: tuple[Trouble, ...] = ()
    orders: tuple[WorkOrder, ...] = ()


class Answering(Protocol):
    """What makes answers of signs, for the whole fleet."""

    def walked(
        self,
        inventory: Inventory,
        statuses: Mapping[str, Status],
        visible: Visible,
        now: Seconds,
        weak: tuple[str, ...],
    ) -> tuple[Defect, ...]:
        """Take a finished walk of one controller, and what its looks lack; what it tells that can't be so."""

    def observed(
        self,
        controller: str,
        present: Mapping[SignKey, Observation],
        visible: Visible,
        readable: bool,
        now: Seconds,
    ) -> None:
        """Take all that is seen, and could be, at one controller now; ``readable``: whether it can be read."""

    def assessed(self, assessment: Assessment) -> None:
        """Take what the watch made of a walk or round."""

    def answer(self, controller: str, now: Seconds) -> Answers:
        """What is new, a round or walk of one controller having ended."""


class Listens(Protocol):
    """A look that is told of conditions as well."""

    def assessed(self, assessment: Assessment) -> None:
        """Take what the watch made of a walk or round, before the look is told of that itself."""


class Lacks(Protocol):
    """A look that knows what it would need."""

    @property
    def weak(self) -> tuple[str, ...]:
        """What can't be said of its controller, and why: one sentence each."""


class Fits(Protocol):
    """What holds sleds against their designs."""

    misfits: tuple[Misfit, ...]
    """As of the last walk."""


class Measures(Protocol):
    """What finds margins; see :mod:`collector.assess.margins`."""

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""

    def round(self, seen: Seen) -> Sequence[Margin]:
        """Take a finished round; the margins that changed by enough to tell."""


class WorksOut(Protocol):
    """What works figures out of readings; see :mod:`collector.assess.margins`."""

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""

    def round(self, seen: Seen) -> Sequence[Figure]:
        """Take a finished round; the figures that changed by enough to tell."""


class Ward:
    """One controller's; ``told`` is among ``looks``, and hears of the watch's conditions first. ``lacks``: those looks
    that know what they would need; ``learns``: those with something to remember; ``learnt``: what :meth:`remember` gave
    in an earlier run."""

    def __init__(
        self,
        watch: Watch,
        looks: Sequence[Look],
        told: Listens,
        answering: Answering,
        measures: Sequence[Measures] = (),
        fits: Fits | None = None,
        works: Sequence[WorksOut] = (),
        lacks: Sequence[Lacks] = (),
        learns: Sequence[Learns] = (),
        learnt: bytes | None = None,
    ) -> None:
        self.watch = watch
        self._looks = tuple(looks)
        self._told = told
        self._answering = answering
        self._measures = tuple(measures)
        self._fits = fits
        self._works = tuple(works)
        self._lacks = tuple(lacks)
        self._learns = tuple(learns)
        self._learnt = learnt
        self._walked = False
        self._misfits: tuple[Misfit, ...] | None = None
        self._idle: frozenset[str] = frozenset()
        self._present: Mapping[SignKey, Observation] = {}
        self._readable = True
        self._withheld: frozenset[str] = frozenset()
        self._at_work: frozenset[str] = frozenset()
        self._at_work_until: Seconds = 0.0
        self._rounds_after = 0

    def inventory(self, inventory: Inventory, now: Seconds) -> Assessment:
        """Take a finished walk."""
        assessment = self.watch.inventory(inventory, now)
        self._hear(assessment)
        for look in self._looks:
            look.inventory(inventory, now)
        for measure in self._measures:
            measure.inventory(inventory, now)
        for each in self._works:
            each.inventory(inventory, now)
        stale = self._recall(now)
        weak = tuple(text for look in self._lacks for text in look.weak)
        defects = self._answering.walked(inventory, self.watch.statuses, self._visible(), now, weak)
        seen = Seen(
            time=now,
            frame=inventory.frame,
            statuses=self.watch.statuses,
            idle=self.watch.idle,
            outcome=Outcome.OK,
            clock_offset=inventory.clock_offset,
        )
        found = self._held(self._look(assessment, seen, anew=True))
        if stale:
            found = structs.replace(found, events=(*found.events, *stale))
        return structs.replace(found, defects=defects) if defects else found

    def remember(self, now: Seconds) -> bytes | None:
        """What the looks have learnt, to be given to another ward of this controller; None before the first walk."""
        return pack({look.kept: look.learnt() for look in self._learns}, now) if self._walked else None

    def _recall(self, now: Seconds) -> list[Event]:
        """After the first walk, have looks take up what they knew before a restart; tells of what can't be read."""
        told, self._learnt, self._walked = self._learnt, None, True
        if told is None:
            return []
        try:
            memory = unpack(told)
            if memory.time > now + AHEAD:
                raise Damaged("it was written later than now, by our clock")
            for look in self._learns:
                if (learnt := memory.looks.get(look.kept)) is not None:
                    look.recall(learnt, memory.time, now)
        except Damaged as error:
            text = f"what was learnt before the restart can't be taken up, and is learnt anew: {error}"
            event = Event(
                time=now,
                controller=self.watch.controller,
                part=None,
                subject="learns anew",
                severity=Health.WARNING,
                text=text,
            )
            return [event]
        return []

    def _held(self, assessment: Assessment) -> Assessment:
        """With how the sleds differ from their designs, where that is not what was told."""
        if self._fits is None or self._fits.misfits == self._misfits:
            return assessment
        self._misfits = self._fits.misfits
        return structs.replace(assessment, misfits=self._misfits)

    def round(self, round: Round, now: Seconds) -> Assessment:
        """Take a finished round."""
        assessment = self.watch.round(round, now)
        self._hear(assessment)
        seen = Seen(
            time=now,
            frame=round.frame,
            statuses=self.watch.statuses,
            idle=self.watch.idle,
            outcome=round.outcome,
            error=round.error,
            seconds=round.finished - round.started,
            requests=round.requests,
            clock_offset=round.clock_offset,
        )
        return self._look(assessment, seen)

    def _hear(self, assessment: Assessment) -> None:
        self._answering.assessed(assessment)
        self._told.assessed(assessment)

    def _hands(self, now: Seconds) -> frozenset[str]:
        """Parts that hands are at work on, or were a moment ago: what they show, and don't, is no evidence."""
        maintained = self.watch.maintained(now)
        if maintained:
            self._at_work, self._at_work_until = maintained | self._at_work, now + AFTER_HANDS
            self._rounds_after = 0
        elif self._at_work:
            self._rounds_after += 1
            settled = not 0.0 <= self._at_work_until - now <= AFTER_HANDS
            if settled and self._rounds_after > ROUNDS_AFTER_HANDS:
                self._at_work = frozenset()
        return self._at_work

    def _visible(self) -> Visible:
        visible: dict[str, frozenset[Sign]] = {}
        for look in self._looks:
            for part, signs in look.visible.items():
                if part in self._withheld:
                    continue
                known = visible.get(part)
                visible[part] = signs if known is None else known | signs
        return visible

    def _look(self, assessment: Assessment, seen: Seen, *, anew: bool = False) -> Assessment:
        readable = seen.outcome in READ
        withheld = self._hands(seen.time)
        moved = anew or readable != self._readable or withheld != self._withheld
        self._withheld = withheld
        for look in self._looks:
            moved |= look.round(seen)
        self._readable = readable
        if moved:
            present: dict[SignKey, Observation] = {}
            for look in self._looks:
                for key, observation in look.present.items():
                    if key[0] in withheld:
                        continue
                    known = present.get(key)
                    if known is None or known.weight < observation.weight:
                        present[key] = observation
            self._present = present
            self._answering.observed(self.watch.controller, present, self._visible(), readable, seen.time)
        answers = self._answering.answer(self.watch.controller, seen.time)
        margins = [margin for measure in self._measures for margin in measure.round(seen)] if readable else []
        figures = [figure for each in self._works for figure in each.round(seen)] if readable else []
        if not (answers.troubles or answers.orders or margins or figures):
            return assessment
        return structs.replace(
            assessment,
            troubles=answers.troubles,
            orders=answers.orders,
            margins=tuple(margins),
            figures=tuple(figures),
        )
