"""The parts ledger: how many parts of each part number and firmware run, for how long, and how many of them failed.

A failure is a part that a trouble named first, surely enough, once a part: one that fails twice before it is replaced
is one failed part. Hours are the time for which parts stood in their places, as far as walks told, whatever they did.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import Struct

from collector.assess.statistics.poisson import more_often, rate_limits
from collector.model import Kind, Seconds, Stay, Trouble

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


_Key = tuple[Kind, str | None, str | None, str | None]


def ledger(stays: Iterable[Stay], troubles: Iterable[Trouble], now: Seconds) -> list[Line]:
    """The ledger, by kind, the worst rate first."""
    hours: dict[_Key, float] = {}
    parts: dict[_Key, set[tuple[str, str]]] = {}
    at: dict[str, list[Stay]] = {}
    for stay in stays:
        key = _key(stay)
        ended = now if stay.until is None else min(stay.until, now)
        hours[key] = hours.get(key, 0.0) + max(0.0, ended - stay.since) / HOUR
        parts.setdefault(key, set()).add(_which(stay))
        at.setdefault(stay.part, []).append(stay)
    failed: dict[_Key, set[tuple[str, str]]] = {}
    for trouble in troubles:
        for rank, suspect in enumerate(trouble.suspects):
            accused = rank == 0 or suspect.part in trouble.also
            if not accused or suspect.probability < SURE:
                continue
            charged = _then(at.get(suspect.part, ()), trouble.opened)
            if charged is not None:
                failed.setdefault(_key(charged), set()).add(_which(charged))
    return sorted(_lines(hours, parts, failed), key=lambda line: (line.kind.value, -(line.rate or 0.0), -line.hours))


def _lines(
    hours: dict[_Key, float], parts: dict[_Key, set[tuple[str, str]]], failed: dict[_Key, set[tuple[str, str]]]
) -> Iterable[Line]:
    kinds: dict[Kind, list[_Key]] = {}
    for key in hours:
        kinds.setdefault(key[0], []).append(key)
    for kind, keys in kinds.items():
        all_hours, all_failures = sum(hours[key] for key in keys), sum(len(failed.get(key, ())) for key in keys)
        for key in keys:
            count, time = len(failed.get(key, ())), hours[key]
            limits = rate_limits(count, time, CONFIDENCE) if time > 0 else None
            p = None
            if time > 0 and all_hours - time > 0:
                p = more_often(count, time, all_failures - count, all_hours - time)
            yield Line(
                kind=kind,
                part_number=key[1],
                model=key[2],
                firmware=key[3],
                parts=len(parts[key]),
                hours=time,
                failures=count,
                rate=1e6 * count / time if time > 0 else None,
                low=1e6 * limits.low if limits is not None else None,
                high=1e6 * limits.high if limits is not None else None,
                p=p,
                more_than_its_kind=p is not None and p < SIGNIFICANT / len(keys),
            )


def _key(stay: Stay) -> _Key:
    return (stay.kind, stay.identity.part_number, stay.identity.model, stay.identity.firmware)


def _which(stay: Stay) -> tuple[str, str]:
    """What tells one part from another: its serial number, else its place."""
    serial = stay.identity.serial
    return ("serial", serial.strip().casefold()) if serial else ("place", stay.part)


def _then(stays: Sequence[Stay], time: Seconds) -> Stay | None:
    """The stay that lasted at a time, else the last one that began before it."""
    begun = [stay for stay in stays if stay.since <= time]
    return max(begun, key=lambda stay: stay.since, default=None)
