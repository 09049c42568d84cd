"""The opening page's parts: what needs hands first, who does not answer, the racks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import tzinfo
from functools import lru_cache

from collector.model import Health, Seconds, WorkOrder
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.rack import elevation
from dashboard.drawings.things import Rack, Standing
from dashboard.panels.care import cared, follows
from dashboard.panels.frame import KEY, folded
from dashboard.panels.orders import order_line
from dashboard.views.answers import SOONEST
from dashboard.views.attention import Silent, Task
from dashboard.views.floor import Floor, Row
from dashboard.views.telemetry import Telemetry
from dashboard.views.words import age, clock, count

_SMALL = 60
"""Sleds up to which all rows are sent as one piece; more are sent row by row, each only when it changes."""
FIRST = 12
"""Lines shown at once; the rest unfolds."""


def heard(told: Telemetry, now: Seconds) -> Ink:
    """One line on how much is heard and how recently."""
    pieces = [join(tag("b", f"{told.answering} of {count(told.controllers, 'controller')}"), " answering")]
    if told.failing:
        pieces.append(join(tag("b", str(told.failing)), " failing"))
    if told.waiting:
        pieces.append(join(tag("b", str(told.waiting)), " not asked yet"))
    if told.behind:
        pieces.append(join(tag("b", str(told.behind)), " behind by more than two rounds"))
    if told.newest is not None:
        pieces.append(join("newest round ", tag("b", f"{age(now - told.newest)} ago")))
    if told.oldest is not None and told.newest is not None and told.oldest < told.newest - 1:
        pieces.append(join("oldest ", tag("b", f"{age(now - told.oldest)} ago")))
    pieces.append(join(tag("b", f"{told.valued} of {told.sensors}"), " readings have a value"))
    if told.defects:
        pieces.append(join(tag("b", count(told.defects, "defect")), " in what they offer"))
    if told.unchecked:
        pieces.append(join(tag("b", str(told.unchecked)), " with the certificate not checked"))
    return join(*(join(" · " if place else None, piece) for place, piece in enumerate(pieces)))


def hands_first(orders: Sequence[WorkOrder], tasks: Sequence[Task], now: Seconds, zone: tzinfo | None) -> Ink:
    """What is to be done, the most urgent first, one line an order."""
    counts = Counter(order.urgency for order in orders)
    told = ", ".join(f"{counts[each]} {each.value}" for each in SOONEST if counts[each])
    words = f"{count(len(orders), 'work order')}: {told}" if orders else None
    title = tag("h2", "Hands first", tag("span", words, class_="count") if words else None)
    if not orders:
        told = "Nothing wants hands: no work order is open."
        if any(not task.set_aside for task in tasks):
            told = "No work order is open: what is wrong below is not sure enough yet, or nothing that hands can mend."
        return tag("section", title, tag("p", told, class_="nothing"), data_block="hands-first")
    lines = [order_line(order, now, zone) for order in orders]
    return tag(
        "section",
        title,
        tag("ol", *lines[:FIRST], class_="lines"),
        folded(lines[FIRST:], "further orders"),
        data_block="hands-first",
    )


def found_wrong(tasks: Sequence[Task], now: Seconds, zone: tzinfo | None, unknown: int) -> Ink:
    """Parts with open conditions, worst first, each with what follows from them; what people set aside is folded."""
    loud = [task for task in tasks if not task.set_aside]
    aside = [task for task in tasks if task.set_aside]
    title = tag("h2", "Found wrong", tag("span", _tally(loud), class_="count") if loud else None)
    if not tasks:
        words = "No condition is open on any part that is heard."
        if unknown:
            words += f" Of {count(unknown, 'sled')} the health is unknown."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="found-wrong")
    lines = [_task(task, now, zone) for task in loud]
    return tag(
        "section",
        title,
        tag("ol", *lines[:FIRST], class_="lines") if lines else tag("p", "Nothing but what is set aside."),
        folded(lines[FIRST:], "further"),
        folded([_task(task, now, zone) for task in aside], "set aside: shelved or in maintenance"),
        data_block="found-wrong",
    )


def _tally(tasks: Sequence[Task]) -> str:
    counts = Counter(task.severity for task in tasks)
    told = [f"{counts[health]} {health.word}" for health in sorted(counts, reverse=True)]
    return f"{count(len(tasks), 'part')}: {', '.join(told)}"


def _task(task: Task, now: Seconds, zone: tzinfo | None) -> Ink:
    more = f" and {count(task.more, 'other condition')}" if task.more else ""
    risks = tag("span", f" Puts {count(task.puts_at_risk, 'blade')} at risk.", class_="risks")
    return tag(
        "li",
        tag(
            "a",
            tag("span", worded(Standing(task.severity)), class_="stands"),
            tag(
                "span",
                tag("b", task.name),
                f": {task.text}{more}.",
                risks if task.puts_at_risk else None,
                " Ordered above." if task.ordered else None,
                class_="what",
            ),
            tag("span", task.place, class_="where"),
            tag("span", f"for {age(now - task.since)}", class_="when", title=f"since {clock(task.since, now, zone)}"),
            href=sled_link(task.controller),
            class_="line",
        ),
        cared(task.marks, now, zone),
        follows(task.follows, task.part or task.controller),
        data_task=task.part or task.controller,
        data_controller=task.controller,
        data_health=task.severity.word,
    )


def not_answering(silent: Sequence[Silent], now: Seconds, zone: tzinfo | None) -> Ink | None:
    """Controllers that don't answer as they should; None when all do."""
    if not silent:
        return None
    lines = [_silent(each, now, zone) for each in silent]
    return tag(
        "section",
        tag("h2", "Not answering", tag("span", count(len(silent), "controller"), class_="count")),
        tag("ol", *lines[:FIRST], class_="lines"),
        folded(lines[FIRST:], "more"),
        data_block="not-answering",
    )


def _silent(each: Silent, now: Seconds, zone: tzinfo | None) -> Ink:
    if each.last_good is None:
        when, title = "never heard", "no round has brought a reading"
    else:
        when, title = f"last heard {age(now - each.last_good)} ago", clock(each.last_good, now, zone)
    return tag(
        "li",
        tag(
            "a",
            tag("span", worded(Standing(), each.outcome), class_="stands"),
            tag("span", tag("b", each.controller), f": {each.error}" if each.error else None, class_="what"),
            tag("span", each.place, class_="where"),
            tag("span", when, class_="when", title=title),
            href=sled_link(each.controller),
            class_="line",
        ),
        tag("p", f"Follows from: {each.because}.", class_="aside small") if each.because else None,
        cared(each.marks, now, zone),
        follows(each.follows, each.controller),
        data_silent=each.controller,
        data_outcome=each.outcome,
    )


def racks_head(floor: Floor) -> Ink:
    """Heading of the racks: how many sleds stand how, and the key to the marks."""
    sleds = [sled for sled in floor.sleds if sled.holds == "sled"]
    others = Counter(sled.holds for sled in floor.sleds if sled.holds != "sled")
    counts = Counter(sled.standing.health for sled in sleds)
    told = [f"{counts[health]} {health.word}" for health in sorted(Health, reverse=True) if counts[health]]
    at_risk = sum(1 for sled in sleds for blade in sled.blades if blade.standing.risk)
    words = f"{count(len(sleds), 'sled')}: {', '.join(told)}" if told else "no sled told of yet"
    if at_risk:
        words += f"; {count(at_risk, 'blade')} at risk"
    for kind, number in sorted(others.items()):
        words += f"; {count(number, kind, 'power shelves' if kind == 'power shelf' else None)}"
    return join(tag("h2", "The racks", tag("span", words, class_="count"), data_block="racks"), KEY)


def row_of_racks(row: Row, stale: bool) -> Ink:
    """The racks of one row, side by side as they stand, their feet on one line."""
    figures = [tag("figure", _drawn(rack), tag("figcaption", rack.name)) for rack in row.racks]
    return tag(
        "section",
        tag("h3", row.name),
        tag("div", *figures, class_="rows" + (" stale" if stale else "")),
        data_row=row.name,
    )


def floors(rows: Sequence[Row], stale: bool) -> list[Ink]:
    """The rows in pieces to be shown one after the other: a small floor in one, with its rows side by side."""
    drawn = [row_of_racks(row, stale) for row in rows]
    if sum(len(rack.sleds) for row in rows for rack in row.racks) > _SMALL:
        return drawn
    return [tag("div", *drawn, class_="floor")] if drawn else []


@lru_cache(maxsize=1024)
def _drawn(rack: Rack) -> Ink:
    """A rack that stands as before is not drawn again."""
    return elevation(rack)


def unplaced(floor: Floor) -> Ink | None:
    """Sleds that no rack can show, each with the reason; None when all are placed."""
    if not floor.homeless:
        return None
    chips = [
        tag(
            "li",
            tag("a", each.sled.label, href=sled_link(each.sled.controller)),
            " ",
            worded(each.sled.standing),
            tag("div", f"{each.sled.controller}: {each.why}", class_="small"),
            data_sled=each.sled.controller,
            data_part_health=each.sled.standing.health.word,
        )
        for each in floor.homeless
    ]
    return tag(
        "section",
        tag("h3", "Place not told"),
        tag("p", "These can't be drawn in a rack; the fleet file can say where they stand.", class_="small"),
        tag("ul", *chips, class_="chips"),
        data_block="unplaced",
    )
