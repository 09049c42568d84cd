"""``sledkeeper suspects|orders|margins|figures``: which part explains the trouble, what to do about it, what is left,
and what follows from readings."""

from __future__ import annotations

import argparse
from typing import Any

import msgspec

from collector.assess.margins.outlook import day
from collector.cli.output import iso
from collector.model import (
    Figure,
    FigureKind,
    Identity,
    Location,
    Margin,
    MarginKind,
    Part,
    Suspect,
    Trouble,
    WorkOrder,
)
from collector.store.reader import Reader

Rows = list[dict[str, Any]]

SUSPECT_COLUMNS = (*("trouble", "rank", "probability", "place", "part", "fault", "remedy", "group", "why"),)
ORDER_COLUMNS = ("urgency", "state", "bundle", "place", "task", "takes_down", "running", "lamp", "opened")
FIGURE_COLUMNS = ("kind", "place", "name", "value", "low", "high", "unit", "basis")
MARGIN_COLUMNS = ("kind", "place", "name", "left", "left_unit", "value", "limit", "watts", "basis")


def suspects(reader: Reader, arguments: argparse.Namespace) -> Rows:
    """A row a suspect, of the worst trouble first; with a controller named: of troubles that its parts show."""
    found: Rows = []
    for trouble in reader.answers.troubles():
        if arguments.controller is None or arguments.controller in trouble.controllers:
            # A trouble that accuses nothing is told all the same.
            found += [_suspect(trouble, rank, each) for rank, each in enumerate(trouble.suspects or (None,), 1)]
    return found


def _suspect(trouble: Trouble, rank: int, suspect: Suspect | None) -> dict[str, Any]:
    place = suspect.location if suspect is not None else Location()
    accused = suspect is not None and (rank == 1 or suspect.part in trouble.also)
    return {
        "trouble": trouble.id,
        "severity": trouble.severity.word,
        "rank": rank,
        "probability": suspect.probability if suspect is not None else None,
        "controller": suspect.controller if suspect is not None else None,
        "part": suspect.name if suspect is not None else None,
        "part_id": suspect.part if suspect is not None else None,
        "kind": suspect.kind.value if suspect is not None else None,
        "place": place.text,
        "location": _whole(place),
        "identity": _whole(suspect.identity if suspect is not None else Identity()),
        "fault": suspect.fault if suspect is not None else None,
        "fault_probability": round(suspect.fault_probability, 4) if suspect is not None else None,
        "remedy": suspect.remedy if suspect is not None else None,
        "accused": accused,
        "group": _group(trouble, suspect),
        "why": _why(trouble, suspect),
        "speaks_for": list(suspect.speaks_for) if suspect is not None else [],
        "speaks_against": list(suspect.speaks_against) if suspect is not None else [],
        "shown_by": list(trouble.controllers),
        "opened": iso(trouble.opened),
        "changed": iso(trouble.changed),
        "in_group": list(trouble.group),
        "also": list(trouble.also),
        "conditions": list(trouble.conditions),
        "signs": list(trouble.signs),
        "unexplained": trouble.unexplained,
        "next_look": trouble.next_look,
        "weaker": list(trouble.weaker),
    }


def _group(trouble: Trouble, suspect: Suspect | None) -> str | None:
    """How many parts the evidence can't tell it from; None where it is clear of all others."""
    if suspect is None or suspect.part not in trouble.group or len(trouble.group) < 2:
        return None
    return f"1 of {len(trouble.group)}"


def _why(trouble: Trouble, suspect: Suspect | None) -> str:
    if suspect is not None and suspect.speaks_for:
        return suspect.speaks_for[0]
    return trouble.signs[0] if trouble.signs else ""


def orders(reader: Reader, arguments: argparse.Namespace) -> Rows:
    """Open work orders: those of one walk together, the most urgent walk first."""
    told = reader.answers.orders()
    if arguments.controller is not None:
        told = [order for order in told if order.controller == arguments.controller]
    soonest: dict[str, int] = {}
    for order in told:
        soonest[order.bundle] = min(soonest.get(order.bundle, len(_URGENCIES)), _URGENCIES.index(order.urgency.value))
    told.sort(key=lambda order: (soonest[order.bundle], order.bundle, _URGENCIES.index(order.urgency.value)))
    return [_order(order) for order in told]


_URGENCIES = ("now", "today", "next visit")


def _order(order: WorkOrder) -> dict[str, Any]:
    return {
        "urgency": order.urgency.value,
        "state": order.state.value,
        "bundle": order.bundle,
        "place": order.location.text,
        "task": order.task,
        "takes_down": _fallen(order),
        "running": order.running,
        "lamp": order.lamp_text,
        "opened": iso(order.opened),
        "changed": iso(order.changed),
        "reason": order.reason,
        "first": list(order.first),
        "cautions": list(order.cautions),
        "otherwise": list(order.otherwise),
        "controller": order.controller,
        "part": order.part,
        "kind": order.kind.value,
        "name": order.name,
        "location": _whole(order.location),
        "identity": _whole(order.identity),
        "front": {"blue": order.lamp.blue.value, "amber": order.lamp.amber.value} if order.lamp is not None else None,
        "falls": [_whole(each) for each in order.takes_down],
        "trouble": order.trouble,
        "id": order.id,
        "by": order.handling.who if order.handling is not None else None,
        "since": iso(order.handling.since) if order.handling is not None else None,
        "serial_note": order.handling.serial_note if order.handling is not None else "",
        "steps": [_whole(step) for step in order.handling.steps] if order.handling is not None else [],
    }


def _fallen(order: WorkOrder) -> str | None:
    """What goes down with it, by kind, in few words."""
    kinds: dict[str, int] = {}
    for each in order.takes_down:
        kinds[each.kind.value] = kinds.get(each.kind.value, 0) + 1
    return ", ".join(f"{count} x {kind}" for kind, count in kinds.items()) or None


def margins(reader: Reader, arguments: argparse.Namespace) -> Rows:
    """What is left, least first within each kind."""
    parts = {part.id: part for part in reader.parts(arguments.controller)}
    found: Rows = []
    for margin in reader.answers.margins(arguments.controller):
        part = parts.get(margin.part)
        found.append(_margin(margin, part.location if part is not None else None, part.name if part else None))
    return found


def _margin(margin: Margin, location: Location | None, name: str | None) -> dict[str, Any]:
    return {
        "kind": margin.kind.value,
        "controller": margin.controller,
        "part": margin.part,
        "name": name,
        "place": location.text if location is not None else margin.part,
        "location": _whole(location if location is not None else Location()),
        "left": margin.left,
        "left_unit": "K" if margin.kind in (MarginKind.HEAT, MarginKind.AIR, MarginKind.SWING) else margin.unit,
        "value": margin.value,
        "limit": margin.limit,
        "unit": margin.unit,
        "watts": margin.watts,
        "sensor": margin.sensor,
        "time": iso(margin.time),
        "basis": margin.basis,
    }


def figures(reader: Reader, arguments: argparse.Namespace) -> Rows:
    """What follows from readings, by part."""
    parts = {part.id: part for part in reader.parts(arguments.controller)}
    found = [_figure(each, parts.get(each.part)) for each in reader.answers.figures(arguments.controller)]
    if arguments.format == "table":
        for row in found:
            if row["kind"] == FigureKind.LIFE_ENDS.value:  # as people read dates; programs get the seconds
                row.update({name: day(row[name]) for name in ("value", "low", "high") if row[name] is not None})
                row["unit"] = ""
    return found


def _figure(figure: Figure, part: Part | None) -> dict[str, Any]:
    return {
        "kind": figure.kind.value,
        "of": figure.of,
        "controller": figure.controller,
        "part": figure.part,
        "name": part.name if part is not None else None,
        "place": part.location.text if part is not None else figure.part,
        "location": _whole(part.location if part is not None else Location()),
        "value": figure.value,
        "low": figure.low,
        "high": figure.high,
        "unit": figure.unit,
        "time": iso(figure.time),
        "basis": figure.basis,
    }


def _whole(told: msgspec.Struct) -> dict[str, Any]:
    whole: dict[str, Any] = msgspec.to_builtins(told)
    return whole
