"""A rack as an elevation, to scale, every sled with its blades by health: shape, word and colour."""

from __future__ import annotations

import math
from collections.abc import Sequence

from dashboard.drawings.ink import Ink, join, number, sled_link, tag, text
from dashboard.drawings.marks import SIZE, css_name, hook, mark
from dashboard.drawings.things import Blade, Rack, Sled, Standing

SCALE = 0.34
"""Drawing units a millimetre, so that a rack of 42 units is no higher than a laptop's screen; a drawing unit is a CSS
pixel unless the screen is too narrow for it."""
RULER = 26.0
"""Width of the column that counts the rack units."""
SAID = 112.0
"""Width of the column that says in words what stands at that height."""
EAR = 16.0
"""Width of a sled's left ear, which carries the mark of its worst health."""
_POST = 5.0
_TOP = 8.0
_LINE = 12.5


_CUT = 4
"""Empty units at the top that are drawn at most; of more, the first is, and then the rack is drawn cut off."""


def elevation(rack: Rack) -> Ink:
    """The drawing of one rack; its sleds link to their pages. What is empty at the top is cut off, and said."""
    body = rack.width * SCALE
    units = drawn_units(rack)
    high = units * rack.unit * SCALE
    wide = RULER + body + 2 * _POST + SAID
    floor = _TOP + high
    left = RULER + _POST
    return tag(
        "svg",
        tag("title", f"Rack {rack.name}, seen from the front"),
        _hatch(),
        _posts(rack, body, high, floor, cut=units < rack.units),
        _ruler(rack, floor, units),
        *(_sled(sled, left, floor) for sled in rack.sleds),
        *_captions(rack.sleds, left + body + _POST + 5, floor),
        xmlns="http://www.w3.org/2000/svg",
        class_="rack",
        viewBox=f"0 0 {number(wide)} {number(floor + 6)}",
        width=wide,
        role="group",
        aria_label=f"Rack {rack.name}",
        data_rack=rack.name,
        data_units=rack.units,
        data_cut=units if units < rack.units else None,
        data_scale=number(SCALE, 4),
    )


def _hatch() -> Ink:
    line = tag("path", d="M0 6L6 0M-1.5 1.5L1.5 -1.5M4.5 7.5L7.5 4.5", class_="hatching")
    pattern = tag("pattern", line, id="hatch", width=6, height=6, patternUnits="userSpaceOnUse")
    return tag("defs", pattern)


def drawn_units(rack: Rack) -> int:
    """Rack units that are drawn: all, or up to one above the uppermost thing where more than four are empty."""
    top = max((math.ceil((sled.bay.y + sled.bay.height) / rack.unit - 0.05) for sled in rack.sleds), default=0)
    return rack.units if not rack.sleds or rack.units - top <= _CUT else top + 1


def _posts(rack: Rack, body: float, high: float, floor: float, cut: bool) -> Ink:
    right = RULER + _POST + body
    top = floor - high
    cap = (
        tag("path", d=Ink(_jagged(RULER, right + _POST, top)), class_="cut-off")
        if cut
        else tag("path", d=f"M{RULER} {top:.1f}H{right + _POST:.1f}", class_="post")
        if rack.told
        else tag("path", d=f"M{RULER} {top:.1f}H{right + _POST:.1f}", class_="open-end")
    )
    return join(
        tag("rect", x=RULER, y=top, width=body + 2 * _POST, height=high, class_="within"),
        tag("rect", x=RULER, y=top, width=_POST, height=high, class_="rail"),
        tag("rect", x=right, y=top, width=_POST, height=high, class_="rail"),
        tag("path", d=f"M{RULER - 4:.1f} {floor:.1f}H{right + _POST + 4:.1f}", class_="post"),
        cap,
    )


def _jagged(left: float, right: float, y: float) -> str:
    """A line of teeth: the drawing is broken off there."""
    teeth = 12
    step = (right - left) / (2 * teeth)
    points = [f"{left + step * at:.1f} {y + (2.5 if at % 2 else -2.5):.1f}" for at in range(2 * teeth + 1)]
    return f"M{points[0]}L{' '.join(points[1:])}"


def _ruler(rack: Rack, floor: float, units: int) -> Ink:
    step = rack.unit * SCALE
    marks = []
    for unit in range(units):
        y = floor - unit * step
        marks.append(tag("path", d=f"M{RULER - 3:.1f} {y:.1f}H{RULER:.1f}", class_="tick"))
        count = unit + 1  # labels count from 1 at the bottom (common practice, no source)
        if count == 1 or count % 5 == 0 or units <= 8:
            marks.append(tag("text", f"U{count}", x=RULER - 5, y=y - step / 2 + 3.5, class_="ruler"))
    return join(*marks)


def _sled(sled: Sled, left: float, floor: float) -> Ink:
    x, width = left + sled.bay.x * SCALE, sled.bay.width * SCALE
    height = sled.bay.height * SCALE
    y = floor - sled.bay.y * SCALE - height
    words = f"{sled.label}: {sled.standing.words}. {sled.place}"
    ear_mark = min(SIZE, height - 3)
    return tag(
        "a",
        tag("title", words),
        tag("rect", x=x, y=y + 0.5, width=width, height=height - 1, class_="case"),
        tag("rect", x=x, y=y + 0.5, width=EAR, height=height - 1, class_=f"ear {css_name(sled.standing.health)}"),
        mark(sled.standing.health, x + (EAR - ear_mark) / 2, y + (height - ear_mark) / 2, ear_mark),
        *(_blade(blade, sled, x + EAR, width - EAR, y + height) for blade in sled.blades),
        None if sled.blades else _bladeless(sled, x + EAR, y, height),
        href=sled_link(sled.controller),
        class_="sled" + ("" if sled.told else " size-not-told"),
        data_sled=sled.controller,
        data_part_health=sled.standing.health.word,
        data_at_risk=bool(sled.standing.risk) or None,
    )


def _blade(blade: Blade, sled: Sled, x: float, width: float, foot: float) -> Ink:
    """A blade's compartment; across, the ear takes its share, so that widths stay in proportion."""
    across = width / sled.bay.width
    bx, bw = x + blade.bay.x * across, blade.bay.width * across
    bh = blade.bay.height * SCALE
    by = foot - blade.bay.y * SCALE - bh
    return tag(
        "g",
        tag("title", f"{blade.label}: {'empty slot' if blade.absent else blade.standing.words}"),
        _face(blade.standing, blade.absent, bx + 0.75, by + 1, bw - 1.5, bh - 2),
        None if blade.absent else _blade_marks(blade, bx, by, bw, bh),
        class_="blade" + (" absent" if blade.absent else ""),
        data_part=blade.part,
        data_health=blade.standing.health.word,
        data_at_risk=bool(blade.standing.risk) or None,
    )


def _face(standing: Standing, absent: bool, x: float, y: float, width: float, height: float) -> Ink:
    box = {"x": x, "y": y, "width": max(width, 1), "height": max(height, 1)}
    face = tag("rect", **box, class_="face absent" if absent else f"face {css_name(standing.health)}")
    return join(face, tag("rect", **box, class_="hatched") if standing.risk else None)


def _blade_marks(blade: Blade, x: float, y: float, width: float, height: float) -> Ink:
    size = min(12.0, height - 5, width - 5)
    if size < 4:
        return Ink()
    top = y + (height - size) / 2
    room = width - size - 6
    pieces = [mark(blade.standing.health, x + 4, top, size)]
    if blade.standing.risk and room >= size:
        pieces.append(hook(x + 6 + size, top, size))
        room -= size + 2
    if room >= 14 and height >= 12:
        pieces.append(tag("text", _brief(blade.label, room), x=x + width - 4, y=y + height / 2 + 3.6, class_="slot"))
    return join(*pieces)


def _brief(label: str, room: float) -> str:
    """A label that fits: whole, else its last word, which is what tells blades apart, else cut."""
    last = label.rsplit(" ", 1)[-1]
    fits = [each for each in (label, last) if len(each) * 6.0 <= room]
    return fits[0] if fits else shorten(label, room, 6.0)


def _bladeless(sled: Sled, x: float, y: float, height: float) -> Ink:
    return tag("text", sled.standing.health.word, x=x + 6, y=y + height / 2 + 3.6, class_="alone")


def _captions(sleds: Sequence[Sled], x: float, floor: float) -> list[Ink]:
    """Beside each height: the name and the word of each sled there, troubled ones first when not all fit."""
    bands: dict[tuple[float, float], list[Sled]] = {}
    for sled in sleds:
        bands.setdefault((sled.bay.y, sled.bay.height), []).append(sled)
    captions = []
    for (bottom, height), there in bands.items():
        lines = max(1, int(height * SCALE // _LINE))
        ranked = sorted(there, key=_urgency)
        shown = ranked if len(ranked) <= lines else ranked[: max(0, lines - 1)]
        rest = len(ranked) - len(shown)
        middle = floor - (bottom + height / 2) * SCALE
        count = len(shown) + (1 if rest else 0)
        if len(there) == 1 and lines > 1 and there[0].standing.note:
            captions.append(_caption(there[0], x, middle - _LINE / 2 + 3.6))
            note = shorten(there[0].standing.note, SAID - 6, 5.4)
            captions.append(tag("text", note, x=x, y=middle + _LINE / 2 + 3.6, class_="said"))
            continue
        for line, sled in enumerate(shown):
            captions.append(_caption(sled, x, middle + (line - (count - 1) / 2) * _LINE + 3.6))
        if rest:
            y = middle + (count - 1) / 2 * _LINE + 3.6
            words = f"{rest} more" if shown else _several(ranked)
            captions.append(tag("text", words, x=x, y=y, class_="said"))
    return captions


def _urgency(sled: Sled) -> tuple[int, int, str]:
    return (-int(sled.standing.health), -len(sled.standing.risk), sled.label)


def _several(sleds: Sequence[Sled]) -> str:
    loud = sum(1 for sled in sleds if not sled.standing.quiet)
    return f"{loud} of {len(sleds)} not OK" if loud else f"{len(sleds)} sleds OK"


def _caption(sled: Sled, x: float, y: float) -> Ink:
    word = sled.standing.health.word
    if sled.standing.risk and sled.standing.health <= 1:
        word = "at risk" if sled.standing.health else "unknown, at risk"
    name = shorten(sled.label, SAID - 10 - 5.8 * len(word), 5.9)
    return tag(
        "text",
        Ink(f"{text(name, 60)} "),
        tag("tspan", word, class_=f"word {css_name(sled.standing.health)}"),
        x=x,
        y=y,
        class_="said",
    )


def shorten(words: str, room: float, each: float) -> str:
    """Words cut to what fits ``room`` at about ``each`` units a character, an ellipsis marking the cut."""
    most = max(1, int(room / each))
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"
