"""How much conditions ask of the people who look after them: the measures of ISA-18.2-2016 / IEC 62682.

Pure functions of what was announced when. All times are epoch seconds; figures are for one operator, so what several
people share is divided by their number.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from enum import StrEnum
from itertools import pairwise

from msgspec import Struct

from collector.assess.chatter import chattering
from collector.model import Condition, Health, Seconds

TEN_MINUTES, HOUR, DAY = 600.0, 3600.0, 86400.0
ACCEPTABLE, MANAGEABLE = 1.0, 2.0
"""Per operator in ten minutes: about 6 and 12 an hour, 144 and 288 a day (ISA-18.2-2016; check-values.md, part 6)."""
FLOOD_BEGINS, FLOOD_ENDS = 10, 5
"""Raises in ten minutes: a flood is 10 or more, and over below 5 (the end is from memory)."""
STALE_AFTER = DAY
"""Open for longer than that is stale, in ISA-18.2's sense of the word."""
MOST_IN_HOUR, MOST_IN_TEN_MINUTES = 30, 10
"""More than that should happen in less than 1 % of hours, and of ten-minute stretches."""


class Burden(StrEnum):
    """How a rate is to live with."""

    ACCEPTABLE = "acceptable"
    MANAGEABLE = "manageable"
    TOO_MUCH = "too much"


def burden(raises: int, over: Seconds, operators: int = 1) -> Burden:
    """How so many raises in a stretch of time are to live with. ValueError for no time or nobody."""
    if not over > 0 or operators < 1:
        raise ValueError("a rate needs a stretch of time and at least one operator")
    rate = raises / operators * TEN_MINUTES / over
    return Burden.ACCEPTABLE if rate <= ACCEPTABLE else Burden.MANAGEABLE if rate <= MANAGEABLE else Burden.TOO_MUCH


def floods(
    raises: Sequence[Seconds], begins: int = FLOOD_BEGINS, ends: int = FLOOD_ENDS
) -> list[tuple[Seconds, Seconds]]:
    """When floods began and were over; ``raises`` in any order.

    A flood begins with the raise that makes it ``begins`` within ten minutes, and is over when fewer than ``ends`` lie
    within the last ten: ten minutes after the raise that was the ``ends``-last.
    """
    times = sorted(raises)
    found: list[tuple[Seconds, Seconds]] = []
    start: Seconds | None = None
    for number, time in enumerate(times):
        if start is not None and (over := times[number - ends] + TEN_MINUTES) < time:
            found.append((start, over))
            start = None
        if start is None and number + 1 >= begins and time - times[number + 1 - begins] < TEN_MINUTES:
            start = time
    if start is not None:
        found.append((start, times[max(0, len(times) - ends)] + TEN_MINUTES))
    return found


class Load(Struct, frozen=True, kw_only=True):
    """What was announced in a stretch of time, against the figures of ISA-18.2-2016."""

    raises: int
    per_ten_minutes: float
    per_hour: float
    per_day: float
    burden: Burden
    peak: int
    """Most raises in any ten minutes, however they lie."""
    busy_hours: float
    """Share of the hours with more than 30, 0 to 1; below 0.01 is asked for."""
    busy_stretches: float
    """Share of the ten-minute stretches with more than 10, 0 to 1; below 0.01 is asked for."""
    flood_share: float
    """Share of the time in floods, 0 to 1; below 0.01 is asked for."""
    top_ten: float
    """Share of the raises that the ten most frequent conditions make, 0 to 1; 0.01 to 0.05 is asked for."""
    chattering: int
    """Conditions that came three times or more within a minute; none is asked for."""
    stale: int
    """Conditions open for longer than a day at the end; fewer than 5 are asked for."""
    severities: dict[str, float]
    """Share of each, by the standard's word."""


def load_of(conditions: Sequence[Condition], since: Seconds, until: Seconds, operators: int = 1) -> Load:
    """The load from ``since`` to ``until``, by what was announced. ValueError for no time or nobody."""
    if not until > since or operators < 1:
        raise ValueError("a load needs a stretch of time and at least one operator")
    told = [each for each in conditions if each.announced and since <= each.opened < until]
    times = sorted(each.opened for each in told)
    by_id: dict[str, list[Seconds]] = {}
    for each in sorted(told, key=lambda condition: condition.opened):
        by_id.setdefault(each.id, []).append(each.opened)
    over, count = until - since, len(times)
    most = sorted((len(raised) for raised in by_id.values()), reverse=True)[:10]
    in_floods = sum(min(end, until) - start for start, end in floods(times))
    still = (each for each in conditions if each.announced and (each.closed is None or each.closed > until))
    return Load(
        raises=count,
        per_ten_minutes=count / operators * TEN_MINUTES / over,
        per_hour=count / operators * HOUR / over,
        per_day=count / operators * DAY / over,
        burden=burden(count, over, operators),
        peak=max(
            (number + 1 - bisect_right(times, time - TEN_MINUTES) for number, time in enumerate(times)), default=0
        ),
        busy_hours=_share_above(times, since, until, HOUR, MOST_IN_HOUR * operators),
        busy_stretches=_share_above(times, since, until, TEN_MINUTES, MOST_IN_TEN_MINUTES * operators),
        flood_share=in_floods / over,
        top_ten=sum(most) / count if count else 0.0,
        chattering=sum(chattering(raised) for raised in by_id.values()),
        stale=sum(until - each.opened > STALE_AFTER for each in still),
        severities={
            severity.word: sum(each.severity is severity for each in told) / count
            for severity in (Health.WARNING, Health.CRITICAL)
            if count
        },
    )


def _share_above(times: Sequence[Seconds], since: Seconds, until: Seconds, step: Seconds, most: int) -> float:
    """Share of the steps of time, the last one cut short counted whole, with more raises than that."""
    steps = max(1, math.ceil((until - since) / step))
    edges = [since + number * step for number in range(steps + 1)]
    counts = (bisect_left(times, end) - bisect_left(times, start) for start, end in pairwise(edges))
    return sum(count > most for count in counts) / steps
