"""The cut-away: a sled from above, its front below as one stands before it, air from below to above; one layer of
blades at a time, for those that stand over one another hide each other."""

from __future__ import annotations

from collector.model import Health
from dashboard.drawings.ink import Ink, join, number, sled_link, tag
from dashboard.drawings.marks import css_name, hook, mark
from dashboard.drawings.plan import Piece, Plan, Tray
from dashboard.drawings.rack import shorten
from dashboard.drawings.things import Bay

WIDE = 366.0
"""Drawing units across, the same as the front's, so that both stand over one another."""
_EDGE = 3.0
_INLET, _OUTLET = 62.0, 40.0
"""Room for the air in front of the case and behind it."""
_COOLANT = 30.0
"""More room behind it where coolant flows."""
_MARK = 11.0
_CHARACTER = 6.3


def cutaway(plan: Plan, layer: int, controller: str, chosen: str | None = None) -> Ink:
    """The drawing; every part in it is a link to itself on the sled page. ``chosen``: id of the part in hand."""
    scale = (WIDE - 2 * _EDGE) / plan.width
    deep = plan.depth * scale
    back = _OUTLET + (_COOLANT if plan.coolant.told else 0.0)
    foot = back + deep
    words = f"{plan.label} from above, cut open; its front is below"
    trays = plan.layers[layer].trays if layer < len(plan.layers) else ()
    return tag(
        "svg",
        tag("title", words),
        tag("rect", x=_EDGE, y=back, width=WIDE - 2 * _EDGE, height=deep, class_="case", rx=2),
        tag("path", d=f"M{_EDGE} {number(foot)}H{number(WIDE - _EDGE)}", class_="front-edge"),
        _coolant(plan),
        *(_tray(tray, scale, foot, controller, chosen) for tray in trays),
        *(_piece(piece, scale, foot, controller, chosen) for piece in plan.common),
        _air(plan, back, foot),
        xmlns="http://www.w3.org/2000/svg",
        class_="cutaway",
        viewBox=f"0 0 {number(WIDE)} {number(foot + _INLET)}",
        role="group",
        aria_label=words,
        data_cutaway=plan.part,
        data_scale=number(scale, 4),
        data_layer=layer,
        data_to_scale=True if plan.told else None,
    )


def _place(box: Bay, scale: float, foot: float) -> tuple[float, float, float, float]:
    """x, y, width, height on the drawing."""
    high = max(box.height * scale, 1.0)
    return _EDGE + box.x * scale, foot - box.y * scale - high, max(box.width * scale, 1.0), high


def _tray(tray: Tray, scale: float, foot: float, controller: str, chosen: str | None) -> Ink:
    x, y, width, high = _place(tray.box, scale, foot)
    face = "face absent" if tray.absent else f"tray {css_name(tray.standing.health)}"
    ground = tag("rect", x=x + 1, y=y + 1, width=max(width - 2, 1), height=max(high - 2, 1), class_=face)
    if tray.absent:
        words = shorten(f"{tray.label} empty", width - 12, _CHARACTER)
        return tag(
            "g", ground, tag("text", words, x=x + 7, y=y + high - 9, class_="quiet"), data_tray=tray.part or "empty"
        )
    line = y + high - 14
    pieces = [mark(tray.standing.health, x + 6, line - _MARK + 4, _MARK)]
    left = x + 6 + _MARK + 5
    if tray.standing.risk:
        pieces.append(hook(left, line - _MARK + 4, _MARK))
        left += _MARK + 5
    enters = f"{tray.enters} in" if tray.enters else ""
    room = x + width - left - (len(enters) * 5.4 + 10 if enters else 4)
    pieces.append(tag("text", shorten(tray.label, room, 6.9), x=left, y=line + 4, class_="said strong"))
    name = tag(
        "a",
        tag("title", f"{tray.label}: {tray.standing.words}"),
        tag("rect", x=x + 1, y=y + high - 30, width=max(width - 2, 1), height=29, class_="hold"),
        *pieces,
        **_link(tray.part, controller, chosen),
    )
    air = [tag("text", enters, x=x + width - 6, y=line + 4, class_="air to-left")] if enters else []
    if tray.leaves:
        air.append(tag("text", f"↑ {tray.leaves} out", x=x + width / 2, y=y + 17, class_="air to-middle"))
    more = f"and {tray.more} more, listed below" if tray.more else ""
    if more:
        air.append(tag("text", more, x=x + 6, y=y + 17, class_="quiet"))
    return tag(
        "g",
        ground,
        _chosen(x + 1, y + 1, width - 2, high - 2) if tray.part == chosen else None,
        name,
        *(_piece(piece, scale, foot, controller, chosen, tray.label) for piece in tray.inside),
        *air,
        data_tray=tray.part,
        data_health=tray.standing.health.word,
        data_box=_told(tray.box),
    )


def _piece(piece: Piece, scale: float, foot: float, controller: str, chosen: str | None, within: str = "") -> Ink:
    x, y, width, high = _place(piece.box, scale, foot)
    stands = f"{piece.name}: {piece.standing.words}"
    return tag(
        "a",
        tag("title", f"{stands}{f'; {piece.says}' if piece.says else ''}"),
        tag("rect", x=x, y=y, width=width, height=high, rx=1.5, class_=f"piece {css_name(piece.standing.health)}"),
        _chosen(x, y, width, high) if piece.part == chosen else None,
        _said(piece, _short(piece.label, within) or _short(piece.name, within) or piece.kind, x, y, width, high),
        **_link(piece.part, controller, chosen),
        data_kind=piece.kind,
        data_health=piece.standing.health.word,
        data_box=_told(piece.box),
    )


def _said(piece: Piece, label: str, x: float, y: float, width: float, high: float) -> Ink:
    """Mark, label and reading where there is room; a thin part shows its mark only when something is wrong."""
    loud = piece.standing.health is not Health.OK
    if width < 26 or high < 14:
        size = min(_MARK, width - 1, high - 1)
        return mark(piece.standing.health, x + (width - size) / 2, y + (high - size) / 2, size) if loud else Ink()
    room = width - 8
    two = bool(piece.says) and high >= 31 and len(piece.says) * 5.6 <= room
    above = loud and high >= 46 and width < 60
    line = y + (high / 2 - 3 if two else high / 2 + 4) + (8 if above else 0)
    words = _fit(label, piece.kind, room)
    beside = not above and (loud or len(words) * _CHARACTER + _MARK + 4 <= room)
    if beside and loud:
        words = _fit(label, piece.kind, room - _MARK - 4)
    marked = _MARK + 4 if beside else 0.0
    left = x + max(4.0, (width - marked - len(words) * 5.9) / 2)
    return join(
        mark(piece.standing.health, x + (width - _MARK) / 2, line - 2 * _MARK, _MARK) if above else None,
        mark(piece.standing.health, left, line - _MARK + 2, _MARK) if beside else None,
        tag("text", words, x=left + marked if beside else x + width / 2, y=line, class_="said" + (
            "" if beside else " to-middle")),
        tag("text", piece.says, x=x + width / 2, y=line + 14, class_="reads") if two else None,
    )  # fmt: skip


_BRIEF = {"network adapter": "network", "power supply": "supply", "storage controller": "storage", "other": ""}


def _fit(label: str, kind: str, room: float) -> str:
    """The label, else its kind in a word, else the number at its end, else what fits of it."""
    last = label.rpartition(" ")[2]
    brief = _BRIEF.get(kind, kind)
    numbered = f"{brief} {last}" if any(each.isdecimal() for each in last) and last != label else ""
    for words in (label, numbered, last if last.isdecimal() else "", brief):
        if words and len(words) * _CHARACTER <= room:
            return words
    return shorten(label, room, _CHARACTER)


def _short(words: str, within: str) -> str:
    """A label without the name of the blade that it stands on."""
    cut = words[len(within) :].strip(" /·-") if within and words.lower().startswith(within.lower()) else words
    return cut


def _link(part: str, controller: str, chosen: str | None) -> dict[str, str | None]:
    return {
        "href": sled_link(controller, place=part),
        "aria_current": "true" if part == chosen else None,
        "data_pick": f"place={part}",
        "data_part": part,
    }


def _chosen(x: float, y: float, width: float, high: float) -> Ink:
    return tag("rect", x=x - 1, y=y - 1, width=width + 2, height=high + 2, rx=2, class_="chosen", data_chosen=True)


def _told(box: Bay) -> str:
    return " ".join(number(side) for side in (box.x, box.y, box.width, box.height))


def _air(plan: Plan, back: float, foot: float) -> Ink:
    """Arrows into the front and out of the back, with what is told of the air."""
    air = plan.air
    ins = join(*(_arrow(WIDE * at, foot + 44, foot + 30) for at in (0.12, 0.5, 0.88)))
    outs = join(*(_arrow(WIDE * at, back - 4, back - 18) for at in (0.12, 0.5, 0.88)))
    inlet = f"air in {air.inlet}" if air.inlet else "temperature of the air in not told"
    outlet = ", ".join(each for each in (f"air out {air.outlet}" if air.outlet else "", air.flow) if each)
    return tag(
        "g",
        ins,
        outs,
        tag("text", inlet, x=WIDE / 2, y=foot + 57, class_="air to-middle", data_air="in"),
        tag(
            "text",
            outlet or "what leaves it is not told",
            x=WIDE / 2,
            y=back - 26,
            class_="air to-middle",
            data_air="out",
        ),
        class_="airflow",
    )


def _arrow(x: float, start: float, end: float, css: str = "arrow") -> Ink:
    back = end + (5 if end < start else -5)
    tip = f"M{x - 4:.1f} {back:.1f}L{x:.1f} {end:.1f}L{x + 4:.1f} {back:.1f}"
    return tag("path", d=f"M{x:.1f} {start:.1f}V{end:.1f}{tip}", class_=css)


def _coolant(plan: Plan) -> Ink | None:
    """Coolant to the back of the case and away from it, with what is told of it."""
    coolant = plan.coolant
    if not coolant.told:
        return None
    told = (
        f"coolant in {coolant.supply}" if coolant.supply else "coolant",
        f"out {coolant.returns}" if coolant.returns else "",
        coolant.flow,
    )
    return tag(
        "g",
        _arrow(WIDE * 0.72, 20, 34, css="coolant"),
        _arrow(WIDE * 0.78, 34, 20, css="coolant"),
        tag("text", ", ".join(each for each in told if each), x=WIDE / 2, y=14, class_="air to-middle"),
        class_="coolant-flow",
        data_coolant=True,
    )
