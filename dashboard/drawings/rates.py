"""Failure rates with their limits, on a scale of powers of ten that all lines of one kind share."""

from __future__ import annotations

import math

from dashboard.drawings.ink import Ink, join, number, tag

WIDE, HIGH = 232.0, 18.0
AXIS = 16.0
_EDGE = 8.0


def _across(value: float, low: int, high: int) -> float:
    share = (math.log10(value) - low) / (high - low)
    return _EDGE + min(max(share, 0.0), 1.0) * (WIDE - 2 * _EDGE)


def axis(low: int, high: int) -> Ink:
    """The scale: powers of ten, failures a million hours."""
    step = max(1, math.ceil((high - low) / 4))
    told = []
    for power in range(low, high + 1, step):
        at = _across(10.0**power, low, high)
        anchor = "from-left" if power == low else "to-left" if power + step > high else "moment"
        told.append(tag("path", d=f"M{at:.1f} {AXIS - 4:g}V{AXIS:g}", class_="tick"))
        told.append(tag("text", _power(power), x=_anchored(at, anchor), y=AXIS - 6, class_=f"scale {anchor}"))
    return _drawn("rate-axis", AXIS, *told)


def _anchored(at: float, anchor: str) -> float:
    return at - _EDGE if anchor == "from-left" else at + _EDGE if anchor == "to-left" else at


def _power(power: int) -> str:
    if power < 0:
        return f"{10.0**power:g}"
    return f"{10**power:,}" if power < 5 else f"{10 ** (power - 6):,} M" if power >= 6 else "100,000"


def rate(low: float | None, value: float | None, high: float | None, kind: float | None, ends: tuple[int, int]) -> Ink:
    """One line: a bar between the limits, an upright stroke at the rate, a dashed one at the rate of the whole kind.

    Without a failure there is neither stroke nor lower limit: the bar comes in open from the left.
    """
    pieces = []
    least, most = ends
    middle = HIGH / 2
    for power in range(least, most + 1):
        at = _across(10.0**power, least, most)
        pieces.append(tag("path", d=f"M{at:.1f} 2V{HIGH - 2:g}", class_="grid"))
    if high is not None and high > 0:
        right = _across(high, least, most)
        left = _across(low, least, most) if low else 0.0
        pieces.append(
            tag(
                "rect",
                x=left,
                y=middle - 3,
                width=max(right - left, 1.0),
                height=6,
                class_="span" if low else "span open",
            )
        )
        pieces.append(tag("path", d=f"M{right:.1f} {middle - 6:g}V{middle + 6:g}", class_="whisker"))
        if low:
            pieces.append(tag("path", d=f"M{left:.1f} {middle - 6:g}V{middle + 6:g}", class_="whisker"))
    if kind is not None and kind > 0:
        pieces.append(tag("path", d=f"M{_across(kind, least, most):.1f} 0V{HIGH:g}", class_="usual"))
    if value is not None and value > 0:
        pieces.append(tag("path", d=f"M{_across(value, least, most):.1f} 1V{HIGH - 1:g}", class_="needle"))
    return _drawn("rate", HIGH, *pieces)


def _drawn(name: str, high: float, *pieces: Ink) -> Ink:
    return tag(
        "svg",
        join(*pieces),
        xmlns="http://www.w3.org/2000/svg",
        class_=f"bar {name}",
        viewBox=f"0 0 {number(WIDE)} {number(high)}",
        width=WIDE,
        height=high,
        aria_hidden=True,
    )
