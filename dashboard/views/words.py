"""Times, ages, values and limits in words."""

from __future__ import annotations

import math
from datetime import UTC, datetime, tzinfo

from collector.model import Health, Quantity, Seconds, Sensor
from dashboard.drawings.trace import Line
from dashboard.views.units import PLAIN, Units

_DECIMALS = {
    Quantity.TEMPERATURE: 1,
    Quantity.ROTATION: 0,
    Quantity.POWER: 1,
    Quantity.PERCENT: 1,
    Quantity.SPEED_RATIO: 1,
    Quantity.LOAD_RATIO: 1,
    Quantity.HUMIDITY: 1,
    Quantity.VOLTAGE: 2,
    Quantity.CURRENT: 2,
    Quantity.COUNT: 0,
}

_LIMITS: tuple[tuple[str, str, Health, bool], ...] = (
    ("upper_caution_user", "upper caution (user)", Health.WARNING, True),
    ("upper_caution", "upper caution", Health.WARNING, True),
    ("upper_critical_user", "upper critical (user)", Health.CRITICAL, True),
    ("upper_critical", "upper critical", Health.CRITICAL, True),
    ("upper_fatal", "upper fatal", Health.CRITICAL, True),
    ("lower_caution_user", "lower caution (user)", Health.WARNING, False),
    ("lower_caution", "lower caution", Health.WARNING, False),
    ("lower_critical_user", "lower critical (user)", Health.CRITICAL, False),
    ("lower_critical", "lower critical", Health.CRITICAL, False),
    ("lower_fatal", "lower fatal", Health.CRITICAL, False),
)


def age(seconds: float) -> str:
    """A stretch of time in at most two units, e.g. ``14 s``, ``3 min``, ``2 h 5 min``, ``4 d 2 h``."""
    whole = max(0, int(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min"
    if whole < 86400:
        hours, rest = divmod(whole, 3600)
        return f"{hours} h {rest // 60} min" if rest >= 60 else f"{hours} h"
    days, rest = divmod(whole, 86400)
    return f"{days} d {rest // 3600} h" if rest >= 3600 else f"{days} d"


def clock(time: Seconds, now: Seconds, zone: tzinfo | None = None) -> str:
    """A moment in the viewer's own time with UTC beside it, in UTC alone without a zone; with the day when it is not
    today."""
    told = _clock(time, now, UTC)
    here = told if zone is None else _clock(time, now, zone)
    return f"{told} UTC" if here == told else f"{here} ({told} UTC)"


def _clock(time: Seconds, now: Seconds, zone: tzinfo) -> str:
    moment, today = datetime.fromtimestamp(time, zone), datetime.fromtimestamp(now, zone)
    return moment.strftime("%H:%M:%S" if moment.date() == today.date() else "%Y-%m-%d %H:%M")


def unit_words(unit: str, units: Units = PLAIN) -> str:
    """A UCUM code as the viewer reads it."""
    return units.word(unit)


def figure(value: float | None, quantity: Quantity, unit: str, units: Units = PLAIN) -> str:
    """A value in its canonical ``unit`` as the viewer reads it; ``no value`` where none was told."""
    if value is None or not math.isfinite(value):
        return "no value"
    return _figure(units.value(value, unit), quantity, units.word(unit))


def difference(value: float, quantity: Quantity, unit: str, units: Units = PLAIN) -> str:
    """A distance between two values, e.g. from a limit, as the viewer reads it: kelvin between temperatures in C."""
    if not math.isfinite(value):
        return "no value"
    return _figure(units.span(value, unit), quantity, units.span_word(unit))


def _figure(value: float, quantity: Quantity, printed: str) -> str:
    decimals = 1 if printed == "CFM" else _DECIMALS.get(quantity)
    bare = f"{value:.4g}" if decimals is None or 0 < abs(value) < 10 ** -(decimals + 1) else f"{value:.{decimals}f}"
    if "e" in bare:
        bare = f"{value:.0f}" if abs(value) < 1e15 else bare
    return f"{bare} {printed}" if printed else bare


def limits(sensor: Sensor) -> tuple[Line, ...]:
    """A sensor's thresholds in the order of the standard's names, those that it has."""
    found = []
    for name, words, health, upper in _LIMITS:
        limit = getattr(sensor.thresholds, name)
        if limit is not None:
            found.append(Line(words, limit.value, health, upper))
    return tuple(found)


def nearest(value: float | None, lines: tuple[Line, ...]) -> tuple[Line, float] | None:
    """The limit that matters and the distance to it: of the worst crossed ones, else the closest one.

    The distance is negative when the limit is crossed (strictly beyond, as the standard has it).
    """
    if value is None or not math.isfinite(value) or not lines:
        return None
    distances = [(line, (line.value - value) if line.upper else (value - line.value)) for line in lines]
    crossed = [pair for pair in distances if pair[1] < 0]
    if crossed:
        return max(crossed, key=lambda pair: (pair[0].health, pair[1]))
    return min(distances, key=lambda pair: pair[1])


def threshold_words(name: str) -> str:
    """A threshold's name as the evidence has it, in words."""
    return next((words for key, words, _, _ in _LIMITS if key == name), name.replace("_", " "))


def count(number: int, one: str, many: str | None = None) -> str:
    """A number with its noun: ``1 blade``, ``4 blades``."""
    return f"{whole(number)} {one if number == 1 else many or one + 's'}"


def whole(number: int) -> str:
    """A whole number, in groups of three from five digits on, apart by a narrow space (ISO 80000-1, 7.3.1, from
    memory)."""
    return f"{number:,}".replace(",", "\u202f") if number >= 10_000 else str(number)
