"""A sled's front, to scale: its blades where they sit, their health, drives and lamps."""

from __future__ import annotations

from dashboard.drawings import lamps as lamp
from dashboard.drawings.ink import Ink, join, number, sled_link, tag
from dashboard.drawings.marks import css_name, hook, mark
from dashboard.drawings.rack import shorten
from dashboard.drawings.things import Blade, Drive, Front

WIDE = 366.0
"""Drawing units across: a narrow phone's width, so that text keeps its size there and grows on wider screens."""
_EDGE = 3.0
_MARK = 13.0
_CHARACTER = 6.4
"""About the width of a letter of the slot labels."""


def front(sled: Front, controller: str = "", chosen: str | None = None) -> Ink:
    """The drawing of a sled's front. With a ``controller``, its parts are links to themselves on the sled page;
    ``chosen`` is the id of the part in hand."""
    scale = (WIDE - 2 * _EDGE) / sled.width
    high = sled.height * scale
    strip = 24.0 if sled.lamps is not None else 0.0
    return tag(
        "svg",
        tag("title", f"Front of {sled.label}"),
        _hatch(),
        tag("rect", x=0.75, y=0.75, width=WIDE - 1.5, height=high + 2 * _EDGE - 1.5, class_="case", rx=2),
        *(_blade(blade, scale, high + _EDGE, controller, chosen) for blade in sled.blades),
        _strip(sled, high + 2 * _EDGE) if sled.lamps is not None else None,
        xmlns="http://www.w3.org/2000/svg",
        class_="front",
        viewBox=f"0 0 {number(WIDE)} {number(high + 2 * _EDGE + strip)}",
        role="group",
        aria_label=f"Front of {sled.label}",
        data_front=sled.part,
        data_scale=number(scale, 4),
        data_to_scale=True if sled.told else None,
    )


def _hatch() -> Ink:
    line = tag("path", d="M0 8L8 0M-2 2L2 -2M6 10L10 6", class_="hatching")
    return tag("defs", tag("pattern", line, id="hatch", width=8, height=8, patternUnits="userSpaceOnUse"))


def _strip(sled: Front, y: float) -> Ink:
    """The sled's own lamps, under its front, so that they never hide a blade."""
    if sled.lamps is None:
        return Ink()
    words = f"on the case: {lamp.lamp_words(sled.lamps)}"
    return join(
        lamp.pair(sled.lamps, sled.part, 1, y + 4),
        tag("text", words, x=lamp.WIDE + 8, y=y + 17, class_="small"),
    )


def _blade(blade: Blade, scale: float, foot: float, controller: str, chosen: str | None) -> Ink:
    width, height = blade.bay.width * scale - 2, blade.bay.height * scale - 2
    x = _EDGE + blade.bay.x * scale + 1
    y = foot - (blade.bay.y + blade.bay.height) * scale + 1
    box = {"x": x, "y": y, "width": max(width, 1), "height": max(height, 1)}
    face = "face absent" if blade.absent else f"face {css_name(blade.standing.health)}"
    words = f"{blade.label}: {'empty slot' if blade.absent else blade.standing.words}"
    inside = (
        _empty(blade, x, y, width, height) if blade.absent else _inside(blade, x, y, width, height, controller, chosen)
    )
    drawn = join(
        tag("rect", **box, class_=face),
        tag("rect", **box, class_="hatched") if blade.standing.risk and not blade.absent else None,
        tag("rect", **box, class_="chosen") if blade.part == chosen and blade.part else None,
    )
    return tag(
        "g",
        tag("title", words),
        _linked(drawn, blade.part, words, controller, chosen),
        inside,
        class_="blade" + (" absent" if blade.absent else ""),
        data_part=blade.part,
        data_health=None if blade.absent else blade.standing.health.word,
        data_at_risk=bool(blade.standing.risk) or None,
        data_bay=" ".join(number(side) for side in (blade.bay.x, blade.bay.y, blade.bay.width, blade.bay.height)),
    )


def _linked(drawn: Ink, part: str, words: str, controller: str, chosen: str | None) -> Ink:
    """A part's own ground as a link to it; as it is where there is nowhere to go."""
    if not controller or not part:
        return drawn
    return tag(
        "a",
        drawn,
        href=sled_link(controller, place=part),
        aria_label=words,
        aria_current="true" if part == chosen else None,
        data_pick=f"place={part}",
    )


def _empty(blade: Blade, x: float, y: float, width: float, height: float) -> Ink:
    words = shorten(f"{blade.label} empty", width - 8, _CHARACTER)
    return tag("text", words, x=x + 5, y=y + min(height / 2 + 4, 16), class_="slot empty")


def _inside(blade: Blade, x: float, y: float, width: float, height: float, controller: str, chosen: str | None) -> Ink:
    """Mark and label at the upper left, lamps where there is room: to the right if wide, below if tall."""
    hooked = _MARK + 3 if blade.standing.risk else 0.0
    beside = width >= _MARK + hooked + lamp.WIDE + 44
    below = not beside and height >= 2 * lamp.HIGH + 6
    line = y + height / 2 if beside and height < 44 else y + 12
    room = width - _MARK - hooked - 11 - (lamp.WIDE + 6 if beside else 0)
    pieces = [mark(blade.standing.health, x + 5, line - _MARK / 2, _MARK)]
    if blade.standing.risk:
        pieces.append(hook(x + 5 + _MARK + 3, line - _MARK / 2, _MARK))
    if room >= 10:
        label = shorten(blade.label, room, _CHARACTER)
        pieces.append(tag("text", label, x=x + 5 + _MARK + hooked + 5, y=line + 4, class_="slot"))
    if blade.lamps is not None and beside:
        pieces.append(lamp.pair(blade.lamps, blade.part, x + width - lamp.WIDE - 4, line - lamp.HIGH / 2))
    elif blade.lamps is not None and below:
        pieces.append(lamp.pair(blade.lamps, blade.part, x + 4, y + 23))
    top = line + (12 if not below else 34)
    if blade.drives and y + height - top >= 12:
        room_for = min(22.0, y + height - 4 - top)
        pieces.append(_drives(blade.drives, x + 5, y + height - 4, width - 10, room_for, controller, chosen))
    return join(*pieces)


def _drives(
    drives: tuple[Drive, ...],
    x: float,
    foot: float,
    width: float,
    height: float,
    controller: str,
    chosen: str | None,
) -> Ink:
    """Front drives as a row of carriers along the blade's lower edge, in the order of their slots."""
    step = min(34.0, width / len(drives))
    size = min(10.0, height - 3, step - 4)
    if size < 4:
        return Ink()
    carriers = []
    for index, drive in enumerate(drives):
        left, words = x + step * index, f"{drive.label}: {drive.standing.words}"
        box = {"x": left, "y": foot - height, "width": step - 2, "height": height}
        drawn = join(
            tag("rect", **box, class_=f"carrier {css_name(drive.standing.health)}"),
            tag("rect", **box, class_="chosen") if drive.part == chosen else None,
            mark(drive.standing.health, left + (step - 2 - size) / 2, foot - (height + size) / 2, size),
        )
        carriers.append(
            tag(
                "g",
                tag("title", words),
                _linked(drawn, drive.part, words, controller, chosen),
                class_="drive",
                data_part=drive.part,
                data_health=drive.standing.health.word,
            )
        )
    return join(*carriers)
