"""The opening page's parts: what needs hands first, who does not answer, what changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import tzinfo
from urllib.parse import urlencode

from collector.model import Health, Seconds, WorkOrder
from collector.store.overview import Chosen, Totals
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.glance import Wrong
from dashboard.panels.care import cared, follows
from dashboard.panels.frame import folded, notice
from dashboard.panels.orders import order_line, orders_link
from dashboard.views import filters
from dashboard.views.answers import SOONEST
from dashboard.views.attention import Silent, Task
from dashboard.views.since import Change, Changes, Look
from dashboard.views.words import age, clock, count, whole

FIRST = 8
"""Lines shown at once; the rest unfolds."""
_SILENT = 5


def heard(told: Totals, now: Seconds) -> Ink:
    """One line on how much is heard and how recently."""
    pieces = [join(tag("b", f"{whole(told.answering)} of {count(told.controllers, 'controller')}"), " answering")]
    if told.failing:
        pieces.append(join(tag("b", str(told.failing)), " failing"))
    if told.waiting:
        pieces.append(join(tag("b", str(told.waiting)), " not asked yet"))
    if told.behind:
        pieces.append(join(tag("b", whole(told.behind)), " behind by more than two rounds"))
    if told.newest is not None:
        pieces.append(join("newest round ", tag("b", f"{age(now - told.newest)} ago")))
    if told.oldest is not None and told.newest is not None and told.oldest < told.newest - 1:
        pieces.append(join("oldest ", tag("b", f"{age(now - told.oldest)} ago")))
    pieces.append(join(tag("b", f"{whole(told.valued)} of {whole(told.sensors)}"), " readings have a value"))
    if told.defects:
        pieces.append(join(tag("b", count(told.defects, "defect")), " in what they offer"))
    if told.unchecked:
        pieces.append(join(tag("b", str(told.unchecked)), " with the certificate not checked"))
    return join(*(join(" · " if place else None, piece) for place, piece in enumerate(pieces)))


def beginning(told: Totals) -> Ink | None:
    """How far the first walk of the fleet is; None once every controller had its try."""
    if not told.controllers:
        return notice(
            Health.UNKNOWN,
            "The fleet has no controller.",
            "Name some in the fleet file: [[controllers]], or a controllers_file.",
            name="no-controllers",
        )
    if not told.waiting:
        return None
    done = told.controllers - told.waiting
    share = done / told.controllers
    bar = tag(
        "svg",
        tag("rect", x=0.5, y=0.5, width=399, height=11, class_="bed"),
        tag("rect", x=0.5, y=0.5, width=round(399 * share, 1), height=11, class_="filled"),
        xmlns="http://www.w3.org/2000/svg",
        class_="steps",
        viewBox="0 0 400 12",
        role="img",
        aria_label=f"{100 * share:.0f} % read",
    )
    words = f"{done} of {count(told.controllers, 'controller')} had their first walk; {told.waiting} still wait for it."
    return tag(
        "section",
        tag("p", words, " What is not read yet is unknown, not well."),
        bar,
        class_="notice is-unknown",
        role="status",
        data_notice="first-walk",
    )


def hands_first(orders: Sequence[WorkOrder], wrong: Wrong, now: Seconds, zone: tzinfo | None, narrow: bool) -> Ink:
    """What is to be done, the most urgent first, one line an order."""
    counts = Counter(order.urgency for order in orders)
    told = ", ".join(f"{counts[each]} {each.value}" for each in SOONEST if counts[each])
    words = f"{count(len(orders), 'work order')}: {told}" if orders else None
    title = tag("h2", "Hands first", tag("span", words, class_="count") if words else None)
    if not orders:
        told = "No work order is open in what is chosen." if narrow else "Nothing wants hands: no work order is open."
        if any(wrong.counts.values()):
            told = "No work order is open: what is wrong below is not sure enough yet, or nothing that hands can mend."
        return tag("section", title, tag("p", told, class_="nothing"), data_block="hands-first", class_="tight")
    lines = [order_line(order, now, zone) for order in orders[:FIRST]]
    rest = len(orders) - len(lines)
    more = tag("a", f"and {count(rest, 'more work order')}", href=orders_link())
    return tag(
        "section",
        title,
        tag("ol", *lines, class_="lines"),
        tag("p", more, data_more="orders") if rest > 0 else None,
        data_block="hands-first",
        class_="tight",
    )


def found_wrong(wrong: Wrong, now: Seconds, zone: tzinfo | None, unknown: int, chosen: Chosen) -> Ink:
    """Parts with open conditions, worst first, each with what follows from them.

    What an order above mends is folded, and so is what people set aside.
    """
    loud = [task for task in wrong.tasks if not task.ordered]
    ordered = [task for task in wrong.tasks if task.ordered]
    number = sum(wrong.counts.values())
    title = tag("h2", "Found wrong", tag("span", _tally(wrong.counts), class_="count") if number else None)
    if not number and not wrong.aside:
        words = "No condition is open on any part that is heard."
        if filters.narrow(chosen):
            words = "No condition is open in what is chosen."
        elif unknown:
            words += f" Of {count(unknown, 'sled')} the health is unknown."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="found-wrong", class_="tight")
    lines = [_task(task, now, zone) for task in loud]
    nothing = "Nothing but what the orders above mend." if ordered else "Nothing but what is set aside."
    return tag(
        "section",
        title,
        tag("ol", *lines[:FIRST], class_="lines") if lines else tag("p", nothing, class_="nothing"),
        folded(lines[FIRST:], "further"),
        folded([_task(task, now, zone) for task in ordered], "that the orders above mend"),
        folded([_task(task, now, zone) for task in wrong.aside], "set aside: shelved or in maintenance"),
        _more(wrong, chosen),
        data_block="found-wrong",
        class_="tight",
    )


def _more(wrong: Wrong, chosen: Chosen) -> Ink | None:
    """How many are not told one by one, and the ways to them."""
    told = []
    if wrong.more > 0:
        told.append(f"And {wrong.more} more parts, not as bad or not as old")
    if wrong.set_aside > len(wrong.aside):
        told.append(f"{wrong.set_aside - len(wrong.aside)} more are set aside")
    if wrong.unread:
        told.append("more conditions are open than are read here")
    if not told:
        return None
    ways = [
        tag("a", f"{each.word} only", href=filters.link(chosen, severity=each.word))
        for each in (Health.CRITICAL, Health.WARNING)
        if each.word != chosen.severity
    ]
    return tag("p", "; ".join(told), ". Narrow them: ", *_apart(ways), " or choose a rack.", data_more="tasks")


def _apart(pieces: Sequence[Ink]) -> list[Ink | str]:
    told: list[Ink | str] = []
    for piece in pieces:
        told += [", ", piece] if told else [piece]
    return told


def _tally(counts: Mapping[Health, int]) -> str:
    told = [f"{counts[health]} {health.word}" for health in sorted(counts, reverse=True)]
    return f"{count(sum(counts.values()), 'part')}: {', '.join(told)}"


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


def not_answering(silent: Sequence[Silent], number: int, now: Seconds, zone: tzinfo | None) -> Ink | None:
    """Controllers that don't answer as they should; None when all do."""
    if not silent:
        return None
    lines = [_silent(each, now, zone) for each in silent]
    rest = number - len(lines)
    link = "./?" + urlencode({"page": "controllers"})
    return tag(
        "section",
        tag("h2", "Not answering", tag("span", count(number, "controller"), class_="count")),
        tag("ol", *lines[:_SILENT], class_="lines"),
        folded(lines[_SILENT:], "more"),
        tag("p", tag("a", f"and {rest} more controllers", href=link), data_more="silent") if rest > 0 else None,
        data_block="not-answering",
        class_="tight",
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


def changed(look: Look, found: Changes, now: Seconds, zone: tzinfo | None) -> Ink:
    """What changed since this browser last looked, newest first."""
    since = f"{age(now - look.since)} ago, {clock(look.since, now, zone)}"
    title = "Since you last looked" if look.again else "Lately"
    seen = tag("button", "All seen", class_="pick", type="button", data_pick="seen") if found.number else None
    words = "; ".join(found.told) if found.told else "Nothing opened or closed, no part was swapped."
    lines = [_change(each, now, zone) for each in found.lines]
    rest = f"and {found.more} earlier changes" if found.more > 0 else None
    return tag(
        "section",
        tag("h2", title, tag("span", since if look.again else "in the last day", class_="count"), seen),
        tag("p", words, class_=None if found.told else "nothing"),
        tag(
            "details",
            tag("summary", "The newest of it", class_="small"),
            tag("ol", *lines, class_="lines news"),
            tag("p", rest, class_="small") if rest else None,
            id="news",
        )
        if lines
        else None,
        data_block="changed",
        class_="tight",
    )


def _change(each: Change, now: Seconds, zone: tzinfo | None) -> Ink:
    inner = (
        tag("span", worded(Standing(each.severity), each.what), class_="stands"),
        tag("span", each.text, class_="what"),
        tag("span", each.place, class_="where"),
        tag("span", f"{age(now - each.time)} ago", class_="when", title=clock(each.time, now, zone)),
    )
    if each.controller is None:
        return tag("li", tag("div", *inner, class_="line"), data_change=each.what)
    return tag("li", tag("a", *inner, href=sled_link(each.controller), class_="line"), data_change=each.what)


def taken(chosen: Chosen, number: int) -> Ink | None:
    """What is chosen, each with the way to drop it; None where nothing is."""
    told = filters.told(chosen)
    if not told:
        return None
    ways = [
        tag(
            "a",
            f"{filters.FIELDS[name]}: {value}",
            href=filters.link(chosen, **{name: ""}),
            aria_label=f"Drop {filters.FIELDS[name]}: {value}",
            data_taken=name,
        )
        for name, value in told.items()
    ]
    return tag(
        "nav",
        tag("span", f"Shown: {count(number, 'sled or shelf', 'sleds and shelves')} with"),
        *ways,
        tag("a", "Show all", href="./", class_="all"),
        class_="taken",
        aria_label="What is chosen",
    )
