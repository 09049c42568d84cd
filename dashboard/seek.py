"""What the Parts page asks of the store, kept for a moment like all that the pages ask."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from collector.assess.ledger import Line, accused, weighed
from collector.model import Kind, Misfit, Misfitting, Part, Seconds, Stay
from collector.store.reader import Reader
from dashboard.kept import Kept
from dashboard.panels.parts import COUNTED, MISFITS, MOST

_SEARCHES = 32
"""Searches kept at once."""
_TURNED = 40


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found: the first of them, and how many."""

    stays: tuple[Stay, ...]
    number: int


@dataclass(frozen=True, slots=True)
class Fitting:
    """What does not fit its design: the first of each sort asked for, and how many of each."""

    numbers: dict[Misfitting, int]
    first: dict[Misfitting | None, tuple[Misfit, ...]]


class Shelves:
    """The ledger of one store. Raises :class:`~collector.store.errors.StoreError` on reading."""

    def __init__(self, open_reader: Callable[[], Reader], clock: Callable[[], Seconds]) -> None:
        self._open = open_reader
        self._clock = clock
        self._mutex = threading.Lock()
        self._searches: OrderedDict[tuple[str, Kind | None, bool], Kept[Found]] = OrderedDict()
        self._lines = Kept(self._read_lines, 10.0)
        self._fitting = Kept(self._read_fitting, 3.0)
        self._turned = Kept(self._read_turned, 3.0)

    def found(self, asked: str, kind: Kind | None, here: bool) -> Found:
        """The first parts in which every word stands."""
        key = (asked, kind, here)
        with self._mutex:
            kept = self._searches.get(key)
            if kept is None:
                kept = self._searches[key] = Kept(lambda: self._seek(*key), 3.0)
                if len(self._searches) > _SEARCHES:
                    self._searches.popitem(last=False)
            self._searches.move_to_end(key)
        return kept.get()

    def every(self, asked: str, kind: Kind | None, here: bool, most: int) -> list[Stay]:
        """All of them, for a file."""
        return self._open().stays.seek(asked, kind, here, limit=most, count_to=most)[0]

    def lines(self) -> tuple[Line, ...]:
        """The ledger: hours, failures and rates by part number and firmware."""
        return self._lines.get()

    def fitting(self) -> Fitting:
        """How sleds differ from their designs."""
        return self._fitting.get()

    def misfits(self, most: int) -> list[tuple[Misfit, Part | None]]:
        """All of them, each with its sled as far as it is known, for a file."""
        reader = self._open()
        found = reader.answers.misfits(limit=most)
        wanted = {each.sled for each in found}
        sleds: dict[str, Part] = {}
        for controller in {each.controller for each in found}:
            sleds |= {part.id: part for part in reader.parts(controller) if part.id in wanted}
        return [(each, sleds.get(each.sled)) for each in found]

    def turned(self) -> tuple[tuple[Stay, Stay | None], ...]:
        """Stays that ended, newest first, each with what stands there now."""
        return self._turned.get()

    def _seek(self, asked: str, kind: Kind | None, here: bool) -> Found:
        stays, number = self._open().stays.seek(asked, kind, here, limit=MOST, count_to=COUNTED)
        return Found(tuple(stays), number)

    def _read_lines(self) -> tuple[Line, ...]:
        reader = self._open()
        mark = reader.collector()
        # Nobody knows what stood where after the collector was last heard of.
        now = self._clock() if mark is None else min(self._clock(), mark.heartbeat)
        troubles = reader.answers.troubles(open_only=False)
        stays = reader.stays.at_all(part for part, _ in accused(troubles))
        return tuple(weighed(reader.stays.part_hours(now), stays, troubles))

    def _read_fitting(self) -> Fitting:
        reader = self._open()
        numbers = reader.answers.how_many_misfits()
        first: dict[Misfitting | None, tuple[Misfit, ...]] = {
            how: tuple(reader.answers.misfits(how, limit=MISFITS)) for how in (None, *numbers)
        }
        return Fitting(numbers, first)

    def _read_turned(self) -> tuple[tuple[Stay, Stay | None], ...]:
        reader = self._open()
        ended = reader.stays.turned(_TURNED)
        there = reader.stays.in_place(stay.part for stay in ended)
        return tuple((stay, there.get(stay.part)) for stay in ended)
