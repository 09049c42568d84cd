"""Where things sit: bays from sizes and slot numbers. Pure arithmetic in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.drawings.things import Bay

_SLACK = 1.03
"""Told sizes are outer ones, rounded: what overshoots its container by less than this still counts as fitting."""


@dataclass(frozen=True, slots=True)
class Item:
    """Something to place: its slot number (0-based, None where not told) and size (None where not told)."""

    slot: int | None
    width: float | None
    height: float | None


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Bays in the order of the items asked for, the empty ones between them, and whether they are to scale."""

    bays: tuple[Bay, ...]
    empty: tuple[tuple[int, Bay], ...]
    """(slot number, bay) of slots that stand between the numbered ones and hold nothing."""
    to_scale: bool


def arrange(width: float, height: float, items: Sequence[Item]) -> Arrangement:
    """Bays for ``items`` in a front of ``width`` x ``height``.

    In reading order by slot number, left to right and downwards, with equal gaps: Redfish numbers slots
    (LocationOrdinalValue) but tells no coordinates. What has no size, or does not fit, shares the width equally.
    """
    if not items:
        return Arrangement((), (), True)
    slots = _slots(items)
    count = max(slots) + 1
    if any(item.width is None or item.height is None for item in items):
        return _share(width, height, slots, count)
    holders: list[Item | None] = [None] * count
    for slot, item in zip(slots, items, strict=True):
        holders[slot] = item
    bays = _shelves(width, height, holders)
    if bays is None:
        return _share(width, height, slots, count)
    return Arrangement(tuple(bays[slot] for slot in slots), _unfilled(slots, bays), True)


def _slots(items: Sequence[Item]) -> list[int]:
    """The told slot numbers where they are usable as a whole, else the order of the items."""
    told = [item.slot for item in items]
    numbers = [slot for slot in told if slot is not None and 0 <= slot < 64]
    if len(numbers) == len(items) == len(set(numbers)):
        return numbers
    return list(range(len(items)))


def _share(width: float, height: float, slots: Sequence[int], count: int) -> Arrangement:
    step = width / count
    bays = [Bay(step * index, 0.0, step, height) for index in range(count)]
    return Arrangement(tuple(bays[slot] for slot in slots), _unfilled(slots, bays), False)


def _unfilled(slots: Sequence[int], bays: Sequence[Bay]) -> tuple[tuple[int, Bay], ...]:
    return tuple((slot, bay) for slot, bay in enumerate(bays) if slot not in slots)


def _shelves(width: float, height: float, holders: Sequence[Item | None]) -> list[Bay] | None:
    """Bays filled left to right in shelves from the top; None when the sizes don't fit the front."""
    usual = next(item for item in holders if item is not None)
    shelves: list[list[tuple[float, float]]] = [[]]
    for holder in holders:
        item = holder or usual
        size = (item.width or 0.0, item.height or 0.0)
        if shelves[-1] and sum(across for across, _ in shelves[-1]) + size[0] > width * _SLACK:
            shelves.append([])
        shelves[-1].append(size)
    deep = [max(tall for _, tall in shelf) for shelf in shelves]
    if sum(deep) > height * _SLACK or any(across > width * _SLACK for shelf in shelves for across, _ in shelf):
        return None
    bays: list[Bay] = []
    gap = max(0.0, height - sum(deep)) / (len(shelves) + 1)
    top = height
    for shelf, tallest in zip(shelves, deep, strict=True):
        top -= gap + tallest
        bays += _spread(width, top, shelf)
    return bays


def _spread(width: float, y: float, shelf: Sequence[tuple[float, float]]) -> list[Bay]:
    """One shelf's bays, standing on ``y``, with equal gaps."""
    gap = max(0.0, width - sum(across for across, _ in shelf)) / (len(shelf) + 1)
    bays = []
    x = gap
    for across, tall in shelf:
        bays.append(Bay(x, y, across, tall))
        x += across + gap
    return bays
