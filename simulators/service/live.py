"""Holes of a sled's bodies: each a function from what the controller sees now to JSON text.

Parts are named below their sled (``blade2/drive0``; empty for the sled itself), so that one body serves all sleds of a
design.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid5

import msgspec

from simulators.items import Item
from simulators.service.template import Live, Maybe
from simulators.site import Equipment, Part, PartKind
from simulators.telemetry import SEVERITY, Health, PartPoint, SensorPoint, SledTelemetry

_encode = msgspec.json.encode
LOST_INPUT = 10.0
"""V at a power supply's input below which it says that it has none; common practice, no source."""
_SPACE = UUID("6f0d3c52-6a55-5b0e-9f0c-3a4f5c0e7d21")
"""Namespace of the invented UUIDs (RFC 4122, name-based)."""


def iso(seconds: float) -> str:
    """Epoch seconds as DSP0266 writes dates: UTC, with milliseconds."""
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@dataclass(slots=True)
class Moment:
    """What fills the holes: one sled's telemetry at one time."""

    sled: Equipment
    telemetry: SledTelemetry
    acquired: bytes
    """JSON text of the time at which the values were acquired, on the real clock."""
    since: dict[tuple[str, str], float]
    """When the controller first noticed each (part path, reason), epoch seconds on the real clock."""
    now: float
    """Epoch seconds of the request."""
    before: Moment | None = None
    """The same a little earlier, where the service has bodies that lag."""
    booted: float | None = None
    """When the controller was last started, epoch seconds by its own clock."""
    settings: Mapping[tuple[str, str], Any] = field(default_factory=dict)
    """What clients have written, by path and property (see :mod:`simulators.service.settings`)."""

    def part(self, path: str) -> PartPoint:
        """A part of this sled; empty path: the sled itself."""
        return self.telemetry.parts[full(self.sled, path)]

    def sensor(self, id_: str) -> SensorPoint:
        """A sensor of this sled."""
        return self.telemetry.sensors[id_]


Hole = Live[Moment]


def earlier(body: Any) -> Any:
    """A body whose holes are filled with what was so a little earlier, as from a table that is refreshed less often."""
    if isinstance(body, Live):
        fill = body.fill
        return type(body)(lambda now: fill(now.before or now))
    if isinstance(body, dict):
        return {key: earlier(value) for key, value in body.items()}
    return [earlier(value) for value in body] if isinstance(body, list) else body


def full(sled: Equipment, path: str) -> str:
    """The path of a part on its site."""
    return f"{sled.name}/{path}" if path else sled.name


def number(value: float | None) -> bytes:
    """A JSON number; null for none."""
    return b"null" if value is None else repr(value).encode()


_WORDS: dict[str | None, bytes] = {None: b"null"}


def _word(text: str | None) -> bytes:
    """A JSON string; null for none. Only for the few words of an enumeration: they are kept."""
    made = _WORDS.get(text)
    if made is None:
        made = _WORDS[text] = _encode(text)
    return made


def reading(sensor: str, scale: Callable[[float], float] | None = None) -> Hole:
    """A sensor's value in its own unit, or scaled."""

    def fill(now: Moment) -> bytes:
        value = now.telemetry.sensors[sensor].value
        return number(value if scale is None or value is None else scale(value))

    return Live(fill)


def acquired() -> Hole:
    """When the values were acquired."""
    return Live(lambda now: now.acquired)


def clock() -> Hole:
    """The controller's own clock: the time of the request, to the second."""
    return Live(lambda now: _encode(iso(now.now // 1)))


_STATUSES: dict[tuple[str, str], bytes] = {}


def sensor_status(sensor: str) -> Hole:
    """Status of a sensor: State and Health."""

    def fill(now: Moment) -> bytes:
        point = now.telemetry.sensors[sensor]
        key = (point.state, point.health)
        made = _STATUSES.get(key)
        if made is None:
            made = _STATUSES[key] = _encode({"State": point.state, "Health": point.health})
        return made

    return Live(fill)


_PART_STATUSES: dict[tuple[str, str, str | None], bytes] = {}


def status(part: str, *, rollup: bool = True, conditions: bool = False) -> Hole:
    """Status of a part: State, Health, with ``rollup`` HealthRollup, with ``conditions`` the reasons."""

    def fill(now: Moment) -> bytes:
        point = now.part(part)
        if conditions and point.reasons:
            return _encode(_with_conditions(now, point))
        key = (point.state, point.health, point.rollup if rollup else None)
        made = _PART_STATUSES.get(key)
        if made is None:
            body = {"State": point.state, "Health": point.health}
            made = _PART_STATUSES[key] = _encode({**body, "HealthRollup": point.rollup} if rollup else body)
        return made

    return Live(fill)


def group_status(parts: tuple[str, ...]) -> Hole:
    """Status of a redundancy group: with one member lost it still works, with two it does not."""

    def fill(now: Moment) -> bytes:
        bad = sum(now.part(part).health != "OK" for part in parts)
        health: Health = "OK" if bad == 0 else "Warning" if bad == 1 else "Critical"
        return _encode({"State": "Enabled", "Health": health})

    return Live(fill)


def rollup_status(parts: tuple[str, ...]) -> Hole:
    """Status of a subsystem that is nothing but its parts: their trouble is its rollup, not its own."""

    def fill(now: Moment) -> bytes:
        worst = max((now.part(part).rollup for part in parts), key=SEVERITY.__getitem__)
        return _encode({"State": "Enabled", "Health": "OK", "HealthRollup": worst})

    return Live(fill)


_MESSAGES = {
    (PartKind.FAN, "Critical"): "Environmental.1.4.FanFailed",
    (PartKind.FAN, "Warning"): "Environmental.1.4.FanWarning",
    (PartKind.POWER_SUPPLY, "Critical"): "Power.1.2.PowerSupplyFailed",
    (PartKind.POWER_SUPPLY, "Warning"): "Power.1.2.PowerSupplyWarning",
}
"""The standard registries' words for a part in trouble (DSP8011); all take the part's name as their one argument."""


def _message(part: Part, point: PartPoint, severity: str, reason: str) -> str:
    if point.failure_predicted and "threshold" not in reason:
        return "StorageDevice.1.5.DrivePredictiveFailure"
    return _MESSAGES.get((part.kind, severity), "Base.1.22.UndeterminedFault")


def _with_conditions(now: Moment, point: PartPoint) -> dict[str, Any]:
    part = now.sled.parts[point.path]
    severity = point.health if point.health != "OK" else "Warning"
    told = [
        {
            "MessageId": _message(part, point, severity, reason),
            "MessageArgs": [part.label],
            "Message": reason,
            "Severity": severity,
            "Timestamp": iso(now.since.get((point.path, reason), now.now)),
        }
        for reason in point.reasons
    ]
    return {"State": point.state, "Health": point.health, "HealthRollup": point.rollup, "Conditions": told}


def power_state(part: str) -> Hole:
    """On, Off, …; null where the part has none."""
    return Live(lambda now: _word(now.part(part).power_state))


def locate(part: str) -> Hole:
    """LocationIndicatorActive; null where the part has no lamp."""
    words: dict[bool | None, bytes] = {True: b"true", False: b"false", None: b"null"}
    return Live(lambda now: words[now.part(part).locate])


def led(part: str) -> Hole:
    """IndicatorLED as older services tell it: blinking while the lamp is asked for."""
    words: dict[bool | None, bytes] = {True: b'"Blinking"', False: b'"Off"', None: b"null"}
    return Live(lambda now: words[now.part(part).locate])


def failure_predicted(part: str) -> Hole:
    """A drive's FailurePredicted."""
    words: dict[bool | None, bytes] = {True: b"true", False: b"false", None: b"null"}
    return Live(lambda now: words[now.part(part).failure_predicted])


def detector_state(part: str) -> Hole:
    """A leak detector's DetectorState: its health, in the same words."""
    return Live(lambda now: _word(now.part(part).health if now.part(part).state == "Enabled" else "Unavailable"))


def line_input(part: str) -> Hole:
    """A power supply's LineInputStatus, by what it has at its input."""

    def fill(now: Moment) -> bytes:
        volts = now.part(part).metrics.get("input_volts")
        return b"null" if volts is None else b'"LossOfInput"' if volts < LOST_INPUT else b'"Normal"'

    return Live(fill)


def metric(part: str, name: str, scale: float = 1.0) -> Hole:
    """One of a part's further values, scaled; null where it is not told."""

    def fill(now: Moment) -> bytes:
        value = now.part(part).metrics.get(name)
        return number(value if value is None or scale == 1.0 else round(value * scale, 4))

    return Live(fill)


def link_status(port: str, up: bytes = b'"LinkUp"', down: bytes = b'"LinkDown"') -> Hole:
    """Whether a port has link; ``up`` and ``down``: how the schema says so."""
    return Live(lambda now: up if now.telemetry.ports[full(now.sled, port)].up else down)


def link_speed(port: str, speed: int) -> Hole:
    """The speed of a link; nought without one."""
    text = b"%d" % speed
    return Live(lambda now: text if now.telemetry.ports[full(now.sled, port)].up else b"0")


def heard(port: str) -> Maybe[Moment]:
    """Ethernet properties of a port: what it hears by LLDP; left out where it hears nothing."""

    def fill(now: Moment) -> bytes:
        found = now.telemetry.ports[full(now.sled, port)].neighbour
        if found is None:
            return b""
        told = {
            "ChassisId": found.chassis,
            "ChassisIdSubtype": "MacAddr",
            "PortId": ":".join(f"{octet:02X}" for octet in found.port.encode()),  # the schema has octets
            "PortIdSubtype": "LocalAssign",
            "SystemName": found.system,
        }
        return _encode({"LLDPEnabled": True, "LLDPReceive": told})

    return Maybe(fill)


def board(part: str, what: Item, member: str) -> Hole:
    """``model`` or ``part_number`` of what stands there: the design's, or another's."""
    usual = _encode(getattr(what, member))

    def fill(now: Moment) -> bytes:
        stranger = now.part(part).board
        return usual if stranger is None else _encode(getattr(stranger, member))

    return Live(fill)


def count(part: str, name: str) -> Hole:
    """One of a part's counters, a whole number; null where it is not told."""

    def fill(now: Moment) -> bytes:
        value = now.part(part).metrics.get(name)
        return b"null" if value is None else b"%d" % int(value)

    return Live(fill)


def flag(part: str, name: str) -> Hole:
    """Whether one of a part's counters is above nought."""
    return Live(lambda now: b"true" if now.part(part).metrics.get(name) else b"false")


def booted() -> Maybe[Moment]:
    """When the controller was last started; left out where that isn't known."""
    return Maybe(lambda now: b"" if now.booted is None else _encode(iso(now.booted // 1)))


def firmware(part: str) -> Maybe[Moment]:
    """The version that the part runs; the member is left out while that can't be read, as most schemas ask."""

    def fill(now: Moment) -> bytes:
        version = now.part(part).firmware
        return b"" if version is None else _encode(version)

    return Maybe(fill)


def serial(part: str) -> Hole:
    """Serial number of the part that is there now; null where there is none."""

    def fill(now: Moment) -> bytes:
        point = now.part(part)
        if point.state == "Absent":
            return b"null"
        return _encode(point.replacement or now.sled.parts[point.path].serial)

    return Live(fill)


def uuid(name: str) -> Hole:
    """A UUID of this sled's own for the thing of that name; another one when that was swapped."""

    def fill(now: Moment) -> bytes:
        own = full(now.sled, name)
        point = now.telemetry.parts.get(own)
        swapped = "" if point is None or point.replacement is None else f" {point.replacement}"
        return _encode(str(uuid5(_SPACE, own + swapped)))

    return Live(fill)


def sled_label(after: str = "") -> Hole:
    """The sled's own label, and what stands after it."""
    return Live(lambda now: _encode(now.sled.label + after))


def sled_ordinal() -> Hole:
    """The sled's position in its enclosure, from 0."""
    return Live(lambda now: b"%d" % (now.sled.number - 1))
