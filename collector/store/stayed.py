"""Where parts are and were, as it is read; how it is kept stands in ``stays``, how a search goes in ``seeking``."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from collector.model import Kind, PartHours, Seconds, Stay
from collector.store import codec, seeking, sql, stays
from collector.store.errors import damaged
from collector.store.records import Records


class Stays:
    """Reads the stays of parts in their places."""

    def __init__(self, records: Records) -> None:
        self._records = records

    def all(self) -> list[Stay]:
        """Every stay on record, of retired controllers too, in the order in which they began."""
        return self._stays(sql.STAYS)

    def at(self, part: str) -> list[Stay]:
        """What stood where the part of this id stands, in the order in which it came."""
        return self._stays(sql.STAYS_OF_PART, part=codec.clean(part), controller=part.partition(":")[0])

    def at_all(self, parts: Iterable[str]) -> list[Stay]:
        """What stood at these ids, by id and then in the order in which it came."""
        return [stay for part in dict.fromkeys(parts) for stay in self.at(part)]

    def of_serial(self, serial: str) -> list[Stay]:
        """Where the parts with this serial number were, whatever its case, in the order in which they came there."""
        return self._stays(sql.STAYS_OF_SERIAL, serial=stays.searched(serial))

    def within(self, place: str) -> list[Stay]:
        """What stood at the locations whose text has this in it, whatever the case of its plain letters."""
        return self._stays(sql.STAYS_AT, place=stays.within(place))

    def seek(
        self, asked: str, kind: Kind | None = None, here: bool = True, limit: int = 100, count_to: int = 2000
    ) -> tuple[list[Stay], int]:
        """Parts in whose name, kind, identity, place or controller every word stands, and how many there are.

        ``here``: those that stand somewhere now, else those that are gone, the newest first. The first ``limit`` of
        them; counted up to ``count_to``.
        """
        first: list[Stay] = []
        number = 0
        with self._records.connection() as connection:
            try:
                for stay in seeking.found(connection, seeking.words_of(asked), kind, here):
                    number += 1
                    if len(first) < limit:
                        first.append(stay)
                    if number >= max(limit, count_to):
                        break
            except msgspec.MsgspecError as error:
                raise damaged(self._records.state_dir, f"a Stay in the database can't be read: {error}") from error
        return first, number

    def turned(self, limit: int = 40) -> list[Stay]:
        """Stays that have ended, the newest first."""
        return self._stays(seeking.TURNED, limit=limit)

    def in_place(self, parts: Iterable[str]) -> dict[str, Stay]:
        """What stands at these ids now, by id."""
        found = {part: self._stays(seeking.IN_PLACE, part=codec.clean(part)) for part in dict.fromkeys(parts)}
        return {part: there[0] for part, there in found.items() if there}

    def part_hours(self, now: Seconds) -> list[PartHours]:
        """How long parts of each kind, part number, model and firmware stood in their places, up to ``now``."""
        try:
            return seeking.hours(self._records.rows(seeking.HOURS, {"now": now}))
        except ValueError as error:
            raise damaged(self._records.state_dir, f"a Stay in the database can't be read: {error}") from error

    def _stays(self, statement: str, **given: str | int) -> list[Stay]:
        return [self._records.record(row[0], Stay) for row in self._records.rows(statement, given)]
