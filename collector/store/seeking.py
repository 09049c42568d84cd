"""Finding parts by what people know of them, and adding up how long parts of each sort stood in their places."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence

from collector.model import Kind, PartHours, Stay
from collector.store import codec
from collector.store.stays import within

MOST_WORDS = 6
"""Words of a search that count."""

_HERE = """
SELECT s.record FROM stays s JOIN controllers c ON c.id = s.controller
WHERE s.until IS NULL AND c.retired IS NULL{} ORDER BY c.name, s.rowid
"""
_EVER = "SELECT s.record FROM stays s WHERE s.until IS NOT NULL{} ORDER BY s.until DESC, s.rowid"
_HAS = " AND (s.record LIKE ? ESCAPE '!' OR s.place LIKE ? ESCAPE '!')"

TURNED = "SELECT record FROM stays WHERE until IS NOT NULL ORDER BY until DESC, rowid DESC LIMIT :limit"
"""Stays that ended, the newest first, by the index of ends."""
IN_PLACE = "SELECT record FROM stays WHERE part = :part AND until IS NULL ORDER BY since DESC LIMIT 1"

# A part is known by its serial number, else by its place: the same as in ``assess.ledger``. Hours end with ``now``:
# nobody knows what stood where after the collector was last heard of.
HOURS = """
SELECT json_extract(record, '$.kind'), json_extract(record, '$.identity.part_number'),
    json_extract(record, '$.identity.model'), json_extract(record, '$.identity.firmware'),
    count(DISTINCT coalesce(nullif(serial, ''), char(0) || part)),
    sum(max(0.0, min(coalesce(until, :now), :now) - since)) / 3600.0
FROM stays GROUP BY 1, 2, 3, 4 ORDER BY 1, 2, 3, 4
"""


def words_of(asked: str) -> tuple[str, ...]:
    """A search's words, in one case."""
    return tuple(codec.clean(word).casefold() for word in asked.split()[:MOST_WORDS])


def haystack(stay: Stay) -> str:
    """All by which a part may be found, in one case."""
    one = stay.identity
    told = (
        *(stay.name, stay.kind.value, stay.controller, stay.location.text),
        *(one.part_number, one.spare_part_number, one.serial, one.model, one.manufacturer, one.firmware),
        *(one.sku, one.asset_tag),
    )
    return "\n".join(each for each in told if each).casefold()


def found(connection: sqlite3.Connection, words: Sequence[str], kind: Kind | None, here: bool) -> Iterator[Stay]:
    """Those in which every word stands; ``here``: of those that stand somewhere now, else of ended
    ones, the newest first. Raises ``msgspec.MsgspecError`` where a record can't be read.

    The database's own LIKE goes over the records first, keys and all: it is quick and lets too much through.
    """
    wanted = [*words, *((f'"kind":"{kind.value}"',) if kind is not None else ())]
    # LIKE folds the case of plain letters only, and JSON writes some characters in two ways: such words are left to us.
    plain = [within(word) for word in wanted if word.isascii() and not set(word) & set("\\/")]
    statement = (_HERE if here else _EVER).format(_HAS * len(plain))
    for (record,) in connection.execute(statement, [each for pattern in plain for each in (pattern, pattern)]):
        stay = codec.from_json(record, Stay)
        if kind is None or stay.kind is kind:
            text = haystack(stay)
            if all(word in text for word in words):
                yield stay


def hours(rows: Iterable[tuple[str, str | None, str | None, str | None, int, float]]) -> list[PartHours]:
    """What HOURS brings. Raises ``ValueError`` for a kind that is none."""
    return [
        PartHours(kind=Kind(kind), part_number=number, model=model, firmware=firmware, parts=parts, hours=time)
        for kind, number, model, firmware, parts, time in rows
    ]
