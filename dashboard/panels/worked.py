"""Figures on a page: of a sled with its parts, of one part, of racks."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.drawings.ink import Ink, sled_link, tag
from dashboard.panels.frame import folded
from dashboard.views.worked import Ending, RackDrew, Worked

_RACKS = 60


def worked_block(found: Sequence[Worked], front: str | None) -> Ink | None:
    """What follows from a sled's readings; ``front``: the part that stands for it, whose figures are not folded."""
    if not found:
        return None
    own = [each for each in found if each.figure.part == front]
    rest = [each for each in found if each.figure.part != front]
    return tag(
        "section",
        tag("h2", "What follows from the readings", tag("span", "air, power, and what was drawn", class_="count")),
        tag("ol", *map(worked_line, own), class_="lines wide-when") if own else None,
        folded([worked_line(each) for each in rest], "of its parts"),
        data_block="worked",
    )


def worked_line(each: Worked) -> Ink:
    """One figure: what, of which part, within which bounds, and what it follows from."""
    figure = each.figure
    return tag(
        "li",
        tag(
            "div",
            tag("span", tag("b", each.value), class_="stands"),
            tag("span", f"{figure.kind.value}, {each.name}", class_="what"),
            tag("span", figure.basis, class_="where small"),
            tag("span", each.bounds, class_="when"),
            class_="line",
        ),
        data_figure=figure.kind.value,
        data_of=figure.of or None,
        data_figure_part=figure.part,
    )


def ending(found: Sequence[Ending], most: int) -> Ink | None:
    """Whose life is used up next. ``most``: how many are told at most."""
    if not found:
        return None
    lines = [
        tag(
            "li",
            tag(
                "div",
                tag("span", tag("b", each.at), class_="stands"),
                tag(
                    "span",
                    tag("a", each.controller, href=sled_link(each.controller)),
                    f", {each.name}, part number {each.number}",
                    class_="what",
                ),
                tag("span", f"{each.place}; {each.of}: {each.basis}", class_="where small"),
                tag("span", each.bounds, class_="when"),
                class_="line wide-when",
            ),
            data_ending=each.controller,
        )
        for each in found
    ]
    whose = f"the {most} soonest" if len(found) >= most else "all that the samples carry a date for"
    return tag(
        "section",
        tag("h2", "What wears out next", tag("span", f"{whose}; at right within which dates (95 %)", class_="count")),
        tag("ol", *lines, class_="lines"),
        data_block="endings",
    )


def drew(found: Sequence[RackDrew]) -> Ink | None:
    """What racks drew lately as a whole."""
    if not found:
        return None
    heads = ("rack", "peak", "95 of 100 below", "energy", "busbar")
    more = f"The {_RACKS} with the highest peaks, of {len(found):,}." if len(found) > _RACKS else None
    return tag(
        "section",
        tag("h2", "What racks drew", tag("span", "sums of their sleds, of the last day at most", class_="count")),
        tag("p", more, class_="small") if more else None,
        tag(
            "table",
            tag("thead", tag("tr", *(tag("th", head, scope="col") for head in heads))),
            tag("tbody", *(_drew(each) for each in found[:_RACKS])),
            class_="energy",
        ),
        data_block="racks-drew",
    )


def _drew(each: RackDrew) -> Ink:
    said = (("peak", each.peak), ("95 of 100 below", each.high), ("energy", each.energy), ("busbar", each.current))
    return tag(
        "tr",
        tag("td", tag("b", each.rack), tag("div", each.basis, class_="small") if each.basis else None),
        *(tag("td", words, class_="narrow", data_said=name) for name, words in said),
        data_rack_drew=each.rack,
    )
