"""Bytes to JSON, for what is walked: anything that a service sends becomes one dict or one named error.

Kept although JSON (RFC 8259) has no such thing, since a body is worth more than its one bad number: the literals NaN
and Infinity (as floats) and integers beyond Python's limit of digits (as floats). Of a duplicated key the last value
counts, as RFC 8259 section 4 says many do. A byte order mark is dropped. Lone surrogates become U+FFFD: they could be
neither stored nor shown.
"""

from __future__ import annotations

import json
import re
from typing import Any, cast

from collector.redfish.errors import NotJson, TooBig, TooDeep
from collector.text import plain

MAX_DEPTH = 64
"""Arrays and objects within each other that we take; the standard's schemas need fewer than 20."""
MAX_VALUES = 1_000_000
"""Arrays, objects and strings in one body that we take: a few bytes of JSON make a hundred of memory."""
_INT_DIGITS = 4000
_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")


def decode(body: bytes, controller: str, resource: str) -> dict[str, Any]:
    """The JSON object in ``body``; raises :class:`NotJson`, :class:`TooDeep` or :class:`TooBig`."""
    containers = body.count(b"{") + body.count(b"[")
    if containers + body.count(b'"') // 2 > MAX_VALUES:
        raise TooBig(controller, resource, f"more than {MAX_VALUES} values")
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotJson(controller, resource, f"byte {error.start} is not UTF-8") from error
    try:
        told = _parsed(text)
    except RecursionError as error:
        raise TooDeep(controller, resource, f"more than {MAX_DEPTH} levels") from error
    except ValueError as error:
        raise NotJson(controller, resource, _complaint(text, error)) from error
    if not isinstance(told, dict):
        raise NotJson(controller, resource, f"it is {_NAMES.get(type(told), 'a number')}")
    if containers > MAX_DEPTH and _deeper_than(told, MAX_DEPTH):
        raise TooDeep(controller, resource, f"more than {MAX_DEPTH} levels")
    return cast("dict[str, Any]", _mended(told) if _SURROGATE.search(text) else told)


_NAMES = {list: "an array", str: "a string", bool: "true or false", type(None): "null"}


def _parsed(text: str) -> object:
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        raise
    except ValueError:  # an integer of thousands of digits
        return json.loads(text, parse_int=lambda digits: int(digits) if len(digits) < _INT_DIGITS else float(digits))


def _complaint(text: str, error: ValueError) -> str:
    head = text[:200].lstrip()
    if not head:
        return "it is empty"
    if head.startswith("<"):
        return f"it is markup: {plain(head, 60)}"
    if isinstance(error, json.JSONDecodeError):
        near = plain(text[max(0, error.pos - 20) : error.pos + 20], 60)
        return f"{error.msg} at character {error.pos}, near {near!r}" if near else f"it ends at character {error.pos}"
    return str(error)


def _deeper_than(told: object, bound: int) -> bool:
    """Level by level, without recursion."""
    level = [told]
    for _ in range(bound):
        # one comprehension, and exact types, which is all that JSON decodes to: there may be a hundred thousand of them
        level = [
            value
            for item in level
            for value in (item.values() if type(item) is dict else cast("list[object]", item))
            if type(value) is dict or type(value) is list
        ]
        if not level:
            return False
    return True


def _mended(told: object) -> object:
    """The same with every lone surrogate replaced; its depth is bounded by now."""
    if isinstance(told, str):
        return told.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    if isinstance(told, dict):
        return {_mended(name): _mended(value) for name, value in told.items()}
    if isinstance(told, list):
        return [_mended(value) for value in told]
    return told
