"""Records and columns as bytes, and back.

Whole records are JSON. Layouts are MessagePack (https://github.com/msgpack/msgpack/blob/master/spec.md) under zlib
instead: they are the bulk of a fleet's inventory, change rarely, and a limit in them may be infinite, which JSON
can't say.

Text from a controller may hold lone surrogates, which UTF-8 can't say: they are kept as U+FFFD, the character that the
Unicode Standard gives for it.
"""

from __future__ import annotations

import hashlib
import math
import zlib
from array import array
from typing import Any, TypeVar

import msgspec

from collector.model import Frame, Health, Seconds, Sensor

T = TypeVar("T")

_LATEST_TIME = 253402300799.0
"""9999-12-31T23:59:59Z, the end of what ISO 8601 and the calendars of our readers can write."""

_HEALTHS = tuple(Health)


def clean(text: str) -> str:
    """The text as UTF-8 can keep it."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return "".join("\ufffd" if "\ud800" <= character <= "\udfff" else character for character in text)
    return text


def to_json(record: object) -> str:
    """A record as JSON text."""
    try:
        return msgspec.json.encode(record).decode()
    except UnicodeEncodeError:
        return msgspec.json.encode(_clean_all(msgspec.to_builtins(record))).decode()


def from_json(text: str, kind: type[T]) -> T:
    """The record; raises ``msgspec.MsgspecError`` where the text is not one."""
    return msgspec.json.decode(text, type=kind)


def sensors_to_bytes(sensors: tuple[Sensor, ...]) -> bytes:
    """A layout's sensors, in order, not compressed yet."""
    try:
        return msgspec.msgpack.encode(sensors)
    except UnicodeEncodeError:
        return msgspec.msgpack.encode(_clean_all(msgspec.to_builtins(sensors)))


def pack(plain: bytes) -> bytes:
    """Compressed as layouts are kept."""
    return zlib.compress(plain)


def unpack_sensors(packed: bytes) -> tuple[Sensor, ...]:
    """The sensors; raises ``zlib.error`` or ``msgspec.MsgspecError`` where the bytes are not that."""
    return _SENSORS.decode(zlib.decompress(packed))


_SENSORS = msgspec.msgpack.Decoder(tuple[Sensor, ...])


def digest(text: bytes) -> bytes:
    """What tells one text from another, 16 bytes."""
    return hashlib.blake2b(text, digest_size=16).digest()


def sample_times(frame: Frame) -> tuple[Seconds, Seconds, bytes | None]:
    """Earliest and latest sample time of a frame, and its times column.

    A time that is no time (NaN, before 1970, after 9999) becomes the frame's own: the sample is real, its clock is not.
    """
    times = frame.times
    if not times:
        return frame.time, frame.time, None
    earliest, latest = min(times), max(times)
    if not (earliest >= 0.0 and latest <= _LATEST_TIME and math.isfinite(sum(times))):
        times = array("d", [time if 0.0 <= time <= _LATEST_TIME else frame.time for time in times])
        earliest, latest = min(times), max(times)
    return earliest, latest, times.tobytes()


def floats(column: bytes) -> array[float]:
    """A float64 column."""
    result = array("d")
    result.frombytes(column)
    return result


def health(code: int) -> Health:
    """The health that a byte of a healths column says; unknown for one that is none."""
    return _HEALTHS[code] if code < len(_HEALTHS) else Health.UNKNOWN


def whole_microseconds(time: Seconds) -> Seconds:
    """The time as sealed files keep it, so that a sample has one time before and after its hour is sealed."""
    return round(time * 1e6) / 1e6


def _clean_all(value: Any) -> Any:
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {_clean_all(key): _clean_all(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean_all(item) for item in value]
    return value
