"""The marks of health: each a shape of its own, drawn like a trace, never alone without its word.

Level line: OK. Peak: Warning. Broken block: Critical. Dots: unknown. Hook: at risk through a part outside.
"""

from __future__ import annotations

from collector.model import Health
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.things import Standing

SIZE = 12.0
"""Marks are drawn on a square of this side."""

_LEVEL = tag("path", d="M1 6H11", class_="stroke")
_PEAK = tag("path", d="M0.5 10H2.6L6 2.4L9.4 10H11.5", class_="stroke")
_BLOCK = join(
    tag("rect", x=0.5, y=0.5, width=11, height=11, class_="solid"),
    tag("path", d="M0.5 7.6L4.4 4.2L7.2 8L11.5 4.2", class_="cut"),
)
_DOTS = join(*(tag("circle", cx=x, cy=6, r=1.3, class_="solid") for x in (1.8, 6.0, 10.2)))
_HOOK = tag("path", d="M2 1.5V7H10M7 3.8L10.2 7L7 10.2", class_="stroke")

_SHAPES = {Health.UNKNOWN: _DOTS, Health.OK: _LEVEL, Health.WARNING: _PEAK, Health.CRITICAL: _BLOCK}


def css_name(health: Health) -> str:
    """The class that gives a health its colour: ``is-ok``, ``is-warning``, ``is-critical``, ``is-unknown``."""
    return f"is-{health.word.lower()}"


def mark(health: Health, x: float = 0, y: float = 0, size: float = SIZE) -> Ink:
    """A health's mark as a group inside a drawing, its upper left corner at (x, y)."""
    return tag(
        "g",
        _SHAPES[health],
        class_=f"mark {css_name(health)}",
        data_health=health.word,
        transform=_at(x, y, size),
    )


def hook(x: float = 0, y: float = 0, size: float = SIZE) -> Ink:
    """The mark of being at risk through a part outside, as a group inside a drawing."""
    return tag("g", _HOOK, class_="mark is-at-risk", data_risk=True, transform=_at(x, y, size))


def badge(standing: Standing) -> Ink:
    """A standing beside text: mark, and hook where at risk; the word stands in the text that follows."""
    wide = 2 * SIZE + 3 if standing.risk else SIZE
    return tag(
        "svg",
        mark(standing.health),
        hook(SIZE + 3) if standing.risk else None,
        xmlns="http://www.w3.org/2000/svg",
        class_="badge",
        viewBox=f"0 0 {wide:g} {SIZE:g}",
        width=wide,
        height=SIZE,
        aria_hidden=True,
    )


def worded(standing: Standing, words: str | None = None) -> Ink:
    """A standing as mark and word, for lists and tables."""
    risk = f", {standing.risk_words}" if words is None and standing.risk else ""
    note = f" ({standing.note})" if words is None and standing.note else ""
    return tag(
        "span",
        badge(standing),
        tag("span", words if words is not None else standing.health.word),
        tag("em", risk, class_="is-at-risk") if risk else None,
        note or None,
        class_=f"worded {css_name(standing.health)}",
        data_health=standing.health.word,
    )


def at_risk(words: str) -> Ink:
    """The hook and words beside it, for the key to the marks."""
    drawn = tag(
        "svg",
        hook(),
        xmlns="http://www.w3.org/2000/svg",
        class_="badge",
        viewBox=f"0 0 {SIZE:g} {SIZE:g}",
        width=SIZE,
        height=SIZE,
        aria_hidden=True,
    )
    return tag("span", drawn, tag("span", words), class_="worded is-at-risk")


def _at(x: float, y: float, size: float) -> str:
    scale = "" if size == SIZE else f" scale({size / SIZE:.3g})"
    return f"translate({x:g} {y:g}){scale}"
