"""The floor as racks with sleds, from what the controllers tell of places, sizes and health."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from collector.model import ControllerState, Health, Location, Outcome, Part, Rolled, State, Status
from collector.store.overview import FrontRow, RackCount
from dashboard.drawings import geometry
from dashboard.drawings.things import EIA_UNIT, OPEN_UNIT, RACK_WIDTH, Bay, Blade, Rack, Sled, Standing
from dashboard.views.places import Places, label, names_of, shown, tail_of

HIGHEST = 60
"""Rack units above which an offset is taken for a mistake: the tallest racks have fewer."""
_ANSWERS = (Outcome.OK, Outcome.PARTIAL)


@dataclass(frozen=True, slots=True)
class Row:
    """Racks that stand in one row."""

    name: str
    racks: tuple[Rack, ...]


@dataclass(frozen=True, slots=True)
class Homeless:
    """A sled that can't be drawn in a rack, and why."""

    sled: Sled
    why: str


@dataclass(frozen=True, slots=True)
class Floor:
    """All that can be drawn, and the rest."""

    rows: tuple[Row, ...]
    homeless: tuple[Homeless, ...]

    @property
    def sleds(self) -> list[Sled]:
        """Every sled, placed or not."""
        placed = [sled for row in self.rows for rack in row.racks for sled in rack.sleds]
        return placed + [each.sled for each in self.homeless]


@dataclass(frozen=True, slots=True)
class _Seat:
    """A sled with what decides where it is drawn."""

    sled: Sled
    location: Location
    width: float | None
    height: float | None


def answers(state: ControllerState) -> bool:
    """Whether a controller's newest round brought its readings, or most of them."""
    return state.outcome in _ANSWERS


def standing(part: str, rolled: Mapping[str, Rolled], parts: Mapping[str, Part]) -> Standing:
    """A part's standing: the worst of it and in it, and the outside parts in trouble that it depends on."""
    found = rolled.get(part)
    if found is None:
        return Standing()
    return Standing(found.worst, names_of(found.at_risk_through, parts))


def unheard(state: ControllerState) -> str:
    """Why nothing current is known of a controller; "" when it answers."""
    return unheard_of(state.outcome)


def unheard_of(outcome: Outcome | None) -> str:
    """The same, by the outcome of its newest round."""
    if outcome is None:
        return "not asked yet"
    return "" if outcome in _ANSWERS else outcome.value


DRAWN = 8
"""Racks drawn at once; all of them where there are no more."""


@dataclass(frozen=True, slots=True)
class Opened:
    """Which racks are drawn, in their order, and whether that is all of them."""

    racks: tuple[RackCount, ...]
    whole: bool


def opened(racks: Sequence[RackCount], most: int = DRAWN) -> Opened:
    """All racks where they are few, else those in trouble, the worst first, up to ``most``."""
    standing = [rack for rack in racks if rack.rack]
    if len(standing) <= most:
        return Opened(tuple(sorted(standing, key=in_order)), whole=True)
    troubled = sorted((rack for rack in standing if loud(rack)), key=_loudness)[:most]
    return Opened(tuple(sorted(troubled, key=in_order)), whole=False)


def loud(rack: RackCount) -> bool:
    """Whether anything in a rack wants a look."""
    return rack.worst > Health.OK or bool(rack.at_risk or rack.silent)


def _loudness(rack: RackCount) -> tuple[object, ...]:
    return (-rack.worst, -rack.critical, -rack.warning, -rack.exposed, -rack.silent, in_order(rack))


def in_order(rack: RackCount) -> tuple[tuple[tuple[int, str], ...], ...]:
    """A key that sorts racks as people count them: site, row, rack."""
    return (natural(rack.site), natural(rack.line), natural(rack.rack))


def floor(fronts: Iterable[FrontRow], names: Mapping[str, str]) -> Floor:
    """Racks by row with every given controller's sled at its height; what can't be placed is listed with the reason.

    ``names``: what parts outside are called, by id, as far as known.
    """
    by_rack: dict[tuple[str, str, str], list[_Seat]] = {}
    heights: dict[tuple[str, str, str], float] = {}
    homeless = []
    for each in fronts:
        seat, at = _seat(each, names), each.front.location
        if why := _unplaceable(at):
            homeless.append(Homeless(seat.sled, why))
            continue
        key = (at.site or "", at.row or "", at.rack or "")
        by_rack.setdefault(key, []).append(seat)
        if each.front.rack_height is not None:
            heights.setdefault(key, each.front.rack_height)
    rows: dict[tuple[str, str], list[Rack]] = {}
    for site, row, rack in sorted(by_rack, key=lambda key: tuple(natural(step) for step in key)):
        key = (site, row, rack)
        drawn, left_over = _rack(rack, (site, row), by_rack[key], heights.get(key))
        rows.setdefault((site, row), []).append(drawn)
        homeless += left_over
    named = tuple(Row(row_name(site, row), tuple(racks)) for (site, row), racks in rows.items())
    return Floor(named, tuple(homeless))


def row_name(site: str, row: str) -> str:
    """e.g. ``Quellmark, row A``."""
    steps = [step for step in (site, f"row {row}" if row else "") if step]
    return ", ".join(steps) or "Place not told"


def _unplaceable(location: Location) -> str:
    if not location.rack:
        return "no rack told"
    if location.offset is None:
        return "no height in the rack told"
    if not (math.isfinite(location.offset) and 0 <= location.offset < HIGHEST):
        return f"told to be at U{location.offset + 1:g}"
    return ""


def _seat(row: FrontRow, names: Mapping[str, str]) -> _Seat:
    front, silent = row.front, unheard_of(row.outcome)
    at = front.location
    if front.part is None:
        stands = Standing(note=silent or "no parts told")
        label = shown(at.sled or row.controller)
        return _Seat(Sled(row.controller, label, at.text, Bay(0, 0, 0, 0), stands, told=False), at, None, None)
    stands = Standing(note=silent) if silent else Standing(row.health.worst, named_risk(row.health.risk, names))
    sled = Sled(
        row.controller, shown(front.label), at.text, Bay(0, 0, 0, 0), stands, _blades(row, names), holds=front.holds
    )
    return _Seat(sled, at, front.width, front.height)


def named_risk(parts: Iterable[str], names: Mapping[str, str]) -> tuple[str, ...]:
    """Parts that something is at risk through, by name."""
    return tuple(names.get(part) or tail_of(part) for part in parts)


def _blades(row: FrontRow, names: Mapping[str, str]) -> tuple[Blade, ...]:
    front, silent = row.front, bool(unheard_of(row.outcome))
    if not front.slots:
        return ()
    items = [geometry.Item(slot.index, slot.width, slot.height) for slot in front.slots]
    arranged = geometry.arrange(front.width or RACK_WIDTH, front.height or EIA_UNIT, items)
    boxes = [
        Blade(
            slot.part,
            shown(slot.label),
            bay,
            Standing() if silent else Standing(worst, named_risk(risk, names)),
            absent=absent,
        )
        for slot, bay, (worst, risk, absent) in zip(front.slots, arranged.bays, row.health.blades, strict=True)
    ]
    boxes += [Blade("", f"slot {slot + 1}", bay, Standing(), absent=True) for slot, bay in arranged.empty]
    return tuple(boxes)


def blade_boxes(
    controller: str, front: Part, places: Places, rolled: Mapping[str, Rolled], statuses: Mapping[str, Status]
) -> tuple[tuple[Blade, ...], bool]:
    """A front's blades in their bays with the empty slots, and whether all sizes were told."""
    blades = places.blades(controller)
    if not blades:
        return (), front.size.width is not None and front.size.height is not None
    width, height = front.size.width or RACK_WIDTH, front.size.height or EIA_UNIT
    items = [geometry.Item(part.location.slot_index, part.size.width, part.size.height) for part in blades]
    arranged = geometry.arrange(width, height, items)
    boxes = [
        Blade(
            part.id,
            label(part),
            bay,
            standing(part.id, rolled, places.parts),
            absent=part.id in statuses and statuses[part.id].state is State.ABSENT,
        )
        for part, bay in zip(blades, arranged.bays, strict=True)
    ]
    boxes += [Blade("", f"slot {slot + 1}", bay, Standing(), absent=True) for slot, bay in arranged.empty]
    told = arranged.to_scale and front.size.width is not None and front.size.height is not None
    return tuple(boxes), told


def _rack(
    name: str, above: tuple[str, str], seats: Sequence[_Seat], height: float | None
) -> tuple[Rack, list[Homeless]]:
    unit = OPEN_UNIT if any(seat.location.offset_unit == "OpenU" for seat in seats) else EIA_UNIT
    width = max([RACK_WIDTH, *(seat.width for seat in seats if seat.width is not None and seat.width < 1000)])
    placed: list[Sled] = []
    homeless: list[Homeless] = []
    by_offset: dict[float, list[_Seat]] = {}
    for seat in seats:
        by_offset.setdefault(seat.location.offset or 0.0, []).append(seat)
    for offset in sorted(by_offset):
        for sled in _shelf(offset, by_offset[offset], unit, width):
            if _clashes(sled.bay, placed) or sled.bay.y + sled.bay.height > HIGHEST * unit:
                homeless.append(Homeless(sled, "told to be where another one is"))
            else:
                placed.append(sled)
    top = max((math.ceil((sled.bay.y + sled.bay.height) / unit - 0.05) for sled in placed), default=1)
    told_units = min(HIGHEST, int(height / unit + 0.01)) if height is not None and height > unit else 0
    units = max(top, told_units) if told_units else top + 1
    place = " / ".join(step for step in (*above, name) if step)
    return Rack(name, place, unit, min(units, HIGHEST), told_units > 0, tuple(placed), width), homeless


def _shelf(offset: float, seats: Sequence[_Seat], unit: float, width: float) -> list[Sled]:
    """Sleds that tell the same offset: beside each other where they fit, else stacked upwards in their order."""
    ordered = sorted(seats, key=lambda seat: natural(seat.sled.label))
    foot = offset * (OPEN_UNIT if ordered[0].location.offset_unit == "OpenU" else EIA_UNIT)
    heights = [seat.height if seat.height and seat.height < HIGHEST * unit else unit for seat in ordered]
    widths = [seat.width if seat.width and seat.width <= width else width for seat in ordered]
    side_by_side = sum(widths) <= width * 1.03
    sleds = []
    x = (width - sum(widths)) / 2 if side_by_side else 0.0
    y = foot
    for seat, wide, tall in zip(ordered, widths, heights, strict=True):
        told = seat.width is not None and seat.height is not None and (side_by_side or len(ordered) == 1)
        left = x if side_by_side else (width - wide) / 2
        bay = Bay(left, y, wide, tall)
        fitted = _fit_blades(seat, bay)
        sleds.append(replace(seat.sled, bay=bay, blades=fitted, told=told))
        x += wide
        if not side_by_side:
            y += math.ceil(tall / unit - 0.05) * unit
    return sleds


def _fit_blades(seat: _Seat, bay: Bay) -> tuple[Blade, ...]:
    """Blades were arranged in the front's told size, or in one unit; stretch them to the bay where it differs."""
    width, height = seat.width or RACK_WIDTH, seat.height or EIA_UNIT
    across, up = bay.width / width, bay.height / height
    if abs(across - 1) < 1e-9 and abs(up - 1) < 1e-9:
        return seat.sled.blades
    return tuple(
        replace(
            blade,
            bay=Bay(blade.bay.x * across, blade.bay.y * up, blade.bay.width * across, blade.bay.height * up),
        )
        for blade in seat.sled.blades
    )


def _clashes(bay: Bay, placed: Sequence[Sled]) -> bool:
    slack = 2.0
    return any(
        bay.x < other.bay.x + other.bay.width - slack
        and other.bay.x < bay.x + bay.width - slack
        and bay.y < other.bay.y + other.bay.height - slack
        and other.bay.y < bay.y + bay.height - slack
        for other in placed
    )


@lru_cache(maxsize=8192)
def natural(words: str) -> tuple[tuple[int, str], ...]:
    """A key that sorts ``R2`` before ``R10``."""
    steps: list[tuple[int, str]] = []
    digits = ""
    for char in words + "\0":
        if char.isascii() and char.isdigit() and len(digits) < 12:
            digits += char
            continue
        if digits:
            steps.append((int(digits), ""))
            digits = ""
        steps.append((-1, char))
    return tuple(steps)
