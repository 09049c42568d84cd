"""Where parts are: what the controller tells of itself, what the fleet file adds, and what follows from containment.

Source: DSP8010 2025.4 ``Resource_v1.xml`` (Location, Placement, PartLocation).
"""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from collector.model import DefectKind, Kind, Location
from collector.normalise.bodies import Body, finite, location, record, text
from collector.normalise.findings import Findings, shown
from collector.normalise.parts import Draft

_OFFSET_UNITS = ("EIA_310", "OpenU")
_LABELLED = {Kind.ENCLOSURE: "enclosure", Kind.SLED: "sled"}
"""Kinds whose own label has a place of its own in a location; all others' goes to the slot."""

_PLACED = (Kind.ENCLOSURE, Kind.SLED, Kind.BLADE)
"""Kinds whose location is named by their Name where they tell no label."""


def locate(ordered: list[Draft], fleet: Location, findings: Findings) -> dict[str, Location]:
    """The location of every part, by its uri; ``ordered`` has containers before what they contain.

    The fleet file's word is taken where both speak, and the disagreement is a defect: a person wrote it for this
    controller and can mend it. A contained part is where its container is, and in its own slot there.
    """
    found: dict[str, Location] = {}
    for draft in ordered:
        inherited = fleet if draft.parent is None else found[draft.parent.uri]
        found[draft.uri] = _merged(draft, inherited, fleet, findings)
    return found


def _merged(draft: Draft, inherited: Location, fleet: Location, findings: Findings) -> Location:
    told = _told(draft, findings)
    changes: dict[str, Any] = {}
    for key, value in told.items():
        before = getattr(inherited, key)
        if value is None or key == "slot_index":
            continue
        if before is None:
            changes[key] = value
        elif not _same(before, value):
            by_fleet = draft.parent is None or getattr(fleet, key) is not None
            outer = "the fleet file" if by_fleet else "what contains it"
            detail = f"{key} is {shown(value)} here, {shown(before)} in {outer}"
            at = "/Location/PartLocation" if key in _LABELLED.values() else "/Location/Placement"
            findings.add(draft.resource, at, DefectKind.CONTRADICTION, detail)
            if not by_fleet:
                changes[key] = value
    changes |= _labelled(draft, inherited, told["slot_index"])
    return replace(inherited, **changes) if changes else inherited


def _labelled(draft: Draft, inherited: Location, ordinal: int | None) -> dict[str, Any]:
    """Where a part's own label goes: into the place that its kind has, else behind those of what it is in."""
    label = text(_part_location(draft).get("ServiceLabel"), 80)
    place = _LABELLED.get(draft.kind, "slot")
    if label is None and draft.kind in _PLACED:
        name = text(draft.body.get("Name"), 80)  # no label, so it can't contradict one
        if place != "slot" and getattr(inherited, place) is None:
            return {place: name, "slot_index": ordinal}
        label = name if place == "slot" or draft.parent is not None else None
    if label is None:
        return {} if ordinal is None else {"slot_index": ordinal}
    if place != "slot" and getattr(inherited, place) is None:
        return {place: label, "slot_index": ordinal}
    if place != "slot" and draft.parent is None:
        return {}  # the fleet file names it; whether alike was looked at before
    outer = inherited.slot
    return {"slot": label if outer is None else f"{outer} / {label}", "slot_index": ordinal}


def _part_location(draft: Draft) -> Body:
    return record(location(draft.body).get("PartLocation"))


def _told(draft: Draft, findings: Findings) -> dict[str, Any]:
    """What a part itself tells of its place, by the names of :class:`~collector.model.Location`."""
    placement = record(location(draft.body).get("Placement"))
    ordinal = _part_location(draft).get("LocationOrdinalValue")
    told: dict[str, Any] = {
        "site": text(placement.get("FacilityName"), 80),
        "row": text(placement.get("Row"), 80),
        "rack": text(placement.get("Rack"), 80),
        "offset": _offset(draft, placement, findings),
        "offset_unit": _offset_unit(draft, placement, findings),
        "slot_index": ordinal if isinstance(ordinal, int) and not isinstance(ordinal, bool) else None,
    }
    if draft.parent is None and draft.kind in _LABELLED:
        told[_LABELLED[draft.kind]] = text(_part_location(draft).get("ServiceLabel"), 80)
    return told


def _offset(draft: Draft, placement: Body, findings: Findings) -> float | None:
    value = placement.get("RackOffset")
    offset = finite(value)
    if offset is None and value is not None:
        detail = f"RackOffset is {shown(value)}, not a number"
        findings.add(draft.resource, "/Location/Placement/RackOffset", DefectKind.WRONG_TYPE, detail)
    return offset


def _offset_unit(draft: Draft, placement: Body, findings: Findings) -> str | None:
    value = placement.get("RackOffsetUnits")
    if value is None or value in _OFFSET_UNITS:
        return value
    detail = f"RackOffsetUnits {shown(value)} is not in the standard"
    findings.add(draft.resource, "/Location/Placement/RackOffsetUnits", DefectKind.UNKNOWN_WORD, detail)
    return None


def _same(one: object, other: object) -> bool:
    """Whether two labels may be one: ``Sled 1``, ``sled 1`` and ``1`` are."""
    if not isinstance(one, str) or not isinstance(other, str):
        return one == other
    mine, theirs = one.casefold().split(), other.casefold().split()
    shorter, longer = sorted((mine, theirs), key=len)
    return longer[-len(shorter) :] == shorter if shorter else not longer
