"""What people asked for, and what goes on holding of it, as it is read; how it comes in stands in ``requests``."""

from __future__ import annotations

from typing import Any, TypeVar

import msgspec

from collector.model import Care, Handling, Lit, Request, Sighting
from collector.store import codec, sql
from collector.store.errors import damaged
from collector.store.records import NO_LIMIT, Records
from collector.store.requests import KINDS, request_of

H = TypeVar("H", Lit, Sighting, Handling)


class Asked:
    """Reads requests, and the care, lamps, sightings and orders in hand that came of them."""

    def __init__(self, records: Records) -> None:
        self._records = records

    def requests(self, asked_only: bool = False, limit: int = 200) -> list[Request]:
        """What people asked for, newest first; ``asked_only``: what is still to be carried out, oldest first."""
        rows = self._records.rows(sql.REQUESTS_ASKED if asked_only else sql.REQUESTS, {"limit": limit})
        return [self._request(row) for row in rows]

    def taken_up(self) -> list[Request]:
        """What the collector is at, or was when it ended."""
        return [self._request(row) for row in self._records.rows(sql.REQUESTS_TAKEN_UP, {"limit": NO_LIMIT})]

    def request(self, number: int) -> Request | None:
        """One request by its id; None where there is none."""
        rows = self._records.rows(sql.REQUEST, {"id": number})
        return self._request(rows[0]) if rows else None

    def care(self) -> list[Care]:
        """What people did about conditions and places that still holds, or will, in the order of asking."""
        return [self._records.record(row[0], Care) for row in self._records.rows(sql.CARE)]

    def held(self, kind: type[H]) -> list[H]:
        """The lit lamps, sightings, or handled work orders that there are, by part."""
        return [self._records.record(row[0], kind) for row in self._records.rows(sql.HELD, {"kind": KINDS[kind]})]

    def held_of(self, kind: type[H], part: str) -> H | None:
        """The one of a part; None where there is none."""
        rows = self._records.rows(sql.HELD_OF, {"kind": KINDS[kind], "part": codec.clean(part)})
        return self._records.record(rows[0][0], kind) if rows else None

    def _request(self, row: Any) -> Request:
        try:
            return request_of(row)
        except (msgspec.MsgspecError, ValueError) as error:
            raise damaged(self._records.state_dir, f"a request in the database can't be read: {error}") from error
