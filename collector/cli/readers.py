"""Rows from the store: ``sledkeeper readings``, ``parts``, ``conditions`` and the other commands that read."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from typing import Any

import msgspec

from collector.assess.folding import Folded, folded
from collector.cli import answer_readers as answers
from collector.cli.output import FORMATS, iso, rows
from collector.cli.places import add_state, state_of
from collector.model import Condition, Contact, Health, Location, Mark, Part, Thresholds
from collector.store.reader import Reader

Rows = list[dict[str, Any]]


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the commands."""
    for name, (summary, _, _) in _COMMANDS.items():
        parser = commands.add_parser(name, help=summary, description=summary)
        add_state(parser)
        parser.add_argument("--format", choices=FORMATS, default="table", help="default: %(default)s")
        parser.add_argument("--controller", metavar="NAME", help="only this controller")
        if name == "conditions":
            parser.add_argument("--all", action="store_true", help="what follows from others, and closed ones, too")
        parser.set_defaults(run=run, reader=name)


def run(arguments: argparse.Namespace) -> int:
    """Print one kind of rows; 0 whenever the store could be read."""
    _, columns, build = _COMMANDS[arguments.reader]
    rows(build(Reader(state_of(arguments)), arguments), columns, arguments.format)
    return 0


def _places(parts: list[Part]) -> dict[str, Part]:
    return {part.id: part for part in parts}


def _readings(reader: Reader, arguments: argparse.Namespace) -> Rows:
    parts = _places(reader.parts(arguments.controller))
    found: Rows = []
    for reading in reader.readings(arguments.controller):
        sensor = reading.sensor
        part = parts.get(sensor.part)
        found.append(
            {
                "controller": sensor.controller,
                "part": sensor.part,
                "kind": sensor.kind.value,
                "location": _location(part),
                "sensor": sensor.sensor,
                "quantity": sensor.quantity.value,
                "unit": sensor.unit,
                "value": _number(reading.value),
                "health": reading.health.word,
                "time": iso(reading.time),
                "thresholds": _thresholds(sensor.thresholds),
                "source": sensor.source,
                "also_at": list(sensor.also_at),
            }
        )
    return found


def _number(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else value


def _location(part: Part | None) -> dict[str, Any]:
    location = part.location if part is not None else Location()
    told: dict[str, Any] = msgspec.to_builtins(location)
    return told


def _thresholds(thresholds: Thresholds) -> dict[str, Any]:
    told: dict[str, Any] = msgspec.to_builtins(thresholds)
    return told


def _place_text(part: Part | None) -> str:
    return part.location.text if part is not None else ""


def _parts(reader: Reader, arguments: argparse.Namespace) -> Rows:
    statuses = reader.statuses(arguments.controller)
    rolled = reader.rolled(arguments.controller)
    found: Rows = []
    for part in reader.parts(arguments.controller):
        status, roll = statuses.get(part.id), rolled.get(part.id)
        found.append(
            {
                "controller": part.controller,
                "part": part.id,
                "kind": part.kind.value,
                "name": part.name,
                "location": _location(part),
                "place": part.location.text,
                "parent": part.parent,
                "health": (roll.own if roll else status.health if status else Health.UNKNOWN).word,
                "worst": (roll.worst if roll else Health.UNKNOWN).word,
                "at_risk_through": list(roll.at_risk_through) if roll else [],
                "state": status.state.value if status else "unknown",
                "power": status.power.value if status else "unknown",
                "identity": msgspec.to_builtins(part.identity),
                "source": part.uri,
            }
        )
    return found


def _indicators(reader: Reader, arguments: argparse.Namespace) -> Rows:
    parts = _places(reader.parts(arguments.controller))
    statuses, lamps = reader.statuses(arguments.controller), reader.lamps(arguments.controller)
    found: Rows = []
    for part_id in [part for part in parts if part in lamps or _told_lamp(statuses.get(part))]:
        part, status, lamp = parts[part_id], statuses.get(part_id), lamps.get(part_id)
        found.append(
            {
                "controller": part.controller,
                "part": part_id,
                "kind": part.kind.value,
                "name": part.name,
                "location": _location(part),
                "place": part.location.text,
                "blue": lamp.blue.value if lamp else None,
                "amber": lamp.amber.value if lamp else None,
                "locate": status.locate if status else None,
                "led": status.led.value if status and status.led else None,
            }
        )
    return found


def _told_lamp(status: Any) -> bool:
    return status is not None and (status.locate is not None or status.led is not None)


def _conditions(reader: Reader, arguments: argparse.Namespace) -> Rows:
    parts = _places(reader.parts(arguments.controller))
    # Of all controllers: what follows from another's trouble is folded under that, wherever it is.
    wanted = [each for each in folded(reader.conditions()) if _concerns(each, arguments.controller)]
    if not arguments.all:
        return [_condition(each.condition, parts, each) for each in wanted]
    rows: Rows = []
    for each in wanted:
        rows.append(_condition(each.condition, parts, each))
        rows += [_condition(consequence, parts) for consequence in each.consequences]
    closed = reader.conditions(open_only=False, controller=arguments.controller)
    return rows + [_condition(condition, parts) for condition in closed if condition.closed is not None]


def _concerns(each: Folded, controller: str | None) -> bool:
    return controller is None or any(one.controller == controller for one in (each.condition, *each.consequences))


def _condition(condition: Condition, parts: dict[str, Part], cause: Folded | None = None) -> dict[str, Any]:
    part = parts.get(condition.part) if condition.part else None
    return {
        "severity": condition.severity.word,
        "controller": condition.controller,
        "part": condition.part,
        "kind": part.kind.value if part else None,
        "name": part.name if part else None,
        "location": _location(part),
        "place": _place_text(part),
        "sensor": condition.sensor,
        "subject": condition.subject.value,
        "text": condition.text,
        "also": len(cause.consequences) if cause is not None and cause.consequences else None,
        "care": ", ".join(_care_words(condition)) or None,
        "opened": iso(condition.opened),
        "closed": iso(condition.closed),
        "evidence": [{**msgspec.to_builtins(item), "time": iso(item.time)} for item in condition.evidence],
        "id": condition.id,
        "cause": condition.cause,
        "worst": (condition.severity if cause is None else cause.worst).word,
        "raised": condition.raised,
        "announced": condition.announced,
        "acknowledged": _mark(condition.acknowledged),
        "shelved": _mark(condition.shelved),
        "maintenance": _mark(condition.maintenance),
    }


def _mark(mark: Mark | None) -> dict[str, Any] | None:
    if mark is None:
        return None
    return {"who": mark.who, "why": mark.why, "since": iso(mark.since), "until": iso(mark.until)}


def _care_words(condition: Condition) -> list[str]:
    """What people did about it, in few words."""
    words = []
    if condition.acknowledged is not None:
        words.append(f"acknowledged by {condition.acknowledged.who}")
    if condition.shelved is not None:
        words.append(f"shelved by {condition.shelved.who} until {iso(condition.shelved.until)}")
    if condition.maintenance is not None:
        words.append(f"in maintenance until {iso(condition.maintenance.until)}")
    return words


def _settings(reader: Reader, arguments: argparse.Namespace) -> Rows:
    parts = _places(reader.parts(arguments.controller))
    found: Rows = []
    for setting in reader.settings(arguments.controller):
        part = parts.get(setting.part)
        found.append(
            {
                "controller": setting.controller,
                "part": setting.part,
                "kind": part.kind.value if part else None,
                "part_name": part.name if part else None,
                "location": _location(part),
                "place": _place_text(part),
                "setting": setting.kind.value,
                "name": setting.name,
                "quantity": setting.quantity.value,
                "unit": setting.unit,
                "value": setting.value,
                "low": setting.low,
                "high": setting.high,
                "lowest": setting.lowest,
                "highest": setting.highest,
                "dead_band": setting.dead_band,
                "mode": setting.mode,
                "source": setting.source,
                "also_at": list(setting.also_at),
            }
        )
    return found


def _events(reader: Reader, arguments: argparse.Namespace) -> Rows:
    return [
        {
            "time": iso(event.time),
            "severity": event.severity.word,
            "controller": event.controller,
            "part": event.part,
            "subject": event.subject,
            "text": event.text,
        }
        for event in reader.events(controller=arguments.controller)
    ]


def _defects(reader: Reader, arguments: argparse.Namespace) -> Rows:
    return [
        {
            "controller": defect.controller,
            "kind": defect.kind.value,
            "resource": defect.resource,
            "property": defect.property,
            "detail": defect.detail,
        }
        for defect in reader.defects(arguments.controller)
    ]


def _controllers(reader: Reader, arguments: argparse.Namespace) -> Rows:
    return [
        {
            "controller": state.controller,
            "url": state.url,
            "location": msgspec.to_builtins(state.location),
            "place": state.location.text,
            "outcome": state.outcome.value if state.outcome else None,
            "error": state.error,
            "last_round": iso(state.last_round),
            "last_good": iso(state.last_good),
            "round_seconds": state.round_seconds,
            "rounds": state.rounds,
            "failed_rounds": state.failed_rounds,
            "late_rounds": state.late_rounds,
            "requests": state.requests,
            "bytes_received": state.bytes_received,
            "defects": state.defects,
            "product": state.product,
            "redfish_version": state.redfish_version,
            "insecure": state.insecure,
            **_contact(state.contact or Contact()),
        }
        for state in reader.controllers()
        if arguments.controller in (None, state.controller)
    ]


def _contact(contact: Contact) -> dict[str, Any]:
    return {
        "login": contact.login.value,
        "session_since": iso(contact.session_since),
        "session_table_full": contact.session_table_full,
        "login_refusals": contact.refusals,
        "next_login": iso(contact.next_login),
        "certificate": contact.fingerprint,
        "certificate_expires": iso(contact.expires),
        "clock_offset": contact.clock_offset,
        "events": contact.events.value,
        "events_since": iso(contact.events_since),
        "subscription": contact.subscription,
    }


_COMMANDS: dict[str, tuple[str, tuple[str, ...], Callable[[Reader, argparse.Namespace], Rows]]] = {
    "readings": (
        "newest reading of every sensor",
        ("controller", "kind", "sensor", "quantity", "value", "unit", "health", "time"),
        _readings,
    ),
    "parts": ("every part with its place and health", ("place", "kind", "name", "health", "worst", "power"), _parts),
    "indicators": (
        "front lamps as they should show, and what the controllers report",
        ("place", "kind", "name", "blue", "amber", "locate", "led"),
        _indicators,
    ),
    "conditions": (
        "what is wrong, worst first; what follows from it as a number",
        ("severity", "place", "name", "text", "also", "care", "opened", "closed"),
        _conditions,
    ),
    "suspects": (
        "which parts may explain what is wrong, how surely, and why",
        answers.SUSPECT_COLUMNS,
        answers.suspects,
    ),
    "orders": ("what hands are needed for: where, which part, which lamp", answers.ORDER_COLUMNS, answers.orders),
    "margins": ("how much heat, air and power is left, least first", answers.MARGIN_COLUMNS, answers.margins),
    "figures": ("what follows from readings: air, power, what was drawn", answers.FIGURE_COLUMNS, answers.figures),
    "settings": (
        "what parts are told to keep to, granted and rated for",
        ("place", "part_name", "setting", "name", "value", "low", "high", "unit", "lowest", "highest", "mode"),
        _settings,
    ),
    "events": ("what happened, newest first", ("time", "severity", "controller", "subject", "text"), _events),
    "defects": (
        "what controllers offer that can't be read as the standard means it",
        ("controller", "kind", "resource", "property", "detail"),
        _defects,
    ),
    "controllers": (
        "how each controller's telemetry is doing",
        (
            *("controller", "outcome", "last_good", "round_seconds", "requests", "defects"),
            *("login", "events", "clock_offset", "certificate_expires", "error"),
        ),
        _controllers,
    ),
}
