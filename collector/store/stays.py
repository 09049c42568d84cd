"""Where parts were and are: how stays are kept and found."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable

from collector.model import Stay
from collector.store import codec, sql


def searched(serial: str) -> str:
    """A serial number as it is searched for: people type them in either case, services pad them with blanks."""
    return codec.clean(serial).strip().casefold()


def keep(connection: sqlite3.Connection, id_of: Callable[[str], int | None], stays: Iterable[Stay]) -> None:
    """Write stays over what was known of them.

    ``id_of``: a controller's number; a stay of a controller that is forgotten by now has no place any more.
    """
    rows = []
    for stay in stays:
        controller = id_of(stay.controller)
        if controller is None:
            continue
        serial = stay.identity.serial
        rows.append(
            (
                controller,
                codec.clean(stay.position),
                stay.since,
                stay.until,
                codec.clean(stay.part),
                None if serial is None else searched(serial),
                codec.clean(stay.location.text),
                codec.to_json(stay),
            )
        )
    connection.executemany(sql.SET_STAY, rows)


def within(place: str) -> str:
    """The pattern of places whose text has this in it."""
    plain = codec.clean(place)
    for special in "!%_":
        plain = plain.replace(special, "!" + special)
    return f"%{plain}%"
