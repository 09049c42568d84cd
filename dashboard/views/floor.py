"""The floor as racks with sleds, from what the controllers tell of places, sizes and health."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from collector.model import ControllerState, Health, Kind, Location, Outcome, Part, Rolled, State, Status
from dashboard.drawings import geometry
from dashboard.drawings.things import EIA_UNIT, OPEN_UNIT, RACK_WIDTH, Bay, Blade, Rack, Sled, Standing
from dashboard.views.places import Places, label, names_of

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
    if state.outcome is None:
        return "not asked yet"
    return "" if answers(state) else state.outcome.value


def floor(
    controllers: Sequence[ControllerState],
    places: Places,
    rolled: Mapping[str, Rolled],
    statuses: Mapping[str, Status],
) -> Floor:
    """Racks by row with every controller's sled at its height; what can't be placed is listed with the reason."""
    seats = [_seat(state, places, rolled, statuses) for state in controllers]
    by_rack: dict[tuple[str, str, str], list[_Seat]] = {}
    homeless = []
    for seat in seats:
        if why := _unplaceable(seat.location):
            homeless.append(Homeless(seat.sled, why))
            continue
        at = seat.location
        by_rack.setdefault((at.site or "", at.row or "", at.rack or ""), []).append(seat)
    rows: dict[tuple[str, str], list[Rack]] = {}
    for site, row, rack in sorted(by_rack, key=lambda key: tuple(_natural(step) for step in key)):
        drawn, left_over = _rack(rack, (site, row), by_rack[site, row, rack], places)
        rows.setdefault((site, row), []).append(drawn)
        homeless += left_over
    named = tuple(Row(_row_name(site, row), tuple(racks)) for (site, row), racks in rows.items())
    return Floor(named, tuple(homeless))


def _row_name(site: str, row: str) -> str:
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


def _seat(
    state: ControllerState, places: Places, rolled: Mapping[str, Rolled], statuses: Mapping[str, Status]
) -> _Seat:
    front = places.front(state.controller)
    silent = unheard(state)
    if front is None:
        location = places.controller_place(state.controller)
        shown = location.sled or state.controller
        sled = Sled(
            state.controller,
            shown,
            location.text,
            Bay(0, 0, 0, 0),
            Standing(note=silent or "no parts told"),
            told=False,
        )
        return _Seat(sled, location, None, None)
    location = places.location(front)
    worst_of = _whole(state.controller, front, places, rolled)
    stands = replace(worst_of, health=Health.UNKNOWN, note=silent) if silent else worst_of
    kinds = {part.kind for part in places.of_controller.get(state.controller, ())}
    sled = Sled(state.controller, label(front), location.text, Bay(0, 0, 0, 0), stands, holds=_holds(front.kind, kinds))
    blades = _blades(state.controller, front, places, rolled, statuses, bool(silent))
    return _Seat(replace(sled, blades=blades), location, front.size.width, front.size.height)


def _holds(front: Kind, kinds: set[Kind]) -> str:
    """What stands there: a sled where it is called one or holds blades or hosts, else a shelf by what it carries."""
    if front in (Kind.SLED, Kind.BLADE) or kinds & {Kind.BLADE, Kind.HOST}:
        return "sled"
    return "power shelf" if kinds & {Kind.POWER_SUPPLY, Kind.POWER_FEED} else front.value


def _whole(controller: str, front: Part, places: Places, rolled: Mapping[str, Rolled]) -> Standing:
    """The sled's standing, with whatever else its controller tells of counted in."""
    here = standing(front.id, rolled, places.parts)
    roots = [
        part
        for part in places.of_controller.get(controller, ())
        if part.id != front.id and part.parent not in places.parts
    ]
    worst = max([here.health, *(rolled[part.id].worst for part in roots if part.id in rolled)])
    return Standing(worst, here.risk)


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


def _blades(
    controller: str,
    front: Part,
    places: Places,
    rolled: Mapping[str, Rolled],
    statuses: Mapping[str, Status],
    silent: bool,
) -> tuple[Blade, ...]:
    boxes, _ = blade_boxes(controller, front, places, rolled, statuses)
    if silent:
        return tuple(replace(box, standing=Standing()) for box in boxes)
    return boxes


def _rack(name: str, above: tuple[str, str], seats: Sequence[_Seat], places: Places) -> tuple[Rack, list[Homeless]]:
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
    told_units = _told_units(name, above, unit, places)
    units = max(top, told_units) if told_units else top + 1
    place = " / ".join(step for step in (*above, name) if step)
    return Rack(name, place, unit, min(units, HIGHEST), told_units > 0, tuple(placed), width), homeless


def _told_units(name: str, above: tuple[str, str], unit: float, places: Places) -> int:
    """Rack units that the rack itself tells of; 0 when it doesn't."""
    for part in places.parts.values():
        if part.kind is Kind.RACK and part.size.height is not None and part.size.height > unit:
            at = places.location(part)
            if (at.site or "", at.row or "", at.rack or "") == (*above, name):
                return min(HIGHEST, int(part.size.height / unit + 0.01))
    return 0


def _shelf(offset: float, seats: Sequence[_Seat], unit: float, width: float) -> list[Sled]:
    """Sleds that tell the same offset: beside each other where they fit, else stacked upwards in their order."""
    ordered = sorted(seats, key=lambda seat: _natural(seat.sled.label))
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


def _natural(words: str) -> tuple[tuple[int, str], ...]:
    """Sorts ``R2`` before ``R10``."""
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
