"""What each sled should hold, against what it holds."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from collector.assess.tree import Tree
from collector.model import Design, Holding, Kind, Misfit, Misfitting, Part, State, Status

_HEIGHT_SLACK = 0.5
"""mm by which a board's height may differ: sheet metal and rounding (common practice, no source)."""
_NUMBER = re.compile(r"\d+")
HOLDERS = frozenset({Kind.SLED, Kind.ENCLOSURE, Kind.RACK, Kind.OTHER})
"""Kinds that a design may be of."""


def version_key(version: str) -> tuple[int, ...]:
    """The numbers in a version, for comparing: ``1.10`` is newer than ``1.9``. Letters count for nothing."""
    return tuple(int(number[:18]) for number in _NUMBER.findall(version))


def is_behind(version: str, least: str) -> bool:
    """Whether a version is older than the least that will do. A version without any number is never behind."""
    have, want = version_key(version), version_key(least)
    size = max(len(have), len(want))
    padded = [key + (0,) * (size - len(key)) for key in (have, want)]
    return bool(have) and padded[0] < padded[1]


def misfits(tree: Tree, statuses: Mapping[str, Status], designs: Sequence[Design]) -> list[Misfit]:
    """Every difference between the sleds of one controller and their designs, in the order of the designs' lists.

    A sled of no design, and what a design doesn't mention, differs in nothing.
    """
    found: list[Misfit] = []
    for position, part in enumerate(tree.parts):
        if part.kind in HOLDERS and (design := design_of(part, designs)) is not None:
            found += _Sled(tree, position, statuses, design).misfits()
    return found


def row_of(misfit: Misfit, sled: Part | None) -> dict[str, Any]:
    """A misfit as it is handed out, by the terminal and by the pages; ``sled``: the part it names, for its place."""
    return {
        "controller": misfit.controller,
        "place": (sled.location.text if sled is not None else "") or misfit.controller,
        "how": misfit.how.value,
        "kind": misfit.kind.value,
        "slot": misfit.slot,
        "found": misfit.found,
        "wanted": misfit.wanted,
        "design": misfit.design,
        "sled": misfit.sled,
        "part": misfit.part,
        "text": misfit.text,
    }


def design_of(part: Part, designs: Iterable[Design]) -> Design | None:
    """The first design that names a part's model, part number or SKU."""
    called = {part.identity.model, part.identity.part_number, part.identity.sku} - {None}
    return next((design for design in designs if called & set(design.sleds)), None)


class _Sled:
    def __init__(self, tree: Tree, position: int, statuses: Mapping[str, Status], design: Design) -> None:
        self._sled = tree.parts[position]
        self._design = design
        self._tree = tree
        absent = {
            at
            for at in tree.within(position)
            if (status := statuses.get(tree.parts[at].id)) is not None and status.state is State.ABSENT
        }
        self._there = [at for at in tree.within(position) if at != position and not self._in(at, absent)]

    def _in(self, at: int, absent: set[int]) -> bool:
        return at in absent or any(outer in absent for outer in self._tree.ancestors(at))

    def misfits(self) -> list[Misfit]:
        found: list[Misfit] = []
        for holding in self._design.holds:
            here = self._candidates(holding)
            wanted = 1 if holding.slot is not None else holding.count
            for part in here:
                found += self._examined(part, holding)
            if len(here) < wanted:
                found.append(self._told(Misfitting.MISSING, holding, None, f"{len(here)} of {wanted} there"))
            elif holding.slot is None and len(here) > wanted:
                found += [
                    self._told(Misfitting.EXTRA, holding, part, f"{len(here)} there, {wanted} wanted")
                    for part in here[wanted:]
                ]
        return found

    def _candidates(self, holding: Holding) -> list[Part]:
        parts = [self._tree.parts[at] for at in self._there if self._tree.parts[at].kind is holding.kind]
        if holding.slot is not None:
            parts = [part for part in parts if holding.slot in (part.location.slot, part.name)]
        if holding.within is not None:
            parts = [part for part in parts if self._held_by(part, holding.within)]
        return parts

    def _held_by(self, part: Part, slot: str) -> bool:
        outer = (self._tree.parts[at] for at in self._tree.ancestors(self._tree.at[part.id]))
        return any(slot in (each.location.slot, each.name) for each in outer)

    def _examined(self, part: Part, holding: Holding) -> list[Misfit]:
        identity = part.identity
        found = []
        for what, told, right in (
            ("part number", identity.part_number, holding.part_numbers),
            ("model", identity.model, holding.models),
        ):
            if right and told is not None and told not in right:
                how = Misfitting.MISPLACED if self._belongs_elsewhere(part, holding) else Misfitting.WRONG
                found.append(self._told(how, holding, part, f"{what} {told}", " or ".join(right)))
                break
        height = part.size.height
        if holding.height is not None and height is not None and abs(height - holding.height) > _HEIGHT_SLACK:
            found.append(self._told(Misfitting.WRONG, holding, part, f"{height:g} mm high", f"{holding.height:g} mm"))
        firmware = identity.firmware
        if holding.firmware is not None and firmware is not None and is_behind(firmware, holding.firmware):
            told = f"firmware {firmware}"
            found.append(self._told(Misfitting.BEHIND, holding, part, told, f"{holding.firmware} or newer"))
        return found

    def _belongs_elsewhere(self, part: Part, holding: Holding) -> bool:
        identity = part.identity
        return any(
            other is not holding
            and other.kind is holding.kind
            and (identity.part_number in other.part_numbers or identity.model in other.models)
            for other in self._design.holds
        )

    def _told(self, how: Misfitting, holding: Holding, part: Part | None, found: str, wanted: str = "") -> Misfit:
        where = holding.slot or (part.location.slot or part.name if part is not None else None)
        place = " ".join(word for word in (holding.kind.value, where) if word)
        inside = f" in {holding.within}" if holding.within is not None else ""
        text = f"{place}{inside}: {how.value}, {found}"
        if wanted:
            text += f"; design {self._design.name} wants {wanted}"
        return Misfit(
            controller=self._sled.controller,
            sled=self._sled.id,
            design=self._design.name,
            how=how,
            kind=holding.kind,
            slot=where,
            part=part.id if part is not None else None,
            wanted=wanted,
            found=found,
            text=text,
        )
