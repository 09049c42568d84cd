"""Takes a body that did not fit the types it should: keeps every good reading in it and names every bad one."""

from __future__ import annotations

import json
import math
from typing import Any

from collector.model import DefectKind, Seconds
from collector.normalise import reading
from collector.normalise.bodies import Body, at, record, rows
from collector.normalise.compiled import Plan, Steps, Wanted
from collector.normalise.findings import shown
from collector.normalise.rounds import Round

_LONGEST_NUMBER = 400
"""Digits beyond which a whole number is no float any more."""


def take(plan: Plan, body: bytes, received: Seconds, here: Round) -> None:
    """Reads all that is wanted of one GET from a body of any content."""
    told = parse(plan, body, here)
    if told is None:
        return
    if not plan.fetch.expanded:
        if _is_whole(told):
            _read(plan.wanted[0], told, received, here)
        else:
            here.blame_bare(plan)
        return
    members = rows(told.get("Members"))
    if not members and plan.wanted:
        here.findings.add(plan.fetch.path, "/Members", DefectKind.MISSING, "the collection has no Members any more")
    names = [record(member).get("@odata.id") for member in members]
    for index, wanted in zip(here.match(plan, names), plan.wanted, strict=True):
        if index is not None and _is_whole(members[index]):
            _read(wanted, members[index], received, here)
        elif index is not None:
            here.blame_bare(plan)


def parse(plan: Plan, body: bytes, here: Round) -> Body | None:
    """The body as decoded JSON; NaN and Infinity, which JSON has not but some services have, become floats."""
    path = plan.fetch.path
    try:
        told = _loads(body)
    except RecursionError:
        here.findings.add(path, "", DefectKind.TOO_DEEP, "the body is nested too deep to be read")
        return None
    except ValueError as error:  # JSONDecodeError and UnicodeDecodeError are
        here.findings.add(path, "", DefectKind.NOT_JSON, f"the body is not JSON: {error}")
        return None
    if isinstance(told, dict):
        return told
    here.findings.add(path, "", DefectKind.WRONG_TYPE, f"the body is {shown(type(told).__name__)}, not an object")
    return None


def _loads(body: bytes) -> Any:
    try:
        return json.loads(body)
    except ValueError as error:
        if isinstance(error, json.JSONDecodeError | UnicodeDecodeError):
            raise
    return json.loads(body, parse_int=_whole_number)  # Python refused a number of thousands of digits


def _whole_number(digits: str) -> float | int:
    return int(digits) if len(digits) < _LONGEST_NUMBER else math.inf


def _is_whole(told: Any) -> bool:
    """Whether it is more than a link, and no error message in the place of a resource."""
    if not isinstance(told, dict) or ("error" in told and "@odata.id" not in told):
        return False
    return any("@" not in key for key in told)


def _read(wanted: Wanted, body: Body, received: Seconds, here: Round) -> None:
    here.columns.filled = here.columns.filled or bool(wanted.readings)
    moved = _moved_rows(wanted, body, here)
    for column, reader in wanted.readings:
        if not _stands_in(reader.steps, moved):
            reading.read(reader, body, column, here.columns, received, here.findings)
    for slot in wanted.parts:
        holder = at(body, slot.steps)
        if isinstance(holder, dict) and not _stands_in(slot.steps, moved):
            here.last[slot.position] = None
            here.note_status(slot, holder, wanted)


def _moved_rows(wanted: Wanted, body: Body, here: Round) -> set[Steps]:
    """Rows that are not those of the walk any more: what stands in them would be taken for another part's."""
    moved: set[Steps] = set()
    for array, used in wanted.used_rows().items():
        identities = wanted.rows.get(array, ())
        told = rows(at(body, array))
        if len(told) != len(identities):
            here.shape_changed = True
        for index in used:
            row = told[index] if index < len(told) else None
            if not isinstance(row, dict) or any(row.get(name) != text for name, text in identities[index]):
                moved.add((*array, index))
                here.shape_changed = True
    return moved


def _stands_in(steps: Steps, moved: set[Steps]) -> bool:
    return any(steps[: len(row)] == row for row in moved)
