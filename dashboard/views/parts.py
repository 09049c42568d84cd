"""The parts ledger as the page says it: what is where, how often parts fail, what does not fit, what was changed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from collector.assess.ledger import Line
from collector.model import Kind, Stay
from dashboard.views.places import tail_of
from dashboard.views.words import age

MILLION = 1e6


@dataclass(frozen=True, slots=True)
class Rates:
    """One kind's lines of the ledger, and what the kind does as a whole."""

    kind: Kind
    lines: tuple[Line, ...]
    parts: int
    hours: float
    failures: int

    @property
    def rate(self) -> float | None:
        """Failures a million hours of the whole kind; None without a failure or hours."""
        return MILLION * self.failures / self.hours if self.failures and self.hours > 0 else None

    @property
    def loud(self) -> bool:
        """Whether one of its part numbers fails more often than the others."""
        return any(line.more_than_its_kind for line in self.lines)


def by_kind(lines: Iterable[Line]) -> tuple[Rates, ...]:
    """A group a kind: first where a part number fails more than its kind, then where anything failed, then the rest."""
    groups: dict[Kind, list[Line]] = {}
    for line in lines:
        groups.setdefault(line.kind, []).append(line)
    found = [
        Rates(
            kind,
            tuple(sorted(there, key=_worst)),
            sum(line.parts for line in there),
            math.fsum(line.hours for line in there),
            sum(line.failures for line in there),
        )
        for kind, there in groups.items()
    ]
    return tuple(sorted(found, key=lambda each: (not each.loud, not each.failures, -(each.rate or 0.0), each.kind)))


def _worst(line: Line) -> tuple[bool, float, float]:
    return (not line.more_than_its_kind, -(line.rate or 0.0), -line.hours)


def decades(lines: Sequence[Line]) -> tuple[int, int]:
    """Powers of ten, of failures a million hours, between which all limits of some lines stand."""
    told = [value for line in lines for value in (line.low, line.rate, line.high) if value is not None and value > 0]
    if not told:
        return (0, 3)
    low, high = math.floor(math.log10(min(told))), math.ceil(math.log10(max(told)))
    # A line without a failure has no lower limit: its bar comes in from the left, where there must be some left.
    return (low - 1 if low == high or any(not line.low for line in lines) else low, high)


def rate_words(line: Line) -> str:
    """e.g. ``12 a million hours, 90 % limits 4 to 31``; without a failure only how many there may be."""
    if line.high is None:
        return "no hours yet"
    if line.rate is None or not line.failures:
        return f"at most {figure(line.high)} a million hours (90 % limit)"
    return f"{figure(line.rate)} a million hours, 90 % limits {figure(line.low or 0.0)} to {figure(line.high)}"


def figure(value: float) -> str:
    """Two digits that mean something: ``0.31``, ``12``, ``1,300``, ``61 million``."""
    if value >= MILLION:
        return f"{figure(value / MILLION)} million"
    if value <= 0:
        return "0"
    digits = 1 - math.floor(math.log10(value))
    rounded = round(value, digits)
    return f"{rounded:,.{max(0, digits)}f}"


def hours_words(hours: float) -> str:
    """e.g. ``24 min``, ``2 h``, ``1,200 h``."""
    return age(3600 * hours) if hours < 24 else f"{hours:,.0f} h"


def called(line: Line) -> str:
    """What a line of the ledger is about: part number, model, firmware, as far as told."""
    told = [each for each in (line.part_number, line.model) if each]
    name = ", ".join(told) or "tells no part number"
    return f"{name}, firmware {line.firmware}" if line.firmware else name


def turned_words(stay: Stay, after: Stay | None) -> str:
    """What ended a part's stay and what stands there now."""
    name = stay.identity.serial or stay.name
    how = stay.ended.value if stay.ended is not None else "gone"
    moved = f"; went to {tail_of(stay.went_to)}" if stay.went_to else ""
    if after is None:
        return f"{name} {how}{moved}; nothing stands there now"
    return f"{name} {how}{moved}; now {_now(stay, after)}"


def _now(before: Stay, after: Stay) -> str:
    was, one = before.identity, after.identity
    if one.serial and one.serial != was.serial:
        return one.serial
    if one.firmware and one.firmware != was.firmware:
        return f"firmware {one.firmware}" + (f", was {was.firmware}" if was.firmware else "")
    return one.serial or after.name


# --- export: rows of plain values -----------------------------------------------------------------------------------


def stay_row(stay: Stay) -> dict[str, Any]:
    """A part as exported."""
    one = stay.identity
    return {
        "controller": stay.controller,
        "place": stay.location.text,
        "kind": stay.kind.value,
        "name": stay.name,
        "part_number": one.part_number,
        "serial": one.serial,
        "manufacturer": one.manufacturer,
        "model": one.model,
        "firmware": one.firmware,
        "since": stay.since,
        "until": stay.until,
        "part": stay.part,
    }


def kinds_there(lines: Iterable[Line]) -> Mapping[Kind, int]:
    """How many parts of each kind the ledger has ever seen, the most first."""
    numbers: dict[Kind, int] = {}
    for line in lines:
        numbers[line.kind] = numbers.get(line.kind, 0) + line.parts
    return dict(sorted(numbers.items(), key=lambda pair: (-pair[1], pair[0])))
