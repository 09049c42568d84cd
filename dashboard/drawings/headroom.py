"""Headroom as a strip: every stroke is one sled or part, the limit an upright line, what is over it beyond.

The nearer to the limit, the further to the right, as on a gauge that fills up. All strips of a page share one scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.drawings.ink import Ink, join, number, tag

WIDE, HIGH = 340.0, 22.0
AXIS = 18.0
_EDGE = 6.0
_MOST = 400
"""Strokes drawn in one strip."""


@dataclass(frozen=True, slots=True)
class Scale:
    """From ``most`` left, at the left end, to ``over`` beyond the limit, at the right end; both in the shown unit."""

    most: float
    over: float
    """0 and more."""
    unit: str

    def across(self, left: float) -> float:
        """Where so much left stands, in drawing units; what does not fit stands at the end."""
        share = (self.most - left) / (self.most + self.over)
        return _EDGE + min(max(share, 0.0), 1.0) * (WIDE - 2 * _EDGE)


def scale(lefts: Sequence[float], unit: str) -> Scale:
    """A scale that holds them all, its ends moved out to numbers that read well."""
    most, least = max((*lefts, 0.0)), min((*lefts, 0.0))
    step = _step(most - least)
    ends = math.ceil(most / step) * step, math.ceil(max(0.0, -least) / step) * step
    return Scale(ends[0] or step, ends[1] or 0.25 * step, unit)


def _step(span: float) -> float:
    rough = max(span, 1e-9) / 4
    power: float = 10.0 ** math.floor(math.log10(rough))
    return next((power * factor for factor in (1.0, 2.0, 5.0) if power * factor >= rough * 0.999), power * 10)


def axis(of: Scale) -> Ink:
    """The scale's figures with their unit; 0 is the limit."""
    step = _step(of.most + of.over)
    told = []
    for index in range(int(of.most / step + 0.001) + 1):
        left = index * step
        at = of.across(left)
        if left == 0 or at > 34:
            told += [_tick(at), _word(at, "limit" if left == 0 else f"{left:g}")]
    told += [_tick(of.across(of.most)), _word(of.across(of.most), f"{of.most:g} {of.unit} left", "from-left")]
    return _drawn("room-axis", AXIS, *told)


def _tick(at: float) -> Ink:
    return tag("path", d=f"M{at:.1f} {AXIS - 4:g}V{AXIS:g}", class_="tick")


def _word(at: float, words: str, anchor: str = "moment") -> Ink:
    if anchor == "moment" and at > WIDE - 22:
        at, anchor = WIDE, "to-left"
    return tag("text", words, x=at - _EDGE if anchor == "from-left" else at, y=AXIS - 7, class_=f"scale {anchor}")


def strip(lefts: Sequence[float], of: Scale) -> Ink:
    """One strip: a stroke for each, the least one strong; beyond the limit the ground is marked."""
    limit = of.across(0.0)
    ranked = sorted(lefts)
    pieces = [
        tag("rect", x=0.5, y=5, width=WIDE - 1, height=HIGH - 10, class_="bed"),
        tag("rect", x=limit, y=5, width=WIDE - limit - 0.5, height=HIGH - 10, class_="beyond"),
    ]
    drawn = ranked[1:] if len(ranked) <= _MOST else ranked[1 :: math.ceil(len(ranked) / _MOST)]
    path = "".join(f"M{of.across(left):.1f} 6V{HIGH - 6:g}" for left in drawn)
    if path:
        pieces.append(tag("path", d=Ink(path), class_="ticked"))
    pieces.append(tag("path", d=f"M{limit:.1f} 1V{HIGH - 1:g}", class_="limit strong"))
    if ranked:
        at = of.across(ranked[0])
        pieces.append(tag("path", d=f"M{at:.1f} 1V{HIGH - 1:g}", class_="needle"))
        pieces.append(tag("path", d=f"M{at - 3.5:.1f} 0H{at + 3.5:.1f}L{at:.1f} 4Z", class_="pointer"))
    return _drawn("room", HIGH, *pieces, data_strokes=len(ranked), data_least=number(ranked[0]) if ranked else None)


def share(value: float, most: float) -> Ink:
    """A bar of so much of the most, for columns of energy and power."""
    wide, part = 120.0, min(max(value / most, 0.0), 1.0) if most > 0 else 0.0
    return tag(
        "svg",
        tag("rect", x=0.5, y=1, width=wide - 1, height=8, class_="bed"),
        tag("rect", x=0.5, y=1, width=part * (wide - 1), height=8, class_="filled"),
        xmlns="http://www.w3.org/2000/svg",
        class_="bar",
        viewBox=f"0 0 {wide:g} 10",
        width=wide,
        height=10,
        aria_hidden=True,
    )


def _drawn(name: str, high: float, *pieces: Ink, **data: str | int | None) -> Ink:
    return tag(
        "svg",
        join(*pieces),
        xmlns="http://www.w3.org/2000/svg",
        class_=f"bar {name}",
        viewBox=f"0 0 {number(WIDE)} {number(high)}",
        width=WIDE,
        height=high,
        aria_hidden=True,
        **data,
    )
