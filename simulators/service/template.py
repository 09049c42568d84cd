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

_HOLE = re.compile(rb'"\\u0000(\d+)\\u0000"')


class Live(Generic[Now]):
    """Stands in a body for a value that changes: a function from the state of things to JSON text."""

    __slots__ = ("fill",)

    def __init__(self, fill: Callable[[Now], bytes]) -> None:
        self.fill = fill


class Template(Generic[Now]):
    """A body, compiled. :meth:`render` gives its JSON text for one state of things."""

    __slots__ = ("_holes", "_pieces")

    def __init__(self, body: Any) -> None:
        """Compile a body of dicts, lists and scalars with :class:`Live` values; raises TypeError for others."""
        fills: list[Callable[[Now], bytes]] = []

        def hole(value: object) -> str:
            if not isinstance(value, Live):
                raise TypeError(f"{type(value).__name__} can't stand in a body")
            fills.append(value.fill)
            return f"\0{len(fills) - 1}\0"

        parts = _HOLE.split(msgspec.json.encode(body, enc_hook=hole))
        self._pieces = parts
        self._holes = [(index, fills[int(parts[index])]) for index in range(1, len(parts), 2)]

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
