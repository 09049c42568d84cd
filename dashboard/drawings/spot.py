"""Where hands go: a rack with one height marked, beside a front with one slot marked; prints in black on white."""

from __future__ import annotations

from dashboard.drawings.ink import Ink, join, number, tag
from dashboard.drawings.plan import Piece, Plan
from dashboard.drawings.rack import shorten
from dashboard.drawings.things import Bay, Blade, Front, Rack, Sled

HIGH = 150.0
"""Drawing units from the rack's foot to its top."""
RACK_WIDE = 74.0
FRONT_WIDE = 220.0
_RULER = 34.0
_GAP = 40.0
_APART = 26.0
_CAPTION = 124.0
"""Room for the words under the sled from above."""
_TOP = 6.0


def spot(
    rack: Rack | None,
    sled: Sled | None,
    front: Front | None,
    blade: str | None,
    within: tuple[Plan, int, str] | None = None,
) -> Ink | None:
    """The drawing; None where neither the rack nor the front is known.

    ``sled``: the one whose height is marked; ``blade``: id of the blade whose slot is marked, None for the whole front;
    ``within``: the sled from above, the layer that is cut open and the id of the part to mark in it, for a part that
    does not show at the front.
    """
    if (rack is None or sled is None) and front is None:
        return None
    placed = rack is not None and sled is not None
    across = _RULER + RACK_WIDE + _GAP if placed else 2.0
    wide = across + (FRONT_WIDE + 2 if front is not None else 0)
    inside = _within(*within, wide + _APART) if within is not None else None
    wide += _APART + max(HIGH * within[0].width / within[0].depth, _CAPTION) + 2 if within is not None else 0
    return tag(
        "svg",
        tag("title", _title(rack, sled, front, blade)),
        _rack(rack, sled, front is not None) if rack is not None and sled is not None else None,
        _front(front, blade, across) if front is not None else None,
        inside,
        xmlns="http://www.w3.org/2000/svg",
        class_="spot",
        viewBox=f"0 0 {number(wide)} {number(HIGH + 2 * _TOP + (14 if within is not None else 0))}",
        width=wide,
        role="img",
        aria_label=_title(rack, sled, front, blade),
        data_spot=sled.controller if sled is not None else None,
    )


def _title(rack: Rack | None, sled: Sled | None, front: Front | None, blade: str | None) -> str:
    steps = []
    if rack is not None and sled is not None:
        steps.append(f"rack {rack.name}, {_unit(rack, sled)}")
    if front is not None:
        slot = next((each.label for each in front.blades if each.part == blade and blade), None)
        steps.append(f"{front.label}, {slot}" if slot else front.label)
    return "; ".join(steps)


def _unit(rack: Rack, sled: Sled) -> str:
    return f"U{sled.bay.y / rack.unit + 1:.3g}"


def _rack(rack: Rack, sled: Sled, lead: bool) -> Ink:
    scale = HIGH / (rack.units * rack.unit)
    across = RACK_WIDE / rack.width
    floor = _TOP + HIGH
    boxes = []
    for each in rack.sleds:
        here = each.controller == sled.controller and each.bay == sled.bay
        height = max(each.bay.height * scale, 1.5)
        boxes.append(
            tag(
                "rect",
                x=_RULER + each.bay.x * across,
                y=floor - (each.bay.y + each.bay.height) * scale,
                width=max(each.bay.width * across, 1.5),
                height=height,
                class_="spot-here" if here else "spot-other",
                data_here=here or None,
            )
        )
    middle = floor - (sled.bay.y + sled.bay.height / 2) * scale
    right = _RULER + RACK_WIDE
    return join(
        tag("rect", x=_RULER, y=_TOP, width=RACK_WIDE, height=HIGH, class_="spot-frame"),
        *boxes,
        tag("text", _unit(rack, sled), x=_RULER - 5, y=middle + 4, class_="spot-unit"),
        tag("path", d=f"M{right + 3:.1f} {middle:.1f}L{right + _GAP - 4:.1f} {_TOP + HIGH / 2:.1f}", class_="spot-lead")
        if lead
        else None,
    )


def _within(plan: Plan, layer: int, part: str, left: float) -> Ink:
    """The sled from above with one part marked; its front below."""
    scale = HIGH / plan.depth
    left += max(0.0, (_CAPTION - plan.width * scale) / 2)
    trays = plan.layers[layer].trays if layer < len(plan.layers) else ()
    pieces = [piece for tray in trays for piece in tray.inside]
    foot = _TOP + HIGH

    def box(at: Bay) -> dict[str, float]:
        return {
            "x": left + at.x * scale,
            "y": foot - (at.y + at.height) * scale,
            "width": max(at.width * scale, 1.0),
            "height": max(at.height * scale, 1.0),
        }

    def drawn(piece: Piece) -> Ink:
        here = piece.part == part
        return tag(
            "rect", **box(piece.box), class_="spot-here" if here else "spot-other", data_here_within=here or None
        )

    wide = plan.width * scale
    return tag(
        "g",
        tag("rect", x=left, y=_TOP, width=wide, height=HIGH, class_="spot-frame"),
        *(tag("rect", **box(tray.box), class_="spot-other") for tray in trays),
        *(drawn(piece) for piece in (*pieces, *plan.common)),
        tag("path", d=f"M{left:.1f} {foot:.1f}H{left + wide:.1f}", class_="spot-edge"),
        tag("text", "from above, front below", x=left + wide / 2, y=foot + 15, class_="spot-quiet to-middle"),
        data_within=plan.part,
    )


def _front(front: Front, blade: str | None, left: float) -> Ink:
    scale = min(FRONT_WIDE / front.width, HIGH / front.height)
    width, height = front.width * scale, front.height * scale
    foot = _TOP + (HIGH + height) / 2
    known = any(each.part == blade for each in front.blades) if blade else False
    return join(
        tag(
            "rect",
            x=left,
            y=foot - height,
            width=width,
            height=height,
            class_="spot-frame" if known else "spot-frame spot-whole",
            data_here=None if known else True,
        ),
        *(_slot(each, known and each.part == blade, left, foot, scale) for each in front.blades),
    )


def _slot(blade: Blade, here: bool, left: float, foot: float, scale: float) -> Ink:
    x, width = left + blade.bay.x * scale + 1.5, max(blade.bay.width * scale - 3, 1)
    y, height = foot - (blade.bay.y + blade.bay.height) * scale + 1.5, max(blade.bay.height * scale - 3, 1)
    words = shorten(blade.label, width - 8, 6.6)
    fits = height >= 13 and width >= 20
    return tag(
        "g",
        tag(
            "rect",
            x=x,
            y=y,
            width=width,
            height=height,
            class_="spot-here" if here else "spot-other",
            data_here=here or None,
        ),
        tag("text", words, x=x + 5, y=y + height / 2 + 4, class_="spot-said" if here else "spot-quiet")
        if fits
        else None,
        data_slot_of=blade.part,
    )
