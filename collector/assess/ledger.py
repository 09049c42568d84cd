"""The parts ledger: how many parts of each part number and firmware run, for how long, and how many of them failed.

A failure is a part that a trouble named first, surely enough, once a part: one that fails twice before it is replaced
is one failed part. Hours are the time for which parts stood in their places, as far as walks told, whatever they did.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from msgspec import Struct

from collector.assess.statistics.poisson import more_often, rate_limits
from collector.model import Kind, PartHours, Seconds, Stay, Trouble

HOUR = 3600.0
CONFIDENCE = 0.9
"""Of the limits told."""
SURE = 0.8
"""Least probability of the first suspect that counts as a failure of it."""
SIGNIFICANT = 0.01
"""Largest p, before the correction for looking at many part numbers, that is told as failing more than its kind."""


class Line(Struct, frozen=True, kw_only=True):
    """One part number at one firmware."""

    kind: Kind
    part_number: str | None
    model: str | None
    firmware: str | None
    parts: int
    """Different ones seen."""
    hours: float
    failures: int
    rate: float | None
    """Failures a million hours; None without hours."""
    low: float | None
    high: float | None
    """Exact limits of the rate, 90 %."""
    p: float | None
    """That it fails no more often than the others of its kind; None where there are no others."""
    more_than_its_kind: bool
    """Whether it fails significantly more often (p below 0.01, divided by the number of part numbers compared)."""

    def row(self) -> dict[str, Any]:
        """As it is handed out, by the terminal and by the pages."""
        return {
            "kind": self.kind.value,
            "part_number": self.part_number,
            "model": self.model,
            "firmware": self.firmware,
            "parts": self.parts,
            "hours": self.hours,
            "failures": self.failures,
            "per_million_hours": self.rate,
            "low": self.low,
            "high": self.high,
            "p": self.p,
            "more_than_its_kind": self.more_than_its_kind,
        }


_Key = tuple[Kind, str | None, str | None, str | None]
_Which = tuple[str, str]


def ledger(stays: Sequence[Stay], troubles: Sequence[Trouble], now: Seconds) -> list[Line]:
    """The ledger, by kind, the worst rate first."""
    return weighed(hours_of(stays, now), stays, troubles)


def hours_of(stays: Iterable[Stay], now: Seconds) -> list[PartHours]:
    """How long parts of each part number and firmware stood in their places, up to ``now``."""
    hours: dict[_Key, float] = {}
    parts: dict[_Key, set[_Which]] = {}
    for stay in stays:
        key = _key(stay)
        ended = now if stay.until is None else min(stay.until, now)
        hours[key] = hours.get(key, 0.0) + max(0.0, ended - stay.since) / HOUR
        parts.setdefault(key, set()).add(_which(stay))
    return [
        PartHours(kind=key[0], part_number=key[1], model=key[2], firmware=key[3], parts=len(parts[key]), hours=time)
        for key, time in hours.items()
    ]


def accused(troubles: Iterable[Trouble]) -> list[tuple[str, Seconds]]:
    """(part, when) of each failure: the part that a trouble named first, or besides, surely enough."""
    return [
        (suspect.part, trouble.opened)
        for trouble in troubles
        for rank, suspect in enumerate(trouble.suspects)
        if (rank == 0 or suspect.part in trouble.also) and suspect.probability >= SURE
    ]


def weighed(hours: Sequence[PartHours], stays: Iterable[Stay], troubles: Iterable[Trouble]) -> list[Line]:
    """The ledger from hours that are added up already; ``stays``: those of the accused parts at least."""
    failures = accused(troubles)
    named = {part for part, _ in failures}
    at: dict[str, list[Stay]] = {}
    for stay in stays:
        if stay.part in named:
            at.setdefault(stay.part, []).append(stay)
    failed: dict[_Key, set[_Which]] = {}
    for part, opened in failures:
        charged = _then(at.get(part, ()), opened)
        if charged is not None:
            failed.setdefault(_key(charged), set()).add(_which(charged))
    return sorted(_lines(hours, failed), key=lambda line: (line.kind.value, -(line.rate or 0.0), -line.hours))


def _lines(hours: Sequence[PartHours], failed: dict[_Key, set[_Which]]) -> Iterable[Line]:
    kinds: dict[Kind, list[PartHours]] = {}
    for each in hours:
        kinds.setdefault(each.kind, []).append(each)
    for alike in kinds.values():
        counts = [len(failed.get((one.kind, one.part_number, one.model, one.firmware), ())) for one in alike]
        all_hours, all_failures = sum(one.hours for one in alike), sum(counts)
        for one, count in zip(alike, counts, strict=True):
            time = one.hours
            limits = rate_limits(count, time, CONFIDENCE) if time > 0 else None
            p = None
            if time > 0 and all_hours - time > 0:
                p = more_often(count, time, all_failures - count, all_hours - time)
            yield Line(
                kind=one.kind,
                part_number=one.part_number,
                model=one.model,
                firmware=one.firmware,
                parts=one.parts,
                hours=time,
                failures=count,
                rate=1e6 * count / time if time > 0 else None,
                low=1e6 * limits.low if limits is not None else None,
                high=1e6 * limits.high if limits is not None else None,
                p=p,
                more_than_its_kind=p is not None and p < SIGNIFICANT / len(alike),
            )


def _key(stay: Stay) -> _Key:
    return (stay.kind, stay.identity.part_number, stay.identity.model, stay.identity.firmware)


def _which(stay: Stay) -> _Which:
    """What tells one part from another: its serial number, else its place."""
    serial = stay.identity.serial
    return ("serial", serial.strip().casefold()) if serial else ("place", stay.part)


def _then(stays: Sequence[Stay], time: Seconds) -> Stay | None:
    """The stay that lasted at a time, else the last one that began before it."""
    begun = [stay for stay in stays if stay.since <= time]
    return max(begun, key=lambda stay: stay.since, default=None)
