"""What is open for one controller: opens, changes and closes conditions as findings come and go."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from msgspec import Struct, structs

from collector.assess.chatter import RAISES, Chatter
from collector.assess.words import condition_id, times_in
from collector.model import Condition, Evidence, Health, Part, Seconds, Subject

MOST_EVIDENCE = 8
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


class Finding(Struct, frozen=True, kw_only=True):
    """Something wrong as it looks right now."""

    id: str
    part: str | None
    sensor: str | None = None
    subject: Subject
    severity: Health
    text: str
    since: Seconds
    """When it was first seen."""
    reading: Evidence | None = None
    """The newest reading behind it."""
    reports: tuple[Evidence, ...] = ()
    """What else speaks for it now: what the controller says itself."""


class Book:
    """The open conditions of one controller, in groups: a part's own by its id, others under names of their own.

    ``refresh`` is the number of seconds after which an open condition that only got new evidence is told again as
    changed; until then new evidence is kept here alone, so that a standing condition costs the store next to nothing.
    ``chatter`` says what comes and goes so often that it is held open; without it nothing is.
    """

    def __init__(
        self,
        controller: str,
        refresh: float,
        open_conditions: Iterable[Condition] = (),
        chatter: Chatter | None = None,
    ) -> None:
        self._controller = controller
        self._refresh = refresh
        self._groups: dict[str, dict[str, Condition]] = {}
        self._told: dict[str, Seconds] = {}
        self._home: dict[str, str] = {}
        """Group by id of every open condition."""
        self._chatter = chatter
        self._opened: dict[str, str] = {}
        """Group by id, as for the changed ones: how a condition stands is told when it is collected."""
        self._changed: dict[str, str] = {}
        self._closed: list[Condition] = []
        self._announced: set[str] = set()
        self.held: dict[str, str] = {}
        """Group by id of the conditions that are open only because they come and go."""
        self.dirty: set[str] = set()
        """Groups whose set of conditions or severities changed since the last :meth:`collect`."""
        for condition in open_conditions:
            if condition.closed is None:
                self._groups.setdefault(group_of(condition), {})[condition.id] = condition
                self._told[condition.id] = condition.changed
                self._home[condition.id] = group_of(condition)
                if chatter is not None and condition.raised >= RAISES:
                    last = max(condition.changed, *(each.time for each in condition.evidence), condition.opened)
                    chatter.restore(condition.id, condition.severity, last)

    @property
    def any(self) -> bool:
        """Whether a condition is open."""
        return bool(self._groups)

    def groups(self) -> list[str]:
        """Names of the groups with open conditions."""
        return list(self._groups)

    def all(self) -> list[Condition]:
        """Every open condition."""
        return [condition for group in self._groups.values() for condition in group.values()]

    def find(self, condition: str) -> Condition | None:
        """The open condition of an id."""
        group = self._home.get(condition)
        return None if group is None else self._groups[group][condition]

    def open_in(self, group: str) -> dict[str, Condition]:
        """The open conditions of a group, by id; not to be changed."""
        return self._groups.get(group, {})

    def is_open(self, group: str, condition: str) -> bool:
        """Whether a condition is open in a group."""
        return condition in self._groups.get(group, ())

    def settle(self, group: str, findings: Sequence[Finding], now: Seconds, gone: str = "no longer so") -> None:
        """Make a group's open conditions be these findings: open what is new, change what is, close the rest.

        ``gone`` is the last evidence of what closes, where no reading tells it better.
        """
        known = self._groups.get(group)
        if not findings and not known:
            return
        known = self._groups.setdefault(group, {})
        wanted = {finding.id: finding for finding in findings}
        for over in [each for each in known if each not in wanted]:
            if self._chatter is not None and self._chatter.gone(over, now):
                self.held[over] = group
            else:
                self._close(group, over, now, Evidence(time=now, text=gone))
        for finding in wanted.values():
            if (condition := known.get(finding.id)) is None:
                self._open(group, finding, now)
            else:
                self._update(group, condition, finding, now)
        if not known:
            del self._groups[group]

    def open(self, group: str, finding: Finding, now: Seconds) -> None:
        """Open one condition, or take news of it where it is open, and leave the group's others alone."""
        if (condition := self._groups.setdefault(group, {}).get(finding.id)) is None:
            self._open(group, finding, now)
        else:
            self._update(group, condition, finding, now)

    def close(self, group: str, over: str, now: Seconds, why: str) -> None:
        """Close one open condition, by id, and leave the group's others alone."""
        if self._chatter is not None:
            self._chatter.forget(over)
        self._close(group, over, now, Evidence(time=now, text=why))
        if not self._groups[group]:
            del self._groups[group]

    def came(self, condition: str, severity: Health, now: Seconds) -> bool:
        """Take it that something is so, of which no condition need be open; whether it chatters."""
        return self._chatter is not None and self._chatter.seen(condition, severity, now) > 0

    def went(self, condition: str, now: Seconds) -> None:
        """Take it that something is no longer so, of which no condition need be open."""
        if self._chatter is not None:
            self._chatter.gone(condition, now)

    def release(self, now: Seconds) -> None:
        """Close what was held and has been steady for long enough."""
        if self._chatter is None:
            return
        for condition, group in list(self.held.items()):
            if not self._chatter.often(condition, now):
                self.close(group, condition, now, "came and went, and has been steady since")

    def put(self, condition: Condition) -> None:
        """Replace an open condition by itself with another cause or other marks; told as changed where it differs."""
        group = self._home.get(condition.id)
        if group is None or (before := self._groups[group][condition.id]) == condition:
            return
        self._groups[group][condition.id] = condition
        self._changed[condition.id] = group
        if before.inherited != condition.inherited:
            self.dirty.add(group)
        if condition.announced and not before.announced:
            self._announced.add(condition.id)

    def collect(self) -> tuple[tuple[Condition, ...], tuple[Condition, ...], tuple[Condition, ...]]:
        """(opened, changed, closed) since the last time, and forget them."""
        opened = tuple(self._groups[group][each] for each, group in self._opened.items())
        changed = tuple(self._groups[group][each] for each, group in self._changed.items() if each not in self._opened)
        told = (opened, changed, tuple(self._closed))
        self._opened, self._changed, self._closed, self.dirty = {}, {}, [], set()
        self._announced.clear()
        return told

    @property
    def announced(self) -> frozenset[str]:
        """Ids of conditions, open before, that are to draw attention from now on; until the next :meth:`collect`."""
        return frozenset(self._announced - self._opened.keys())

    def _steadied(self, finding: Finding, before: Condition | None, now: Seconds) -> tuple[Finding, int]:
        """The finding as it is told, and how often it came since it opened."""
        self.held.pop(finding.id, None)
        raised = 1 if before is None else before.raised
        if self._chatter is None:
            return finding, raised
        often = self._chatter.seen(finding.id, finding.severity, now)
        if not often:
            return finding, raised
        worst = finding.severity if before is None else max(finding.severity, before.severity)
        text = f"{finding.text}; comes and goes, {times_in(often, now - self._chatter.since(finding.id))}"
        return structs.replace(finding, severity=worst, text=text), max(raised, often)

    def _open(self, group: str, finding: Finding, now: Seconds) -> None:
        finding, raised = self._steadied(finding, None, now)
        condition = Condition(
            id=finding.id,
            controller=self._controller,
            part=finding.part,
            sensor=finding.sensor,
            subject=finding.subject,
            severity=finding.severity,
            text=finding.text,
            opened=min(finding.since, now),
            changed=now,
            evidence=_merged((), finding.reading, finding.reports),
            raised=raised,
        )
        self._groups[group][condition.id] = condition
        self._opened[condition.id] = group
        self._home[condition.id] = group
        self._told[condition.id] = now
        self.dirty.add(group)

    def _update(self, group: str, condition: Condition, finding: Finding, now: Seconds) -> None:
        finding, raised = self._steadied(finding, condition, now)
        evidence = _merged(condition.evidence, finding.reading, finding.reports)
        differs = finding.severity is not condition.severity or _gist(finding.text) != _gist(condition.text)
        due = evidence != condition.evidence and not 0 <= now - self._told[condition.id] < self._refresh
        condition = structs.replace(
            condition,
            severity=finding.severity,
            text=finding.text,
            part=finding.part,
            changed=now if differs else condition.changed,
            evidence=evidence,
            raised=raised,
        )
        self._groups[group][condition.id] = condition
        if differs or due:
            self._changed[condition.id] = group
            self._told[condition.id] = now
        if differs:
            self.dirty.add(group)

    def _close(self, group: str, over: str, now: Seconds, why: Evidence) -> None:
        condition = self._groups[group].pop(over)
        self._told.pop(over, None)
        self._home.pop(over, None)
        self.held.pop(over, None)
        self._changed.pop(over, None)
        self._announced.discard(over)
        self.dirty.add(group)
        if self._opened.pop(over, None) is not None:
            return  # opened and over before anybody was told
        evidence = (*condition.evidence[: MOST_EVIDENCE - 1], why)
        self._closed.append(structs.replace(condition, closed=max(now, condition.opened), evidence=evidence))


VANISHED, CONTACT, GAPS, AIR = "vanished parts", "contact", "gaps", "air"
"""Groups of conditions that no single part's judgement settles. No part id looks like these: it holds a colon."""


def group_of(condition: Condition) -> str:
    """The group that an open condition from before a restart belongs to."""
    match condition.subject:
        case Subject.CONTROLLER:
            return CONTACT
        case Subject.STALE | Subject.WRONG:
            return GAPS
        case Subject.AIR:
            return AIR
        case Subject.MISSING if missing_part(condition) != condition.part:
            return VANISHED
        case _:
            return condition.part or CONTACT


def missing_part(condition: Condition) -> str | None:
    """Id of the part that a MISSING condition is about: its own part where that is still listed, else one in it."""
    source = condition.evidence[0].source if condition.evidence else None
    return None if source is None else f"{condition.controller}:{source}"


def missing_finding(controller: str, part: Part, listed_under: str | None, text: str, now: Seconds) -> Finding:
    """A part that was there and is not. Its own resource is the first evidence's source: see :func:`missing_part`."""
    return Finding(
        id=condition_id(controller, Subject.MISSING, part.id),
        part=listed_under,
        subject=Subject.MISSING,
        severity=Health.WARNING,
        text=text,
        since=now,
        reports=(Evidence(time=now, text=text, source=part.uri),),
    )


def _reports(evidence: Iterable[Evidence]) -> tuple[Evidence, ...]:
    return tuple(each for each in evidence if each.value is None)


def _merged(
    before: tuple[Evidence, ...], reading: Evidence | None, reports: Iterable[Evidence]
) -> tuple[Evidence, ...]:
    """First, worst and latest reading and what the controller reports, oldest first; a report keeps its first time."""
    readings = [each for each in before if each.value is not None]
    if reading is not None:
        readings.append(reading)
    kept: list[Evidence] = []
    if readings:
        kept = [readings[0]]
        for each in (max(readings, key=_extreme), readings[-1]):
            if each not in kept:
                kept.append(each)
    heard = {(each.source, _gist(each.text)): each for each in reversed(before) if each.value is None}
    for report in reports:
        first = heard.get((report.source, _gist(report.text)))
        kept.append(report if first is None else structs.replace(report, time=min(first.time, report.time)))
    return tuple(sorted(kept[:MOST_EVIDENCE], key=lambda each: each.time))


def _extreme(reading: Evidence) -> float:
    """How far out a reading is, on the side that its threshold's name tells."""
    value = reading.value if reading.value is not None else float("-inf")
    return -value if (reading.threshold or "").startswith("lower") else value


def _gist(text: str) -> str:
    """A text without its numbers: a value that moves is no news."""
    return _NUMBER.sub("#", text)
