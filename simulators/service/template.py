"""Bodies that are cheap to say again: JSON text made once, with holes for what changes.

A fleet of one design tells the same tree a thousand times with other numbers in it. So a tree is written once a design
as ordinary dicts in which :class:`Live` stands where a value changes, is compiled into pieces of JSON text, and each
GET only fills the holes: forty sensors cost some tens of microseconds.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Generic, TypeVar

import msgspec

Now = TypeVar("Now")

_HOLE = re.compile(rb'"\\u0000(\d+)\\u0000"|,"\\u0000m(\d+)\\u0000":null')
"""A value's place, or a whole member's with the comma before it."""


class Live(Generic[Now]):
    """Stands in a body for a value that changes: a function from the state of things to JSON text."""

    __slots__ = ("fill",)

    def __init__(self, fill: Callable[[Now], bytes]) -> None:
        self.fill = fill


class Maybe(Live[Now]):
    """Stands for a member that is there at times: JSON text, or nothing when the whole member is to be left out.

    Not as the first member of an object.
    """

    __slots__ = ()


class Template(Generic[Now]):
    """A body, compiled. :meth:`render` gives its JSON text for one state of things."""

    __slots__ = ("_holes", "_pieces")

    def __init__(self, body: Any) -> None:
        """Compile a body of dicts, lists and scalars with :class:`Live` values; raises TypeError for others."""
        fills: list[Callable[[Now], bytes]] = []

        def hole(value: object) -> str:
            if not isinstance(value, Live) or isinstance(value, Maybe):
                raise TypeError(f"{type(value).__name__} can't stand there in a body")
            fills.append(value.fill)
            return f"\0{len(fills) - 1}\0"

        def member(key: str, value: Maybe[Now]) -> str:
            fill, name = value.fill, b"," + msgspec.json.encode(key) + b":"
            fills.append(lambda now: name + text if (text := fill(now)) else b"")
            return f"\0m{len(fills) - 1}\0"

        def mark(value: Any) -> Any:
            if isinstance(value, list):
                return [mark(item) for item in value]
            if not isinstance(value, dict):
                return value
            return dict(
                (member(key, item), None) if isinstance(item, Maybe) else (key, mark(item))
                for key, item in value.items()
            )

        parts = _HOLE.split(msgspec.json.encode(mark(body), enc_hook=hole))
        # text, number of a value's hole or None, number of a member's hole or None, text, …
        numbers = [int(value or whole) for value, whole in zip(parts[1::3], parts[2::3], strict=True)]
        texts = parts[::3]
        if sorted(numbers) != list(range(len(fills))):
            raise TypeError("a member that may be left out can't be the first of its object")
        self._pieces: list[bytes] = [b""] * (len(texts) + len(numbers))
        self._pieces[::2] = texts
        self._holes = [(2 * index + 1, fills[number]) for index, number in enumerate(numbers)]

    @property
    def constant(self) -> bool:
        """Whether every rendering is the same."""
        return not self._holes

    def render(self, now: Now) -> bytes:
        """The body's JSON text."""
        pieces = self._pieces.copy()
        for index, fill in self._holes:
            pieces[index] = fill(now)
        return b"".join(pieces)
