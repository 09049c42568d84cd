"""Properties that a client writes and the service keeps: what a PATCH may put there, and what a GET then tells."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import msgspec

from simulators.service.messages import Message
from simulators.service.template import Live

if TYPE_CHECKING:
    from simulators.service.live import Moment

Check = Callable[[Any], bool]
Kept = dict[tuple[str, str], Any]
"""Path of the resource and name of the property -> what was written."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One property."""

    default: Any
    """Until someone writes it."""
    check: Check | None = None
    """Whether a value will do."""
    members: Mapping[str, Check] = field(default_factory=dict)
    """Of an object: what can be written of it, each by itself."""
    administrator: bool = False
    """Whether it takes ConfigureManager."""

    def write(self, name: str, value: Any, old: Any) -> Any | Message:
        """The value to keep, or why not; ``old`` is what stands there now."""
        if not self.members:
            good = self.check is not None and self.check(value)
            return value if good else Message("PropertyValueFormatError", (_text(value), name), name)
        if not isinstance(value, dict):
            return Message("PropertyValueTypeError", (_text(value), name), name)
        for key, one in value.items():
            check = self.members.get(key)
            if check is None:
                return Message("PropertyUnknown", (f"{name}/{key}",), f"{name}/{key}")
            if not check(one):
                return Message("PropertyValueNotInList", (_text(one), f"{name}/{key}"), f"{name}/{key}")
        return {**old, **value}


def setting(path: str, name: str, default: Any, member: str | None = None) -> Live[Moment]:
    """What was written to a property of a resource, or to one member of it."""

    def fill(now: Moment) -> bytes:
        value = now.settings.get((path, name), default)
        return msgspec.json.encode(value if member is None else value[member])

    return Live(fill)


def text(most: int) -> Check:
    """A string of so many printable characters."""
    return lambda value: isinstance(value, str) and len(value) <= most and value.isprintable()


def texts(most: int) -> Check:
    """A list of so many short strings."""
    one = text(64)
    return lambda value: isinstance(value, list) and len(value) <= most and all(one(item) for item in value)


def choice(*words: str) -> Check:
    """One of these."""
    return lambda value: isinstance(value, str) and value in words


def _text(value: Any) -> str:
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()[:200]
