"""The cut-away: a sled from above, as far as sizes and slots are told, the rest arranged by kind along the air.

Redfish tells sizes of chassis and the order of slots, but no coordinates. Blades stand where the front has them; what
is on them and behind them lies in bands, from the air's inlet to its outlet, each kind in the order of its slots.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from collector.model import Kind, Part, Quantity, Reading, Rolled
from dashboard.drawings.plan import Air, Coolant, Layer, Piece, Plan, Tray
from dashboard.drawings.things import RACK_WIDTH, Bay, Blade, Front, Standing
from dashboard.views.floor import standing
from dashboard.views.places import Places, label, named, sticker
from dashboard.views.units import PLAIN, Units
from dashboard.views.words import figure

DEPTH = 800.0
"""mm; where no depth is told (common practice, no source)."""
MOST = 24
"""Parts of one kind drawn in one band; the rest is counted."""
_BLADE_SHARE = 0.68
"""Of the depth that blades take where theirs is not told."""
_GAP = 6.0
_LABEL, _LEAVES = 36.0, 32.0
"""Depth kept free at a blade's front and rear, mm, for its name and for the air that leaves it."""

_ON_BLADE: tuple[tuple[tuple[Kind, ...], float], ...] = (
    ((Kind.DRIVE,), 92.0),
    ((Kind.MEMORY,), 150.0),
    ((Kind.PROCESSOR,), 118.0),
    ((Kind.PCIE_DEVICE, Kind.MODULE, Kind.NETWORK_ADAPTER, Kind.STORAGE_CONTROLLER, Kind.BATTERY), 60.0),
)
"""Bands on a blade from the front backwards with their usual depths, mm; shrunk where the blade is shorter."""

_REAR = (
    Kind.POWER_SUPPLY,
    Kind.NETWORK_ADAPTER,
    Kind.CONTROLLER,
    Kind.PUMP,
    Kind.COOLING_UNIT,
    Kind.COOLANT_LOOP,
    Kind.LEAK_DETECTOR,
    Kind.SWITCH,
    Kind.BATTERY,
    Kind.STORAGE_CONTROLLER,
    Kind.PCIE_DEVICE,
    Kind.DRIVE,
    Kind.MODULE,
    Kind.CIRCUIT,
    Kind.OUTLET,
    Kind.OTHER,
)
"""Kinds that stand behind the fans, in this order."""

_SAYS: Mapping[Kind, tuple[Quantity, ...]] = {
    Kind.FAN: (Quantity.ROTATION, Quantity.SPEED_RATIO),
    Kind.POWER_SUPPLY: (Quantity.POWER, Quantity.TEMPERATURE),
    Kind.PUMP: (Quantity.ROTATION, Quantity.SPEED_RATIO, Quantity.LIQUID_FLOW),
    Kind.CIRCUIT: (Quantity.POWER, Quantity.CURRENT),
    Kind.OUTLET: (Quantity.POWER, Quantity.CURRENT),
    Kind.OTHER: (Quantity.LIQUID_FLOW, Quantity.TEMPERATURE),
}
_SAYS_ELSE = (Quantity.TEMPERATURE,)

_Make = Callable[[Part, Bay], Piece]


def cutaway(
    controller: str,
    front: Front | None,
    places: Places,
    rolled: Mapping[str, Rolled],
    readings: Sequence[Reading],
    silent: bool,
    units: Units = PLAIN,
) -> Plan | None:
    """A controller's sled from above; None where it has told of no part. Healths are unknown while it is silent."""
    part = places.front(controller)
    if part is None or front is None:
        return None
    told = _by_part(readings)
    say = _Words(units)

    def piece(found: Part, box: Bay) -> Piece:
        stands = Standing() if silent else standing(found.id, rolled, places.parts)
        said = _says(found, told.get(found.id, ()), say)
        return Piece(found.id, sticker(found), named(found), found.kind.value, box, stands, said)

    width, depth = part.size.width or RACK_WIDTH, part.size.depth or DEPTH
    boxes = [box for box in front.blades if box.part in places.parts and places.parts[box.part].kind is Kind.BLADE]
    blades = [places.parts[box.part] for box in boxes]
    inside = {inner.id for blade in blades for inner in (blade, *places.within(controller, blade.id))}
    rest = [each for each in places.of_controller.get(controller, ()) if each.id not in inside and each.id != part.id]
    deep = min(max((blade.size.depth or _BLADE_SHARE * depth for blade in blades), default=0.0), 0.9 * depth)
    layers = _layers(controller, front, places, told, deep, piece, say)
    common, more = _behind(rest, width, depth, deep, piece) if blades else _without_blades(rest, width, depth, piece)
    sized = None not in (part.size.width, part.size.depth) and all(blade.size.depth for blade in blades)
    return Plan(
        part.id,
        label(part),
        width,
        depth,
        layers,
        common,
        more,
        _air(part, readings, say),
        _coolant(readings, say),
        told=front.told and sized,
    )


def layer_of(plan: Plan, part: str | None, places: Places) -> int:
    """The layer to show: the one that holds a part, else the one in the worst trouble, else the uppermost."""
    holders = {each.id for each in places.lineage(places.parts[part])} if part in places.parts else set()
    for place, layer in enumerate(plan.layers):
        if any(tray.part in holders for tray in layer.trays):
            return place
    worst = [max((tray.standing.health for tray in layer.trays), default=0) for layer in plan.layers]
    return worst.index(max(worst)) if worst else 0


def _layers(
    controller: str,
    front: Front,
    places: Places,
    told: Mapping[str, Sequence[Reading]],
    deep: float,
    piece: _Make,
    say: _Words,
) -> tuple[Layer, ...]:
    """The front's blades by height, from the top down."""
    rows: dict[float, list[Blade]] = {}
    for blade in front.blades:
        holder = places.parts.get(blade.part)
        if holder is not None and holder.kind is not Kind.BLADE:
            continue
        near = next((y for y in rows if abs(y - blade.bay.y) < blade.bay.height / 2), blade.bay.y)
        rows.setdefault(near, []).append(blade)
    if not any(blade.part for row in rows.values() for blade in row):
        return ()
    found = []
    for y in sorted(rows, reverse=True):
        trays = tuple(
            _tray(controller, blade, places, told, deep, piece, say)
            for blade in sorted(rows[y], key=lambda one: one.bay.x)
        )
        found.append(Layer(", ".join(tray.label for tray in trays), trays))
    return tuple(found)


def _tray(
    controller: str,
    blade: Blade,
    places: Places,
    told: Mapping[str, Sequence[Reading]],
    deep: float,
    piece: _Make,
    say: _Words,
) -> Tray:
    own = places.parts.get(blade.part)
    depth = min(own.size.depth or deep, deep) if own is not None else deep
    box = Bay(blade.bay.x, 0.0, blade.bay.width, depth)
    if own is None or blade.absent:
        return Tray(blade.part, blade.label, box, blade.standing, absent=True)
    inner = places.within(controller, own.id)
    bands = [(_in_order(each for each in inner if each.kind in kinds), usual) for kinds, usual in _ON_BLADE]
    pieces, more = _bands(bands, Bay(box.x + _GAP, _LABEL, box.width - 2 * _GAP, depth - _LABEL - _LEAVES), piece)
    readings = told.get(own.id, ())
    return Tray(
        own.id, blade.label, box, blade.standing, False, pieces, more,
        _air_words(readings, "Intake", say), _air_words(readings, "Exhaust", say),
    )  # fmt: skip


def _bands(bands: Sequence[tuple[Sequence[Part], float]], room: Bay, piece: _Make) -> tuple[tuple[Piece, ...], int]:
    """Parts in bands across a room, from its front backwards, with equal gaps between."""
    held = [(parts, usual) for parts, usual in bands if parts]
    if not held:
        return (), 0
    whole = sum(usual for _, usual in held)
    shrink = min(1.0, (room.height - _GAP * (len(held) - 1)) / whole)
    gap = (room.height - whole * shrink) / max(1, len(held) - 1) if len(held) > 1 else 0.0
    pieces: list[Piece] = []
    more, y = 0, room.y
    for parts, usual in held:
        deep = usual * shrink
        shown = parts[:MOST]
        more += len(parts) - len(shown)
        pieces += _across(shown, Bay(room.x, y, room.width, deep), piece)
        y += deep + gap
    return tuple(pieces), more


def _across(parts: Sequence[Part], room: Bay, piece: _Make) -> list[Piece]:
    """Parts beside each other; in a second row where they would be narrower than a finger's nail."""
    lines = 2 if len(parts) > 1 and room.width / len(parts) < 11.0 else 1
    a_row = -(-len(parts) // lines)
    step, deep = room.width / max(a_row, 1), room.height / lines
    found = []
    for place, part in enumerate(parts):
        line, column = divmod(place, a_row)
        gap = min(_GAP, step * 0.25)
        found.append(
            piece(part, Bay(room.x + column * step + gap / 2, room.y + line * deep, step - gap, deep - (lines - 1) * 4))
        )
    return found


def _behind(
    rest: Sequence[Part], width: float, depth: float, deep: float, piece: _Make
) -> tuple[tuple[Piece, ...], int]:
    """What the blades share: the filter before them, fans behind them, the rest at the back."""
    filters = _in_order(each for each in rest if each.kind is Kind.FILTER)
    fans = _in_order(each for each in rest if each.kind is Kind.FAN)
    rear = _rear(rest)
    pieces = _across(filters[:MOST], Bay(0.0, -30.0, width, 20.0), piece)
    room = depth - deep - 3 * _GAP
    fan_deep = min(100.0, room * (0.42 if rear else 1.0)) if fans else 0.0
    top = deep + 2 * _GAP
    pieces += _across(fans[:MOST], Bay(_GAP, top, width - 2 * _GAP, fan_deep), piece)
    top += fan_deep + _GAP if fans else 0.0
    shown = rear[:MOST]
    pieces += _rows(shown, Bay(_GAP, top, width - 2 * _GAP, depth - top - _GAP), 4, piece)
    return tuple(pieces), max(0, len(fans) - MOST) + max(0, len(filters) - MOST) + len(rear) - len(shown)


def _without_blades(rest: Sequence[Part], width: float, depth: float, piece: _Make) -> tuple[tuple[Piece, ...], int]:
    """A case without blades, such as a power shelf: supplies from the front, what else there is behind them."""
    supplies = _in_order(each for each in rest if each.kind is Kind.POWER_SUPPLY)
    filters = _in_order(each for each in rest if each.kind is Kind.FILTER)
    fans = _in_order(each for each in rest if each.kind is Kind.FAN)
    rear = [each for each in _rear(rest) if each.kind is not Kind.POWER_SUPPLY]
    pieces = _across(filters[:MOST], Bay(0.0, -30.0, width, 20.0), piece)
    top = _GAP
    for parts, share in ((supplies, 0.55), (fans, 0.15)):
        if parts:
            deep = depth * (share if rear else share + 0.2)
            pieces += _across(parts[:MOST], Bay(_GAP, top, width - 2 * _GAP, deep), piece)
            top += deep + 2 * _GAP
    shown = rear[:MOST]
    pieces += _rows(shown, Bay(_GAP, top, width - 2 * _GAP, max(depth - top - _GAP, 30.0)), 3, piece)
    left = sum(max(0, len(parts) - MOST) for parts in (supplies, fans, filters))
    return tuple(pieces), left + len(rear) - len(shown)


def _rows(parts: Sequence[Part], room: Bay, a_row: int, piece: _Make) -> list[Piece]:
    """Parts in rows of at most so many, or of more where that would be more than four rows."""
    if not parts:
        return []
    a_row = max(a_row, -(-len(parts) // 4))
    lines = -(-len(parts) // a_row)
    deep = room.height / lines
    found: list[Piece] = []
    for line in range(lines):
        some = parts[line * a_row : (line + 1) * a_row]
        found += _across(some, Bay(room.x, room.y + line * deep, room.width, deep - _GAP), piece)
    return found


def _rear(rest: Sequence[Part]) -> list[Part]:
    order = {kind: place for place, kind in enumerate(_REAR)}
    held = [each for each in rest if each.kind in order]
    return sorted(held, key=lambda part: (order[part.kind], *_slot(part)))


def _in_order(parts: Iterable[Part]) -> list[Part]:
    return sorted(parts, key=_slot)


def _slot(part: Part) -> tuple[int, str]:
    index = part.location.slot_index
    return (index if index is not None else 1 << 30, part.id)


def _by_part(readings: Iterable[Reading]) -> dict[str, list[Reading]]:
    found: dict[str, list[Reading]] = {}
    for reading in readings:
        found.setdefault(reading.sensor.part, []).append(reading)
    return found


@dataclass(frozen=True, slots=True)
class _Words:
    """Readings as the viewer reads them."""

    units: Units

    def __call__(self, reading: Reading) -> str:
        return figure(reading.value, reading.sensor.quantity, reading.sensor.unit, self.units)


def _says(part: Part, readings: Sequence[Reading], say: _Words) -> str:
    for quantity in _SAYS.get(part.kind, _SAYS_ELSE):
        for reading in readings:
            if reading.sensor.quantity is quantity:
                return say(reading)
    return ""


def _air_words(readings: Iterable[Reading], context: str, say: _Words) -> str:
    """The first temperature in a physical context of the standard's; "" where none is told."""
    return next(
        (
            say(each)
            for each in readings
            if each.sensor.quantity is Quantity.TEMPERATURE
            and each.sensor.context == context
            and each.value is not None
        ),
        "",
    )


def _air(part: Part, readings: Sequence[Reading], say: _Words) -> Air:
    own = [each for each in readings if each.sensor.part == part.id]
    flow = next((say(each) for each in own if each.sensor.quantity is Quantity.AIR_FLOW), "")
    return Air(_air_words(own, "Intake", say), _air_words(own, "Exhaust", say), flow)


def _coolant(readings: Sequence[Reading], say: _Words) -> Coolant:
    flow = next((say(each) for each in readings if each.sensor.quantity is Quantity.LIQUID_FLOW), "")
    return Coolant(_air_words(readings, "LiquidInlet", say), _air_words(readings, "LiquidOutlet", say), flow)
