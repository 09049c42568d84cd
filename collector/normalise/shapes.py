"""Types to decode into that have only what a round reads: msgspec then skips all else without making objects of it.

A shape says what is wanted of an object; :func:`decoder` turns it into a type, once per shape however many controllers
have it. What does not fit the type makes the whole body fail here and be read the careful way instead.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, cast

import msgspec
from msgspec import Struct

NUMBER, NUMBERS, TEXT, FLAG, STATE, STATUS, BOOT = "number", "numbers", "text", "flag", "state", "status", "boot"
"""Leaves of a shape. STATE is a Status object's state and health; STATUS has the rollup and conditions as well; BOOT is
a BootProgress object's LastState."""

Shape = tuple[tuple[str, Any], ...]
"""(property, leaf or shape or ``("list", shape)``), sorted by property."""


class ToldState(Struct, gc=False):
    """A Status object, its state and health alone."""

    State: str | None = None
    Health: str | None = None


class ToldCondition(Struct, gc=False):
    """An entry of Status.Conditions."""

    Severity: str | None = None
    Message: str | None = None
    MessageId: str | None = None


class ToldStatus(Struct, gc=False):
    """A Status object."""

    State: str | None = None
    Health: str | None = None
    HealthRollup: str | None = None
    Conditions: list[ToldCondition | None] | None = None


class ToldBoot(Struct, gc=False):
    """A BootProgress object."""

    LastState: str | None = None


class ToldSensor(Struct, gc=False, rename={"id": "@odata.id"}):
    """A Sensor resource: the shape that most of all readings come in, so it is written out."""

    id: str = ""
    Reading: float | None = None
    Status: ToldState | None = None
    ReadingTime: str | None = None


class ToldSensors(Struct, gc=False):
    """A collection of them, expanded."""

    Members: list[ToldSensor]


class ToldMetric(Struct, gc=False):
    """A value of a metric report; the schema has all values as strings, some services tell numbers."""

    MetricProperty: str | None = None
    MetricId: str | None = None
    MetricValue: str | float | None = None
    Timestamp: str | None = None


class ToldReport(Struct, gc=False):
    """A metric report."""

    Timestamp: str | None = None
    MetricValues: list[ToldMetric | None] | None = None


_LEAVES: Mapping[str, Any] = {
    NUMBER: float | None,
    NUMBERS: list[float | None] | None,
    TEXT: str | None,
    FLAG: bool | None,
    STATE: ToldState | None,
    STATUS: ToldStatus | None,
    BOOT: ToldBoot | None,
}

decode_sensor: Callable[[bytes], ToldSensor] = msgspec.json.Decoder(ToldSensor).decode
decode_report: Callable[[bytes], ToldReport] = msgspec.json.Decoder(ToldReport).decode
decode_sensors: Callable[[bytes], ToldSensors] = msgspec.json.Decoder(ToldSensors).decode


_Decoders = tuple[Callable[[bytes], ToldSensor], Callable[[bytes], ToldSensors]]


@lru_cache(maxsize=256)
def sensor_decoders(beside: tuple[str, ...]) -> _Decoders:
    """How to decode a Sensor, and an expanded collection of them, with further numbers beside the reading."""
    if not beside:
        return decode_sensor, decode_sensors
    fields = [(attribute(name), float | None, None) for name in beside]
    names = {attribute(name): name for name in beside} | {"id": "@odata.id"}
    one = msgspec.defstruct("ToldMore", fields, bases=(ToldSensor,), rename=names, gc=False)
    many = msgspec.defstruct("ToldMoreSensors", [("Members", list[one])], gc=False)  # type: ignore[valid-type]
    # Types made at run time, of which a type checker can't know that they extend those above.
    return cast("_Decoders", (msgspec.json.Decoder(one).decode, msgspec.json.Decoder(many).decode))


UNFIT = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
"""What decoding raises for a body that does not fit."""


def attribute(name: str) -> str:
    """The attribute under which a decoded object has a property."""
    return "at_" + re.sub(r"\W", lambda found: f"_{ord(found.group()):x}_", name)


@lru_cache(maxsize=4096)
def decoder(shape: Shape) -> Callable[[bytes], Any]:
    """Decodes a body into an object with the attributes of a shape; raises one of :data:`UNFIT`."""
    return msgspec.json.Decoder(_type_of(shape)).decode


@lru_cache(maxsize=4096)
def _type_of(shape: Shape) -> type[Struct]:
    fields = []
    for name, wanted in shape:
        if isinstance(wanted, str):
            type_: Any = _LEAVES[wanted]
        elif wanted[0] == "list":
            type_ = list[_type_of(wanted[1]) | None] | None  # type: ignore[misc]
        else:
            type_ = _type_of(wanted) | None
        fields.append((attribute(name), type_, None))
    names = {attribute(name): name for name, _ in shape}
    return msgspec.defstruct("Told", fields, rename=names, gc=False)
