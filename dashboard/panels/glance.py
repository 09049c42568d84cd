"""The sled page at a glance: what matters, the drawings, the lamps in words."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlencode

from collector.model import Health
from dashboard.drawings.bars import urgency_words
from dashboard.drawings.cutaway import cutaway as drawn_cutaway
from dashboard.drawings.front import front as drawn_front
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.lamps import lamp_words, panel
from dashboard.drawings.marks import css_name, worded
from dashboard.drawings.plan import Plan
from dashboard.drawings.things import Front, Standing
from dashboard.views.sled import LampLine
from dashboard.views.verdict import Verdict
from dashboard.views.words import count

_VERDICTS = 3
"""Shown at once; the rest stands below."""


def verdict_block(found: Sequence[Verdict], controller: str, silent: str) -> Ink:
    """What matters at a glance: what is wrong, which part, what to do."""
    if not found:
        health = Health.UNKNOWN if silent else Health.OK
        words = (
            "What is wrong here is not known: it does not answer."
            if silent
            else "Nothing is wrong here, as far as its controller tells."
        )
        return tag(
            "section",
            tag("div", tag("p", words, class_="says"), class_=f"verdict {css_name(health)}", data_verdict=health.word),
            data_block="verdict",
        )
    shown = [_verdict(each, controller) for each in found[:_VERDICTS]]
    more = f"and {count(len(found) - _VERDICTS, 'more trouble')}, below" if len(found) > _VERDICTS else None
    return tag("section", *shown, tag("p", more, class_="small") if more else None, data_block="verdict")


def _verdict(verdict: Verdict, controller: str) -> Ink:
    says: Ink | str = verdict.says
    if verdict.part is not None:
        says = tag(
            "a", says, href=sled_link(controller, place=verdict.part), data_pick=f"place={verdict.part}", class_="plain"
        )
    elif verdict.elsewhere is not None:
        says = tag("a", says, href=sled_link(verdict.elsewhere), class_="plain")
    order = verdict.order
    return tag(
        "div",
        tag("p", worded(Standing(verdict.severity)), tag("span", f" {verdict.sure}", class_="small")),
        tag("p", says, class_="says"),
        tag(
            "p",
            tag("a", "Work order", href=f"./?{urlencode({'page': 'orders', 'order': order.id})}", class_="push"),
            tag("span", urgency_words(order.urgency), " ", order.task),
            class_="do",
        )
        if order is not None
        else None,
        tag("p", panel(order.lamp, order.part), order.lamp_text, class_="seek")
        if order is not None and order.lamp is not None
        else None,
        tag("p", tag("b", "Look next: "), verdict.look) if verdict.look else None,
        class_=f"verdict {css_name(verdict.severity)}",
        data_verdict=verdict.severity.word,
        data_verdict_part=verdict.part,
    )


def figures(front: Front | None, plan: Plan | None, layer: int, controller: str, chosen: str | None) -> Ink:
    """The front over the cut-away, both to one scale across, every part in them a link to itself."""
    if front is None or plan is None:
        return tag(
            "section",
            tag("h2", "Front"),
            tag("p", "The controller has told of no part yet.", class_="nothing"),
            data_block="front",
        )
    words = (
        "to scale, lamps as they should show"
        if front.told
        else "sizes not told, not to scale; lamps as they should show"
    )
    return tag(
        "section",
        tag(
            "figure",
            tag("figcaption", tag("b", "Front"), f" {words}"),
            drawn_front(front, controller, chosen),
            data_block="front",
        ),
        tag(
            "figure",
            tag("figcaption", tag("b", "From above, cut open"), f" {_scale_words(plan)}"),
            _layers(plan, layer),
            drawn_cutaway(plan, layer, controller, chosen),
            tag("figcaption", _placed_words(plan)),
            data_block="cutaway",
        ),
        class_="drawn",
    )


def _scale_words(plan: Plan) -> str:
    return "case and blades to scale, front below" if plan.told else "sizes not all told, not to scale; front below"


def _placed_words(plan: Plan) -> str:
    words = "Where parts lie on a blade and behind it, nobody tells: they are arranged by kind along the air"
    kinds = dict.fromkeys(piece.kind for layer in plan.layers for tray in layer.trays for piece in tray.inside)
    on = f"; on a blade from the front {', '.join(kinds)}" if kinds else ""
    more = f"; {count(plan.more, 'part')} more in the list below" if plan.more else ""
    return f"{words}{on}{more}."


def _layers(plan: Plan, layer: int) -> Ink | None:
    """Which of the layers of blades is drawn, where there are several."""
    if len(plan.layers) < 2:
        return None
    names = ("upper", "lower") if len(plan.layers) == 2 else tuple(str(n + 1) for n in range(len(plan.layers)))
    worst = [max(tray.standing.health for tray in each.trays) for each in plan.layers]
    choices = [
        tag(
            "button",
            names[place],
            worded(Standing(worst[place])) if worst[place] > Health.OK else None,
            aria_label=f"{names[place]} layer: {each.name}, {worst[place].word}",
            class_="pick",
            type="button",
            data_pick=f"layer={place}",
            aria_pressed="true" if place == layer else "false",
        )
        for place, each in enumerate(plan.layers)
    ]
    return tag("div", tag("span", "Layer", class_="of"), *choices, class_="choices", role="group", aria_label="Layer")


def lamps_block(lines: Sequence[LampLine], controller: str) -> Ink | None:
    """Every front's lamps in words, as they should show and as they are reported."""
    if not lines:
        return None
    title = tag(
        "h2",
        "Lamps",
        tag("span", "as they should show; below them what is reported", class_="count"),
        tag("a", "what do you see? read the lamps", href=f"./?{urlencode({'page': 'lamps', 'at': controller})}",
            class_="count"),
    )  # fmt: skip
    body = tag("div", *(_lamp_line(line) for line in lines), class_="lamp-lines beside")
    return tag("section", title, body, data_block="lamps")


def _lamp_line(line: LampLine) -> Ink:
    should = (
        join(panel(line.lamps, line.part), tag("span", lamp_words(line.lamps)))
        if line.lamps is not None
        else tag("span", "empty slot" if line.absent else "lamps unknown", class_="small")
    )
    return tag(
        "div",
        tag("div", line.label, class_="slot-name"),
        tag("div", should, class_="should"),
        tag("div", worded(line.standing), class_="stands") if not line.absent else None,
        tag("div", f"reports: {line.reported}", class_="reports"),
        class_="lamp-line",
        data_lamps_of=line.part,
    )
