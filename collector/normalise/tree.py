"""Which part contains which: every part gets at most one parent, and no loop.

Chassis contain chassis by the union of both directions of their links (DSP8010: Chassis.Links.Contains and
ContainedBy). What a link does not place stands in the part that its path, or the resource listing it, belongs to.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from collector.model import DefectKind, Kind
from collector.normalise.bodies import Body, link_list, pointer, record, text, whole
from collector.normalise.findings import shown
from collector.normalise.parts import Draft, Parts

_AT_HOME = frozenset({"Processor", "Memory", "Storage", "SimpleStorage", "StorageController", "GraphicsController"})
"""Types that stay in the host that lists them, also where Links.Chassis names the board they sit on."""

_CABLE_ENDS = ("UpstreamChassis", "DownstreamChassis")

BOARD_MANAGERS = frozenset({"BMC", "EnclosureManager"})
"""ManagerType of managers that are built into what they manage; others may stand anywhere."""


def contain(parts: Parts) -> None:
    """Sets the parent of every part."""
    _nest_chassis(parts)
    listed = _listed_by_chassis(parts)
    for draft in parts.drafts.values():
        if draft.type == "ComputerSystem":
            draft.parent = _home_of_host(parts, draft, listed)
    for draft in parts.drafts.values():
        if draft.type == "Manager":
            draft.parent = _home_of_manager(parts, draft, listed)
        elif draft.type in _AT_HOME:
            draft.parent = _home_of_device(parts, draft, listed)
    for draft in parts.of_type("Cable"):
        draft.parent = next((home for key in _CABLE_ENDS for home in _chassis_only(follow(parts, draft, key))), None)
    for draft in parts.drafts.values():  # drives last: they stand beside the storage that lists them
        if draft.type not in ("Chassis", "ComputerSystem", "Manager", "Cable") and draft.type not in _AT_HOME:
            draft.parent = _home_of_device(parts, draft, listed)


def preorder(parts: Parts) -> list[Draft]:
    """All parts, each after what contains it, neighbours in the natural order of their names."""
    below: dict[str | None, list[Draft]] = {}
    for draft in parts.drafts.values():
        below.setdefault(draft.parent.uri if draft.parent else None, []).append(draft)
    for drafts in below.values():
        drafts.sort(key=lambda draft: natural(draft.uri))
    ordered: list[Draft] = []
    waiting = list(reversed(below.get(None, [])))
    while waiting:
        draft = waiting.pop()
        ordered.append(draft)
        waiting.extend(reversed(below.get(draft.uri, [])))
    return ordered


def natural(uri: str) -> list[tuple[int, str]]:
    """Sorts ``Blade2`` before ``Blade10``."""
    return [(int(digits or 0), letters) for digits, letters in re.findall(r"(\d{1,18})|(\D+)", uri)]


def links_of(draft: Draft) -> Body:
    """A resource's Links object."""
    return record(draft.body.get("Links"))


def follow(parts: Parts, draft: Draft, key: str) -> Iterator[Draft]:
    """The parts that one of a part's Links leads to; what leads nowhere, or away, is a defect.

    Links to resources that a walk need not fetch are looked up with :meth:`Parts.find` instead.
    """
    for target in dict.fromkeys(link_list(links_of(draft).get(key))):
        found = parts.find(target)
        at = pointer(*draft.steps, "Links", key)
        if found is not None:
            yield found
        elif "://" in target:
            detail = f"{key} leads to {shown(target)}, on another service; not followed"
            parts.findings.add(draft.resource, at, DefectKind.FOREIGN_LINK, detail)
        elif whole(target) not in parts.resources or "#" in target:
            detail = f"{key} leads to {shown(target)}, where the walk found nothing"
            parts.findings.add(draft.resource, at, DefectKind.DANGLING_LINK, detail)


def _nest_chassis(parts: Parts) -> None:
    chassis = parts.of_type("Chassis")
    claims: dict[str, list[Draft]] = {}
    for child in chassis:
        for parent in _chassis_only(follow(parts, child, "ContainedBy")):
            claims.setdefault(child.uri, []).append(parent)
    for parent in chassis:
        for child in _chassis_only(follow(parts, parent, "Contains")):
            claims.setdefault(child.uri, []).append(parent)
    for child in chassis:
        for parent in dict.fromkeys(claims.get(child.uri, [])):
            if child is parent or child in parent.above():
                detail = f"{shown(child.uri)} and {shown(parent.uri)} contain each other; this link is not believed"
                parts.findings.add(child.uri, "/Links/ContainedBy", DefectKind.LINK_LOOP, detail)
            elif child.parent is None:
                child.parent = parent
    for child in chassis:
        rest = [parent for parent in claims.get(child.uri, []) if parent not in child.above() and parent is not child]
        if child.parent is not None and rest:
            detail = f"contained by {shown(child.parent.uri)} and by {shown(rest[0].uri)}; the first is believed"
            parts.findings.add(child.uri, "/Links/ContainedBy", DefectKind.CONTRADICTION, detail)


def _chassis_only(drafts: Iterable[Draft]) -> Iterator[Draft]:
    return (draft for draft in drafts if draft.type == "Chassis")


_LISTS = (
    "ComputerSystems",
    "ManagersInChassis",
    "Drives",
    "PCIeDevices",
    "Switches",
    "PowerDistribution",
    "CoolingUnits",
)


def _listed_by_chassis(parts: Parts) -> dict[str, list[Draft]]:
    """Part -> the chassis whose Links, or whose Drives collection, say that it is in them."""
    found: dict[str, list[Draft]] = {}
    for chassis in parts.of_type("Chassis"):
        targets = [target for key in _LISTS for target in link_list(links_of(chassis).get(key))]
        for collection in link_list(chassis.body.get("Drives")):
            listing = parts.resources.get(collection)
            targets += link_list(listing.body.get("Members")) if listing is not None else []
        for target in targets:
            draft = parts.find(target)
            if draft is not None and chassis not in found.setdefault(draft.uri, []):
                found[draft.uri].append(chassis)
    return found


def _home_of_host(parts: Parts, host: Draft, listed: dict[str, list[Draft]]) -> Draft | None:
    own = list(_chassis_only(follow(parts, host, "Chassis")))
    # The chassis' word counts where the host says nothing: several may list one host (a tray beside its server).
    return _innermost(own) or _innermost(listed.get(host.uri, []))


def _innermost(chassis: list[Draft]) -> Draft | None:
    """The one that stands in all the others, else the first told."""
    for inner in chassis:
        if all(outer is inner or outer in inner.above() for outer in chassis):
            return inner
    return chassis[0] if chassis else None


def _home_of_manager(parts: Parts, manager: Draft, listed: dict[str, list[Draft]]) -> Draft | None:
    told = list(_chassis_only(follow(parts, manager, "ManagerInChassis"))) or listed.get(manager.uri, [])
    if told or text(manager.body.get("ManagerType")) not in BOARD_MANAGERS:
        return told[0] if told else None
    return _common(list(_chassis_only(follow(parts, manager, "ManagerForChassis"))))


def _common(chassis: list[Draft]) -> Draft | None:
    """The innermost chassis that holds them all, or is the only one."""
    if not chassis:
        return None
    for candidate in (chassis[0], *chassis[0].above()):
        if all(candidate is one or candidate in one.above() for one in chassis):
            return candidate
    return None


def _home_of_device(parts: Parts, draft: Draft, listed: dict[str, list[Draft]]) -> Draft | None:
    above = parts.owner(draft.resource if draft.steps else draft.resource.rpartition("/")[0])
    if draft.type in _AT_HOME and above is not None:
        return above
    told = [found for target in link_list(links_of(draft).get("Chassis")) if (found := parts.find(target))]
    chassis = _innermost(list(_chassis_only(told))) or _innermost(listed.get(draft.uri, []))
    if chassis is not None:
        return chassis
    if draft.kind is Kind.DRIVE and above is not None and above.type in ("Storage", "SimpleStorage"):
        return above.parent if above.parent is not None else above
    return above
