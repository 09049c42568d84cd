"""What a drive's life and a counter of errors come to, in words; no date that the samples don't carry."""

from __future__ import annotations

import math
from collections.abc import Iterable

from collector.assess.looks.wear import DAILY, kind_of
from collector.assess.margins.outlook import day
from collector.assess.margins.wearing import NEEDED, Errors, Life, errors, life
from collector.assess.statistics.trend import Crossing
from collector.model import Seconds, Sensor
from dashboard.views.words import age, count

Points = Iterable[tuple[Seconds, float]]


def is_wear(sensor: Sensor) -> bool:
    """Whether it tells of a drive's life or counts errors: such a one has a rate and a date, not a level."""
    return kind_of(sensor) is not None


def is_life(sensor: Sensor) -> bool:
    """Whether it tells how much of a life is left or used."""
    return kind_of(sensor) in ("left", "used")


def wear_words(sensor: Sensor, points: Points) -> str:
    """A sentence without a full stop; "" for a sensor that tells of no wear, and where nothing is known."""
    kind = kind_of(sensor)
    if kind is None:
        return ""
    if kind in ("left", "used"):
        found = life((time, left if kind == "left" else 100.0 - left) for time, left in points)
        return "" if found is None else _life(found)
    counted = errors(points)
    return "" if counted is None else _errors(counted)


def _life(told: Life) -> str:
    if told.left <= 0.0:
        return "all of its life is used up"
    start = f"{told.left:.0f} % of its life is left"
    if told.end is None:
        seen = f"{count(told.falls, 'fall')} in the samples kept"
        why = f"{seen}, {NEEDED} are needed" if told.falls < NEEDED else f"{seen} have no steady pace"
        return f"{start}; no date for its end: {why}"
    return f"{start}; at its pace used up {_dates(told.end)}"


def _errors(told: Errors) -> str:
    span = age(told.seconds)
    if told.number == 0:
        return f"no error in {span}: {told.high:.3g} a day at most (95 %)"
    start = (
        f"{count(told.number, 'error')} in {span}: {told.number / (told.seconds / 86_400.0):.3g} a day "
        f"({told.low:.2g} to {told.high:.3g}, 95 %)"
    )
    if told.low > DAILY:
        return f"{start}; that is many, more than {DAILY:.0f} a day"
    if told.many is None:
        return f"{start}; no date for {DAILY:.0f} a day: its pace does not lead there within another {span}"
    return f"{start}; at its trend it reaches {DAILY:.0f} a day {_dates(told.many)}"


def _dates(met: Crossing) -> str:
    latest = "never" if math.isinf(met.latest) else day(met.latest)
    return f"about {day(met.at)} (95 %: {day(met.earliest)} to {latest})"
