"""Looking into decoded JSON that may be anything: each of these takes what comes and says None rather than fail."""

from __future__ import annotations

import math
import sys
from typing import Any

from collector.redfish import links
from collector.text import plain

Body = dict[str, Any]
_NOTHING: Body = {}


def record(value: object) -> Body:
    """The object, or an empty one where something else stands."""
    return value if isinstance(value, dict) else _NOTHING


def location(body: Body) -> Body:
    """A resource's Location; PhysicalLocation is what Drive calls it, where Location is a deprecated array."""
    return record(body.get("PhysicalLocation")) or record(body.get("Location"))


def rows(value: object) -> list[Any]:
    """The array, or an empty one where something else stands."""
    return value if isinstance(value, list) else []


def text(value: object, limit: int = 200) -> str | None:
    """Told text without outer blanks, safe to show; None for anything else and for blanks alone."""
    if not isinstance(value, str):
        return None
    stripped = plain(value.strip(), limit)
    return sys.intern(stripped) if stripped else None


def finite(value: object) -> float | None:
    """A JSON number as float; None for anything else, for booleans, and for what no float can hold."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def shortest(number: float) -> float | int:
    """An integral number without its ``.0``, for texts."""
    return int(number) if number.is_integer() and abs(number) < 1e15 else number


def resource_type(body: Body) -> str:
    """``Chassis`` for ``#Chassis.v1_28_0.Chassis``; "" where no type is told."""
    told = body.get("@odata.type")
    return told.lstrip("#").partition(".")[0] if isinstance(told, str) else ""


def link(value: object) -> str | None:
    """The place that a link object names: the resource's key, with ``#`` and the JSON pointer where it has one."""
    told = value.get("@odata.id") if isinstance(value, dict) else None
    return place(told) if isinstance(told, str) and told else None


def link_list(value: object) -> list[str]:
    """The places that an array of link objects names; one object alone is taken as an array of one."""
    found = [link(item) for item in (value if isinstance(value, list) else [value])]
    return [item for item in found if item is not None]


def place(told: str) -> str:
    """A told path, with or without fragment, as we write places. A URL with a host stays as it is: it is foreign."""
    if "://" in told:
        return told
    path, _, fragment = told.partition("#")
    return f"{links.key(path)}#{fragment}" if fragment else links.key(path)


def pointer(*steps: str | int) -> str:
    """A JSON pointer (RFC 6901)."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def whole(path: str) -> str:
    """The resource that a place stands in: the path without its fragment."""
    return path.partition("#")[0]


def at(body: object, steps: tuple[str | int, ...]) -> Any:
    """What stands at these steps; None where the way ends before."""
    for step in steps:
        if isinstance(step, int):
            if not isinstance(body, list) or step >= len(body):
                return None
            body = body[step]
        elif isinstance(body, dict):
            body = body.get(step)
        else:
            return None
    return body
