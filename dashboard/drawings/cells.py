"""A row of racks as cells, one a rack, side by side as they stand: the mark of the worst in it, and a hook where blades
are at risk; words stand beside the row, and in each cell's name."""

from __future__ import annotations

from dashboard.drawings.ink import Ink, tag
from dashboard.drawings.marks import css_name, hook, mark
from dashboard.drawings.things import Standing

SIDE = 24.0
"""Side of a cell: WCAG 2.2, 2.5.8 asks for 24 CSS pixels at least."""


def cell(standing: Standing, words: str, href: str, drawn: bool) -> Ink:
    """One rack's cell; ``words`` say what it holds; ``drawn``: it stands open beside the rows."""
    both = bool(standing.risk)
    size = 11.0 if both else 13.0
    at = (SIDE - size) / 2
    marks = (
        [mark(standing.health, 1.5, at - 4, size - 1), hook(12, at + 3, size - 1)]
        if both
        else [mark(standing.health, at, at, size)]
    )
    drawing = tag(
        "svg",
        *marks,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {SIDE:g} {SIDE:g}",
        width=SIDE,
        height=SIDE,
        aria_hidden=True,
    )
    return tag(
        "a",
        drawing,
        href=href,
        class_=f"cell {css_name(standing.health)}" + (" drawn" if drawn else ""),
        title=words,
        aria_label=words,
        data_cell=standing.health.word,
    )
