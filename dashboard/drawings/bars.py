"""Small bars beside figures, and the mark of how soon hands are needed; the figure stands beside them as text."""

from __future__ import annotations

from collector.model import Health, Urgency
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.marks import css_name

WIDE = 120.0
HIGH = 10.0

_STROKES = {Urgency.NOW: 3, Urgency.TODAY: 2, Urgency.NEXT_VISIT: 1}
_COLOUR = {Urgency.NOW: Health.CRITICAL, Urgency.TODAY: Health.WARNING, Urgency.NEXT_VISIT: Health.UNKNOWN}


def chance(probability: float) -> Ink:
    """A probability, 0 to 1, as the filled share of a bar with a tick at the half."""
    share = min(max(probability, 0.0), 1.0)
    return _drawn(
        "chance",
        tag("rect", x=0.5, y=1, width=WIDE - 1, height=HIGH - 2, class_="bed"),
        tag("rect", x=0.5, y=1, width=share * (WIDE - 1), height=HIGH - 2, class_="filled"),
        tag("path", d=f"M{WIDE / 2:g} 0V{HIGH:g}", class_="limit"),
        data_chance=f"{share:.4f}",
    )


def reserve(share: float) -> Ink:
    """What is left, as a share of the most that any has, -1 to 1: from the limit in the middle to the left, what is
    over to the right of it."""
    middle, part = WIDE / 2, min(max(share, -1.0), 1.0)
    length = abs(part) * (middle - 1)
    return _drawn(
        "reserve",
        tag("rect", x=0.5, y=1, width=WIDE - 1, height=HIGH - 2, class_="bed"),
        tag(
            "rect",
            x=middle - length if part >= 0 else middle,
            y=1,
            width=length,
            height=HIGH - 2,
            class_="filled" if part >= 0 else "filled is-critical over",
        ),
        tag("path", d=f"M{middle:g} 0V{HIGH:g}", class_="limit"),
        data_reserve=f"{part:.4f}",
    )


def urgency_words(urgency: Urgency) -> Ink:
    """How soon, as one to three upright strokes and the word."""
    strokes = join(*(tag("path", d=f"M{2 + 4.5 * n:g} 1V11", class_="stroke") for n in range(_STROKES[urgency])))
    drawn = tag(
        "svg",
        tag("g", strokes, class_=f"mark {css_name(_COLOUR[urgency])}"),
        xmlns="http://www.w3.org/2000/svg",
        class_="badge",
        viewBox="0 0 13 12",
        width=13,
        height=12,
        aria_hidden=True,
        data_strokes=_STROKES[urgency],
    )
    return tag(
        "span",
        drawn,
        tag("span", urgency.value),
        class_=f"worded {css_name(_COLOUR[urgency])}",
        data_soon=urgency.value,
    )


def _drawn(name: str, *pieces: Ink, **data: str) -> Ink:
    return tag(
        "svg",
        *pieces,
        xmlns="http://www.w3.org/2000/svg",
        class_=f"bar {name}",
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        width=WIDE,
        height=HIGH,
        aria_hidden=True,
        **data,
    )
