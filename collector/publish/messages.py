"""What the MQTT messages hold: JSON objects, times ISO 8601 in UTC, health in the standard's words.

One message a controller a round carries all its readings, by part and sensor, so that a fleet's traffic grows with its
controllers and not with its sensors; what the readings mean (quantity, unit, thresholds) is told once, under
``sensors``.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

import msgspec

from collector.model import (
    Condition,
    Contact,
    Event,
    Figure,
    Health,
    Layout,
    Location,
    Margin,
    Mark,
    Outcome,
    Part,
    Seconds,
    Suspect,
    Trouble,
    WorkOrder,
)
from collector.store.live import LiveController
from collector.text import plain


def iso(time: Seconds) -> str:
    """ISO 8601 in UTC to the millisecond."""
    return datetime.fromtimestamp(time, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def encode(body: object) -> bytes:
    """JSON; what is no number becomes null, lone surrogates (which UTF-8 can't hold) the replacement character."""
    try:
        return msgspec.json.encode(body)
    except UnicodeEncodeError:
        return msgspec.json.encode(_mended(body))


def collector_state(online: bool, *, complete: bool = False, since: Seconds | None = None, version: str = "") -> bytes:
    """Whether a collector is there; ``complete`` once all retained state was told since it connected."""
    if not online:
        return encode({"state": "offline"})
    return encode(
        {"state": "online", "complete": complete, "since": None if since is None else iso(since), "version": version}
    )


def controller_state(known: LiveController, told_by: str) -> bytes:
    """How a controller's telemetry does; nothing in it that changes with every good round."""
    tally, walked = known.tally, known.inventory
    return encode(
        {
            "controller": known.name,
            "up": None if tally.outcome is None else tally.outcome in (Outcome.OK, Outcome.PARTIAL),
            "outcome": None if tally.outcome is None else tally.outcome.value,
            "error": plain(tally.error, 500),
            "url": known.url,
            "certificate_unverified": known.insecure,
            "location": _location(known.location),
            "product": None if walked is None or walked.product is None else plain(walked.product),
            "redfish_version": None
            if walked is None or walked.redfish_version is None
            else plain(walked.redfish_version),
            "defects": len(known.defects),
            "contact": None if known.contact is None else _contact(known.contact),
            "told_by": told_by,
        }
    )


def _contact(told: Contact) -> dict[str, Any]:
    """Nothing in it changes with every good round."""
    return {
        "login": told.login.value,
        "session_since": _time(told.session_since),
        "session_table_full": told.session_table_full,
        "login_refusals": told.refusals,
        "next_login": _time(told.next_login),
        "certificate": told.fingerprint,
        "certificate_expires": _time(told.expires),
        "clock_offset": told.clock_offset,
        "events": told.events.value,
        "events_since": _time(told.events_since),
    }


def _time(time: Seconds | None) -> str | None:
    return None if time is None else iso(time)


def told_by(payload: bytes) -> str:
    """The collector that told a controller's state, from its message; "" where it doesn't say."""
    try:
        return msgspec.json.decode(payload, type=_ToldBy).told_by
    except msgspec.MsgspecError:
        return ""


class _ToldBy(msgspec.Struct):
    told_by: str = ""


def sensors(layout: Layout) -> bytes:
    """What a controller's readings mean."""
    return encode(
        {
            "controller": layout.controller,
            "sensors": [
                {
                    "part": sensor.part,
                    "kind": sensor.kind.value,
                    "sensor": sensor.sensor,
                    "quantity": sensor.quantity.value,
                    "unit": sensor.unit,
                    "source": sensor.source,
                    "also_at": sensor.also_at,
                    "thresholds": sensor.thresholds,
                }
                for sensor in layout.sensors
            ],
        }
    )


def readings(known: LiveController) -> bytes | None:
    """A controller's newest readings by part and sensor, null where it tells no value; None before the first.

    ``health`` holds the sensors that are reported worse than OK.
    """
    layout, frame = known.layout, known.frame
    if layout is None or frame is None:
        return None
    values: dict[str, dict[str, float | None]] = {}
    health: dict[str, dict[str, str]] = {}
    for sensor, value, own in zip(layout.sensors, frame.values, frame.healths, strict=True):
        values.setdefault(sensor.part, {})[sensor.sensor] = value
        if own >= Health.WARNING:
            health.setdefault(sensor.part, {})[sensor.sensor] = Health(own).word
    return encode({"controller": known.name, "time": iso(frame.time), "readings": values, "health": health})


def part(known: LiveController, told: Part) -> bytes:
    """A part: what and where it is, what is reported of it, what it comes to, and the lamps of its front."""
    body: dict[str, Any] = {
        "controller": told.controller,
        "part": told.id,
        "kind": told.kind.value,
        "name": plain(told.name),
        "parent": told.parent,
        "location": _location(told.location),
        "identity": told.identity,
    }
    if (status := known.statuses.get(told.id)) is not None:
        body["reported"] = {
            "state": status.state.value,
            "health": status.health.word,
            "health_rollup": status.health_rollup.word,
            "power": status.power.value,
            "locating": status.locate,
            "indicator_led": None if status.led is None else status.led.value,
            "failure_predicted": status.failure_predicted,
            "reasons": [plain(reason) for reason in status.reasons],
        }
    if (rolled := known.rolled.get(told.id)) is not None:
        body["health"] = rolled.own.word
        body["worst_health"] = rolled.worst.word
        body["at_risk_through"] = rolled.at_risk_through
        body["open_conditions"] = rolled.open_conditions
    if (lamps := known.lamps.get(told.id)) is not None:
        body["lamps"] = {"blue": lamps.blue.value, "amber": lamps.amber.value}
    return encode(body)


def condition(told: Condition) -> bytes:
    """An open condition with its evidence."""
    return encode(
        {
            "id": told.id,
            "controller": told.controller,
            "part": told.part,
            "sensor": told.sensor,
            "subject": told.subject.value,
            "severity": told.severity.word,
            "text": plain(told.text, 500),
            "opened": iso(told.opened),
            "changed": iso(told.changed),
            "evidence": [
                {
                    "time": iso(each.time),
                    "text": plain(each.text, 500),
                    "source": each.source,
                    "value": each.value,
                    "unit": each.unit,
                    "limit": each.limit,
                    "threshold": each.threshold,
                }
                for each in told.evidence
            ],
            "cause": told.cause,
            "raised": told.raised,
            "announced": told.announced,
            "acknowledged": _mark(told.acknowledged),
            "shelved": _mark(told.shelved),
            "maintenance": _mark(told.maintenance),
        }
    )


def trouble(told: Trouble) -> bytes:
    """An open trouble: who may have failed, how surely, what speaks for it, what to look at next."""
    return encode(
        {
            "id": told.id,
            "severity": told.severity.word,
            "opened": iso(told.opened),
            "changed": iso(told.changed),
            "shown_by": told.controllers,
            "suspects": [_suspect(each) for each in told.suspects],
            "in_group": told.group,
            "also": told.also,
            "conditions": told.conditions,
            "signs": _sentences(told.signs),
            "unexplained": told.unexplained,
            "next_look": plain(told.next_look, 500),
            "weaker": _sentences(told.weaker),
        }
    )


def _suspect(told: Suspect) -> dict[str, Any]:
    return {
        "part": told.part,
        "controller": told.controller,
        "kind": told.kind.value,
        "name": plain(told.name),
        "location": _location(told.location),
        "identity": told.identity,
        "fault": told.fault,
        "probability": told.probability,
        "remedy": told.remedy,
        "speaks_for": _sentences(told.speaks_for),
        "speaks_against": _sentences(told.speaks_against),
    }


def order(told: WorkOrder) -> bytes:
    """An open work order."""
    return encode(
        {
            "id": told.id,
            "trouble": told.trouble,
            "urgency": told.urgency.value,
            "state": told.state.value,
            "by": None if told.handling is None else plain(told.handling.who),
            "since": None if told.handling is None else iso(told.handling.since),
            "serial_note": "" if told.handling is None else plain(told.handling.serial_note, 500),
            "bundle": plain(told.bundle),
            "part": told.part,
            "controller": told.controller,
            "kind": told.kind.value,
            "name": plain(told.name),
            "location": _location(told.location),
            "identity": told.identity,
            "opened": iso(told.opened),
            "changed": iso(told.changed),
            "task": plain(told.task, 500),
            "reason": plain(told.reason, 500),
            "lamps": None if told.lamp is None else {"blue": told.lamp.blue.value, "amber": told.lamp.amber.value},
            "lamp_text": plain(told.lamp_text, 500),
            "takes_down": [
                {"part": each.part, "kind": each.kind.value, "name": plain(each.name)} for each in told.takes_down
            ],
            "running": told.running,
            "first": _sentences(told.first),
            "cautions": _sentences(told.cautions),
            "otherwise": told.otherwise,
        }
    )


def figures(controller: str, told: Iterable[Figure]) -> bytes:
    """What follows from a controller's readings, with bounds where these are worked out."""
    return encode(
        {
            "controller": controller,
            "figures": [
                {
                    "part": each.part,
                    "kind": each.kind.value,
                    "of": plain(each.of),
                    "time": iso(each.time),
                    "value": each.value,
                    "low": each.low,
                    "high": each.high,
                    "unit": each.unit,
                    "basis": plain(each.basis, 500),
                }
                for each in told
            ],
        }
    )


def margins(controller: str, told: Iterable[Margin]) -> bytes:
    """What is left at a controller's parts; ``left`` in K where ``unit`` is Cel."""
    return encode(
        {
            "controller": controller,
            "margins": [
                {
                    "part": each.part,
                    "kind": each.kind.value,
                    "time": iso(each.time),
                    "value": each.value,
                    "limit": each.limit,
                    "left": each.left,
                    "unit": each.unit,
                    "watts": each.watts,
                    "sensor": each.sensor,
                    "basis": plain(each.basis, 500),
                }
                for each in told
            ],
        }
    )


def _sentences(told: Iterable[str]) -> list[str]:
    return [plain(each, 500) for each in told]


def _mark(mark: Mark | None) -> dict[str, Any] | None:
    if mark is None:
        return None
    until = None if mark.until is None else iso(mark.until)
    return {"who": plain(mark.who, 300), "why": plain(mark.why, 300), "since": iso(mark.since), "until": until}


def event(told: Event) -> bytes:
    """Something that happened."""
    return encode(
        {
            "time": iso(told.time),
            "controller": told.controller,
            "part": told.part,
            "subject": told.subject,
            "severity": told.severity.word,
            "text": plain(told.text, 500),
        }
    )


def _location(at: Location) -> dict[str, Any]:
    told: dict[str, Any] = msgspec.to_builtins(at)
    return told


def _mended(body: Any) -> Any:
    match body:
        case str():
            return body.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
        case dict():
            return {_mended(key): _mended(value) for key, value in body.items()}
        case msgspec.Struct():
            return _mended(msgspec.to_builtins(body))
        case Iterable():
            return [_mended(each) for each in body]
        case _:
            return body
