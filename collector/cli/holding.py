"""What holds of what people did, in the collector's hands: restored at the start, and kept as it changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from msgspec import Struct

from collector.model import Handling, Held, Lit, Sighting

H = TypeVar("H", Lit, Sighting, Handling)
Key = tuple[type[Held], str]


class HeldNews(Struct, frozen=True):
    """What began, or changed, and what no longer holds, since it was last asked for."""

    held: tuple[Held, ...] = ()
    dropped: tuple[Key, ...] = ()


class Holding:
    """All of it, each by its kind and part."""

    def __init__(self, standing: Iterable[Held] = ()) -> None:
        self._all: dict[Key, Held] = {(type(each), each.part): each for each in standing}
        self._changed: dict[Key, Held | None] = {}

    def of(self, kind: type[H], part: str) -> H | None:
        """The one of a part."""
        return self._all.get((kind, part))  # type: ignore[return-value]  # by how they are put in

    def every(self, kind: type[H]) -> list[H]:
        """All of a kind."""
        return [each for each in self._all.values() if isinstance(each, kind)]

    def put(self, held: Held) -> None:
        """It holds from now on, in place of what held of that part before."""
        key = (type(held), held.part)
        self._all[key] = self._changed[key] = held

    def drop(self, kind: type[Held], part: str) -> None:
        """It holds no longer."""
        if self._all.pop((kind, part), None) is not None:
            self._changed[kind, part] = None

    def news(self) -> HeldNews:
        """What is to be kept since it was last asked for; :meth:`again` takes it back where that failed."""
        changed, self._changed = self._changed, {}
        held = tuple(each for each in changed.values() if each is not None)
        return HeldNews(held, tuple(key for key, each in changed.items() if each is None))

    def again(self, news: HeldNews) -> None:
        """Tell these news again the next time: they could not be kept."""
        before: dict[Key, Held | None] = {(type(each), each.part): each for each in news.held}
        before |= dict.fromkeys(news.dropped)
        self._changed = before | self._changed
