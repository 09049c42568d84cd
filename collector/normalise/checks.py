"""What is wrong with walked resources as such: the names they give themselves, their counts, groups with odd states."""

from __future__ import annotations

from collector.model import DefectKind
from collector.normalise import statuses
from collector.normalise.bodies import Body, place, pointer, resource_type, rows
from collector.normalise.findings import Findings, shown
from collector.normalise.parts import MAX_ROWS, ROW_PARTS
from collector.normalise.places import LEGACY
from collector.redfish import links
from collector.redfish.resources import Walked

_GROUPS = ("Redundancy", "PowerSupplyRedundancy", "FanRedundancy")
"""Arrays of redundancy groups: no parts, but their words are checked like any other's."""


def check(walked: Walked, findings: Findings) -> None:
    """Notes what a walk's resources say wrongly of themselves; none of it is believed anyway."""
    for uri, resource in walked.resources.items():
        body = resource.body
        own = body.get("@odata.id")
        if isinstance(own, str) and links.key(own) != uri:
            detail = f"calls itself {shown(own)}; it is known by the path that it was fetched from"
            findings.add(uri, "/@odata.id", DefectKind.WRONG_IDENTITY, detail)
        if "Members" in body:
            _check_count(uri, body, findings)
        if resource_type(body) == "Sensor":
            statuses.read(body, findings, uri)
        _check_rows(uri, body, findings)


def _check_rows(uri: str, body: Body, findings: Findings) -> None:
    for key in _GROUPS:
        for index, row in enumerate(rows(body.get(key))[:MAX_ROWS]):
            if isinstance(row, dict):
                statuses.read(row, findings, uri, pointer(key, index))
    for key in _ARRAYS:
        for index, row in enumerate(rows(body.get(key))[:MAX_ROWS]):
            if not isinstance(row, dict):
                continue
            statuses.read(row, findings, uri, pointer(key, index))
            own = row.get("@odata.id")
            if isinstance(own, str) and place(own) != f"{uri}#{pointer(key, index)}":
                detail = f"calls itself {shown(own)}; it is known by where it stands"
                findings.add(uri, pointer(key, index, "@odata.id"), DefectKind.WRONG_IDENTITY, detail)


_ARRAYS = tuple(
    dict.fromkeys(
        [table.array for tables in LEGACY.values() for table in tables]
        # Fans and PowerSupplies are rows in one model and links to a collection in the other: links are no arrays.
        + [array for arrays in ROW_PARTS.values() for array, _ in arrays]
    )
)


def _check_count(uri: str, body: Body, findings: Findings) -> None:
    members, count = rows(body["Members"]), body.get("Members@odata.count")
    if count is None or "Members@odata.nextLink" in body or "@odata.nextLink" in body:
        return
    if isinstance(count, bool) or not isinstance(count, int):
        detail = f"Members@odata.count is {shown(count)}, not a whole number"
        findings.add(uri, "/Members@odata.count", DefectKind.WRONG_TYPE, detail)
    elif count != len(members):
        detail = f"Members@odata.count says {count}, Members lists {len(members)}"
        findings.add(uri, "/Members@odata.count", DefectKind.WRONG_COUNT, detail)
