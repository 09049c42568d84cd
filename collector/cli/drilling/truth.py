"""Whether a suspect is the part that a fault was put in.

A part that a controller tells of is known by its serial number or its resource; one that none tells of by what it
joins: a switch by its name, its port by the neighbour's PortId or, where none is told, by the port at the other end, a
cable by its near end, a blanking panel by its sled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.model import Part, Suspect

if TYPE_CHECKING:
    from collector.cli.drilling.stage import Stage


def names(stage: Stage, suspect: Suspect, fru: str) -> bool:
    """Whether a suspect is the thing at that path of the simulated site."""
    if not fru.startswith("~"):
        sled, _, own = fru.rpartition("/")
        if own == "filter" and suspect.part.startswith("~"):  # of a sled whose controller tells of no filter
            return suspect.part.endswith("/filter") and _is(stage, suspect.part[1:].removesuffix("/filter"), sled)
        return _is(stage, suspect.part, fru)
    if not suspect.part.startswith("~"):
        return False
    thing = fru[1:]
    if "|" in thing:
        near = thing.partition("|")[0]
        return suspect.part.endswith("/cable") and _is(stage, suspect.part[1:].removesuffix("/cable"), near)
    if thing.endswith("/panel"):
        return suspect.part.endswith("/panel") and _is(stage, suspect.part[1:].removesuffix("/panel"), thing[:-6])
    switch, slash, _ = thing.partition("/")
    if not slash:
        return suspect.part == f"~{switch}"
    (end,) = stage.world.site.network.parts[fru].ends
    if suspect.part.endswith("/switch port"):
        return _is(stage, suspect.part[1:].removesuffix("/switch port"), end)
    told = stage.world.site.network.neighbours(end.partition("/")[0])[end]
    return suspect.part == f"~{switch}/{told.port}"


def _is(stage: Stage, part_id: str, path: str) -> bool:
    """Whether a told part is the simulated one at a path, or a port that belongs to it alone."""
    unit, _, rest = path.partition("/")
    if part_id.partition(":")[0] != unit:
        return False
    inventory = stage.stations[unit].inventory
    if inventory is None:
        return False
    if rest.startswith("adapter/port"):
        return "/NetworkAdapters/" in part_id and part_id.rpartition("/")[2] == rest.removeprefix("adapter/port")
    parts = {part.id: part for part in inventory.parts}
    found: Part | None = parts.get(part_id)
    simulated = stage.world.site.part(path)
    if found is not None and simulated.serial and found.identity.serial == simulated.serial:
        return True
    around = stage.stations[unit].service.tree.around
    uri = None if around is None else around.telling.parts.get(rest)
    if uri is not None and part_id == f"{unit}:{uri}":
        return True
    return found is not None and found.parent is not None and rest == "controller" and _is(stage, found.parent, path)
