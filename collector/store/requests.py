"""What people ask for: how requests come into the tables, and how they are settled there.

Anybody who may write the state directory adds rows (:func:`ask`); only the collector settles them, on its writer's
thread (:func:`settle`), together with what then holds of it (:class:`~collector.model.Care`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from pathlib import Path

import msgspec

from collector.model import Care, Request, RequestState
from collector.store import codec, sql
from collector.store.errors import translated
from collector.store.schema import open_for_asking

Row = tuple[int, float, str, str, str, str, str, float, str, str, float | None]


def ask(state_dir: Path, request: Request) -> int:
    """Add a request for the collector to carry out; returns its id.

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
            return int(connection.execute(sql.ASK, values).fetchone()[0])
        finally:
            connection.close()


def settle(
    connection: sqlite3.Connection, requests: Iterable[Request], begun: Iterable[Care], ended: Iterable[int]
) -> None:
    """Write what came of requests, what holds from now on, and what no longer does; the transaction is the caller's."""
    connection.executemany(
        sql.SETTLE, [(each.state.value, codec.clean(each.result), each.done_at, each.id) for each in requests]
    )
    connection.executemany(sql.SET_CARE, [(each.id, each.until, codec.to_json(each)) for each in begun])
    connection.executemany(sql.END_CARE, [(each,) for each in ended])


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
