"""Readings as lines: a strip that shows a value among its limits, and a history with its thresholds and time axis."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from collector.model import Health, History
from dashboard.drawings.ink import Ink, number, tag
from dashboard.drawings.marks import css_name

Place = Callable[[float], float]
"""From a value or time to a coordinate."""


@dataclass(frozen=True, slots=True)
class Line:
    """A threshold as drawn: its name in words, its value, and the health that crossing it means."""

    words: str
    value: float
    health: Health
    upper: bool


_STRIP_WIDE, _STRIP_HIGH = 120.0, 18.0


def strip(value: float | None, lines: Sequence[Line], low: float | None = None, high: float | None = None) -> Ink:
    """Where a value stands among its limits: crossed zones shaded, the value as a needle. Empty without limits."""
    span = _span([line.value for line in lines], value, low, high)
    if not lines or span is None:
        return Ink()
    left, right = span

    def across(at: float) -> float:
        return 1 + (min(max(at, left), right) - left) / (right - left) * (_STRIP_WIDE - 2)

    zones = [_zone(line, across) for line in sorted(lines, key=lambda line: line.health)]
    ticks = [tag("path", d=f"M{across(line.value):.1f} 3V{_STRIP_HIGH - 3}", class_="limit") for line in lines]
    needle = None
    if value is not None and not math.isnan(value):
        at = across(value)
        needle = tag("path", d=f"M{at:.1f} 1V{_STRIP_HIGH - 1}", class_="needle")
    return tag(
        "svg",
        tag("rect", x=0.5, y=5.5, width=_STRIP_WIDE - 1, height=_STRIP_HIGH - 11, class_="bed"),
        *zones,
        *ticks,
        needle,
        xmlns="http://www.w3.org/2000/svg",
        class_="strip",
        viewBox=f"0 0 {_STRIP_WIDE:g} {_STRIP_HIGH:g}",
        width=_STRIP_WIDE,
        height=_STRIP_HIGH,
        aria_hidden=True,
    )


def _zone(line: Line, across: Place) -> Ink:
    at = across(line.value)
    start, end = (at, _STRIP_WIDE - 1) if line.upper else (1.0, at)
    return tag(
        "rect",
        x=start,
        y=6,
        width=max(0.0, end - start),
        height=_STRIP_HIGH - 12,
        class_=f"zone {css_name(line.health)}",
    )


def _span(
    limits: Sequence[float], value: float | None, low: float | None, high: float | None
) -> tuple[float, float] | None:
    """Both ends of a scale that holds the limits and the value with some room; told ends where they are near."""
    held = [at for at in (*limits, value) if at is not None and math.isfinite(at)]
    if not held:
        return None
    bottom, top = min(held), max(held)
    room = 0.15 * (top - bottom) or max(abs(top) * 0.1, 1.0)
    left = bottom - room if low is None or low < bottom - 3 * room else min(low, bottom)
    right = top + room if high is None or high > top + 3 * room else max(high, top)
    return (left, right) if right > left else (left - 1, right + 1)


WIDE, HIGH = 366.0, 172.0
_LEFT, _RIGHT, _UPPER, _LOWER = 44.0, 8.0, 10.0, 26.0
_MOST_POINTS = 600
_LABEL = 11.0
"""Height that a threshold's name needs."""


def chart(history: History, lines: Sequence[Line], start: float, end: float, unit: str, zone: tzinfo | None) -> Ink:
    """A sensor's samples from ``start`` to ``end`` with its thresholds; gaps where no value was told.

    Times on the axis are UTC, or of ``zone`` where one is given.
    """
    told = [value for value in history.values if not math.isnan(value)]
    if not told:
        return Ink()
    held = [*told, *(line.value for line in _near(lines, told))]
    room = 0.06 * (max(held) - min(held)) or max(0.05 * abs(held[0]), 0.5)
    floor, ceiling = _round_out(min(held) - room, max(held) + room)
    if min(held) >= 0:
        floor = max(0.0, floor)
    inner_wide, inner_high = WIDE - _LEFT - _RIGHT, HIGH - _UPPER - _LOWER

    def x_of(time: float) -> float:
        return _LEFT + (time - start) / (end - start) * inner_wide

    def y_of(value: float) -> float:
        return _UPPER + (ceiling - value) / (ceiling - floor) * inner_high

    shown = [line for line in lines if floor <= line.value <= ceiling]
    return tag(
        "svg",
        tag("title", f"{len(told)} samples"),
        *_value_axis(floor, ceiling, y_of, unit),
        *_time_axis(start, end, x_of, zone),
        *_thresholds(shown, y_of),
        *(tag("path", d=Ink(path), class_="samples") for path in _paths(history, start, end, x_of, y_of)),
        xmlns="http://www.w3.org/2000/svg",
        class_="chart",
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        role="img",
        aria_label=f"history: {len(told)} samples, lowest {min(told):.6g}, highest {max(told):.6g} {unit}",
        data_samples=len(told),
    )


def _near(lines: Sequence[Line], told: Sequence[float]) -> list[Line]:
    """Thresholds close enough to the samples to share a scale with them without flattening them."""
    bottom, top = min(told), max(told)
    reach = max(2 * (top - bottom), 0.35 * max(abs(top), abs(bottom)))
    return [line for line in lines if bottom - reach <= line.value <= top + reach]


def _round_out(bottom: float, top: float) -> tuple[float, float]:
    """The scale's ends moved out to steps that read well."""
    step = _step(top - bottom, 4)
    return math.floor(bottom / step) * step, math.ceil(top / step) * step


def _step(span: float, about: int) -> float:
    """1, 2 or 5 times a power of ten, such that about ``about`` steps fill ``span``."""
    rough = max(span, 1e-12) / about
    power: float = 10.0 ** math.floor(math.log10(rough))
    return next((power * factor for factor in (1.0, 2.0, 5.0) if power * factor >= rough * 0.999), power * 10)


def _value_axis(floor: float, ceiling: float, y_of: Place, unit: str) -> list[Ink]:
    step = _step(ceiling - floor, 4)
    marks = []
    for index in range(round((ceiling - floor) / step) + 1):
        value = floor + index * step
        y = y_of(value)
        marks.append(tag("path", d=f"M{_LEFT} {y:.1f}H{WIDE - _RIGHT}", class_="grid"))
        marks.append(tag("text", f"{value:.6g}", x=_LEFT - 5, y=y + 3.6, class_="ruler"))
    return marks


_TIME_STEPS = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400)


def _time_axis(start: float, end: float, x_of: Place, zone: tzinfo | None) -> list[Ink]:
    step = next((step for step in _TIME_STEPS if (end - start) / step <= 5), 7 * 86400)
    written = "%d %b" if step >= 86400 else "%H:%M" if step >= 60 else "%H:%M:%S"
    marks = []
    time = math.ceil(start / step) * step
    while time <= end:
        x = x_of(time)
        words = datetime.fromtimestamp(time, zone or UTC).strftime(written)
        marks.append(tag("path", d=f"M{x:.1f} {HIGH - _LOWER}v4", class_="tick"))
        if _LEFT + 8 <= x <= WIDE - 20:
            marks.append(tag("text", words, x=x, y=HIGH - _LOWER + 16, class_="moment"))
        time += step
    return marks


def _thresholds(lines: Sequence[Line], y_of: Place) -> list[Ink]:
    """The lines with their names, by turns at the left and right end where two would stand on each other."""
    drawn = []
    last, at_right = math.inf, False
    for line in sorted(lines, key=lambda each: each.value):
        y = y_of(line.value)
        label = y - 3 if line.upper else y + 9
        at_right = not at_right if abs(label - last) < _LABEL else False
        last = label
        words = tag(
            "text",
            f"{line.words} {line.value:.6g}",
            x=WIDE - _RIGHT if at_right else _LEFT + 4,
            y=label,
            class_="said to-left" if at_right else "said",
        )
        path = tag("path", d=f"M{_LEFT} {y:.1f}H{WIDE - _RIGHT}", class_="threshold")
        drawn.append(tag("g", path, words, class_=css_name(line.health), data_threshold=line.words))
    return drawn


def _paths(history: History, start: float, end: float, x_of: Place, y_of: Place) -> list[str]:
    """Lines through the samples, broken where no value was told or far more time passed than usual."""
    points = [(t, v) for t, v in zip(history.times, history.values, strict=True) if start <= t <= end]
    points = _thin(points)
    gap = _usual_gap([time for time, _ in points])
    runs: list[list[str]] = [[]]
    before: float | None = None
    for time, value in points:
        if math.isnan(value) or (before is not None and time - before > gap):
            runs.append([])
        if not math.isnan(value):
            runs[-1].append(f"{number(x_of(time), 1)} {number(y_of(value), 1)}")
        before = time
    return [f"M{run[0]}L{' '.join(run[1:] or run)}" for run in runs if run]


def _usual_gap(times: Sequence[float]) -> float:
    steps = sorted(after - before for before, after in itertools.pairwise(times))
    return 4 * steps[len(steps) // 2] if steps else math.inf


def _thin(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """At most about ``_MOST_POINTS``, keeping each stretch's lowest and highest, and the gaps."""
    if len(points) <= _MOST_POINTS:
        return list(points)
    size = math.ceil(len(points) / (_MOST_POINTS / 2))
    kept: list[tuple[float, float]] = []
    for first in range(0, len(points), size):
        stretch = points[first : first + size]
        told = [point for point in stretch if not math.isnan(point[1])]
        if len(told) < len(stretch):
            untold = next(point for point in stretch if math.isnan(point[1]))
            kept += sorted([untold, *told[:1], *told[1:][-1:]], key=lambda point: point[0])
        else:
            kept += sorted({min(told, key=lambda p: p[1]), max(told, key=lambda p: p[1])}, key=lambda p: p[0])
    return kept
