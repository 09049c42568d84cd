"""What people ask for: how requests come into the tables, and how they are settled there.

Anybody who may write the state directory adds rows (:func:`ask`); only the collector settles them, on its writer's
thread (:func:`settle`), together with what then holds of it (:class:`~collector.model.Care`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from pathlib import Path

import msgspec

from collector.model import DEED_VERBS, Care, Handling, Held, Lit, Request, RequestState, Sighting
from collector.store import codec, sql
from collector.store.errors import translated
from collector.store.schema import open_for_asking

Row = tuple[int, float, str, str, str, str, str, float, str, str, float | None]


def ask(state_dir: Path, request: Request) -> int:
    """Add a request for the collector to carry out; returns its id.

    What changes something on a controller and is asked for again before it was carried out is one request: the id is
    that of the first. Of a finished one the asking again is another request.

    Raises ``ValueError`` for one that names nobody or nothing, and the
    :class:`~collector.store.errors.StoreError` of a directory that can't be written.
    """
    for name in ("who", "verb", "target"):
        if not getattr(request, name).strip():
            raise ValueError(f"a request needs {name}")
    values = (
        request.asked_at,
        codec.clean(request.who),
        codec.clean(request.verb),
        codec.clean(request.target),
        codec.to_json(request.arguments),
        codec.clean(request.why),
        request.expires,
    )
    with translated(state_dir):
        connection = open_for_asking(state_dir)
        try:
            connection.execute("BEGIN IMMEDIATE")
            if request.verb in DEED_VERBS and (same := _same(connection, values, request.asked_at)) is not None:
                connection.execute("ROLLBACK")
                return same
            number = int(connection.execute(sql.ASK, values).fetchone()[0])
            connection.execute("COMMIT")
            return number
        finally:
            connection.close()


def _same(connection: sqlite3.Connection, values: tuple[object, ...], now: float) -> int | None:
    """Id of a request for the very same that is still to be carried out."""
    _, _, verb, target, arguments, *_ = values
    row = connection.execute(sql.SAME_REQUEST, (verb, target, arguments, now)).fetchone()
    return None if row is None else int(row[0])


KINDS: dict[type[Held], str] = {Lit: "lit", Sighting: "sighting", Handling: "handling"}
"""Under which word each kind of thing that holds is kept."""


def settle(
    connection: sqlite3.Connection,
    requests: Iterable[Request],
    begun: Iterable[Care],
    ended: Iterable[int],
    held: Iterable[Held] = (),
    dropped: Iterable[tuple[type[Held], str]] = (),
) -> None:
    """Write what came of requests, what holds from now on, and what no longer does; the transaction is the caller's."""
    connection.executemany(
        sql.SETTLE, [(each.state.value, codec.clean(each.result), each.done_at, each.id) for each in requests]
    )
    connection.executemany(sql.SET_CARE, [(each.id, each.until, codec.to_json(each)) for each in begun])
    connection.executemany(sql.END_CARE, [(each,) for each in ended])
    connection.executemany(sql.END_HELD, [(KINDS[kind], codec.clean(part)) for kind, part in dropped])
    connection.executemany(
        sql.SET_HELD,
        [
            (KINDS[type(each)], codec.clean(each.part), getattr(each, "until", None), codec.to_json(each))
            for each in held
        ],
    )


def request_of(row: Row) -> Request:
    """The request of a row; raises ``msgspec.MsgspecError`` or ``ValueError`` where it is none."""
    number, asked_at, who, verb, target, arguments, why, expires, state, result, done_at = row
    return Request(
        id=number,
        asked_at=asked_at,
        who=who,
        verb=verb,
        target=target,
        arguments=msgspec.json.decode(arguments, type=dict[str, str | float | int | bool | None]),
        why=why,
        expires=expires,
        state=RequestState(state),
        result=result,
        done_at=done_at,
    )
