"""What people know of the invented site, for the fleet file: heights, classes, feeds, and how sleds are built.

A line of text each, in TOML. What is told of a design is what every controller of it tells in some way, whatever its
dialect: boards, processors, memory, drives, fans and supplies.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

from simulators.designs import BladeDesign, Item, ShelfDesign, SledDesign
from simulators.parts import MAINS
from simulators.site import Rack, Site

AIR_CLASS = "A2"
"""Environmental class that the invented makers state for their sleds."""
_PHASES, _VOLTS = 3, 230.0
_BREAKERS = (16.0, 32.0, 63.0, 125.0)
"""A, of three-phase plugs in use (IEC 60309)."""


def text(value: str) -> str:
    """A TOML string."""
    # a JSON string is a TOML basic string as long as it has no DEL and no surrogates, and names here have neither
    return json.dumps(value, ensure_ascii=False)


def ground(site: Site) -> list[str]:
    """The lines of ``[[places]]`` and ``[[designs]]``.

    The narrowest place counts alone, so that racks with feeds of their own repeat what holds for the site.
    """
    lines = _place(site, site.altitude)
    for row in site.rows:
        for rack in row.racks:
            if rack.shelf is not None:
                rating = _rating(rack)
                feeds = ", ".join(f"{{ name = {text(name)}, rating = {rating:g} }}" for name in MAINS)
                lines += [*_place(site, site.altitude, row.label, rack.label), f"feeds = [{feeds}]"]
    built: dict[str, SledDesign | ShelfDesign] = {unit.design.name: unit.design for unit in site.equipment}
    for design in built.values():
        lines += _design(design)
    return lines


def _place(site: Site, altitude: float, row: str | None = None, rack: str | None = None) -> list[str]:
    where = {"site": site.name, "row": row, "rack": rack}
    return [
        "",
        "[[places]]",
        *(f"{step} = {text(label)}" for step, label in where.items() if label is not None),
        f"altitude = {altitude:g}",
        f"air_class = {text(AIR_CLASS)}",
    ]


def _rating(rack: Rack) -> float:
    """W of each of a rack's feeds: the smallest plug through which one of them carries the rack alone."""
    wanted = sum(enclosure.feed_capacity for enclosure in rack.enclosures)
    ratings = [_PHASES * _VOLTS * amperes for amperes in _BREAKERS]
    return next((rating for rating in ratings if rating >= wanted), ratings[-1])


def _design(design: SledDesign | ShelfDesign) -> list[str]:
    return [
        "",
        "[[designs]]",
        f"name = {text(design.name)}",
        f"sleds = [{text(design.model)}, {text(design.part_number)}]",
        "holds = [",
        *(f"    {each}," for each in (_of_shelf(design) if isinstance(design, ShelfDesign) else _of_sled(design))),
        "]",
    ]


def _of_shelf(design: ShelfDesign) -> Iterator[str]:
    for number in range(1, design.supplies + 1):
        yield _holding("power supply", design.supply, slot=f"PSU {number}")
    yield _holding("controller", design.controller)


def _of_sled(design: SledDesign) -> Iterator[str]:
    yield _holding("controller", design.controller)
    yield _holding("network adapter", design.adapter)
    for number, supply in enumerate(design.power_supplies, 1):
        yield _holding("power supply", supply, slot=f"PSU {number}")
    for number in range(1, design.fans + 1):
        yield _holding("fan", design.fan, slot=f"FAN {number}")
    for slot in design.slots:
        yield from _of_blade(design.blade, slot.label)


def _of_blade(board: BladeDesign, slot: str) -> Iterator[str]:
    bare = Item(make=board.make, model=board.model, part_number=board.part_number)
    yield _holding("blade", bare, slot=slot, height=board.height)
    yield _holding("host", board, within=slot)
    for kind, item, count in (
        ("processor", board.processor, board.processors),
        ("memory", board.memory, board.memories),
        ("drive", board.drive, board.drives),
    ):
        yield _holding(kind, item, within=slot, count=count)


def _holding(
    kind: str,
    item: Item,
    *,
    slot: str | None = None,
    within: str | None = None,
    count: int = 1,
    height: float | None = None,
) -> str:
    told = [f"kind = {text(kind)}"]
    told += [f"{key} = {text(value)}" for key, value in (("slot", slot), ("within", within)) if value is not None]
    if count != 1:
        told.append(f"count = {count}")
    told += [f"part_numbers = [{text(item.part_number)}]", f"models = [{text(item.model)}]"]
    if item.firmware:
        told.append(f"firmware = {text(item.firmware)}")
    if height is not None:
        told.append(f"height = {height:g}")
    return f"{{ {', '.join(told)} }}"
