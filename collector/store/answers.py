"""Troubles, work orders, margins, figures and misfits: how they are kept and found."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable

from collector.model import Assessment, Figure, Margin, Trouble, WorkOrder
from collector.store import codec

TABLES = """
CREATE TABLE troubles (
    id TEXT PRIMARY KEY, opened REAL NOT NULL, closed REAL, severity INTEGER NOT NULL, record TEXT NOT NULL
);
CREATE INDEX troubles_open ON troubles (severity DESC, opened) WHERE closed IS NULL;
CREATE INDEX troubles_closed ON troubles (closed) WHERE closed IS NOT NULL;
CREATE TABLE orders (
    id TEXT PRIMARY KEY, opened REAL NOT NULL, closed REAL, bundle TEXT NOT NULL, record TEXT NOT NULL
);
CREATE INDEX orders_open ON orders (bundle, opened) WHERE closed IS NULL;
CREATE INDEX orders_closed ON orders (closed) WHERE closed IS NOT NULL;
CREATE TABLE margins (
    part TEXT NOT NULL, kind TEXT NOT NULL, sensor TEXT NOT NULL,
    controller INTEGER REFERENCES controllers (id), remaining REAL NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (part, kind, sensor)
);
CREATE INDEX margins_of ON margins (controller);
"""
"""``margins.controller``: null for a place, which is no controller's; ``sensor``: empty where none."""

FITTING = """
CREATE TABLE misfits (
    controller INTEGER NOT NULL REFERENCES controllers (id), position INTEGER NOT NULL,
    how TEXT NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (controller, position)
);
"""
"""How sleds differ from their designs, as the last walks found."""

FIGURES_KEPT = """
CREATE TABLE figures (
    part TEXT NOT NULL, kind TEXT NOT NULL, of TEXT NOT NULL,
    controller INTEGER REFERENCES controllers (id), record TEXT NOT NULL,
    PRIMARY KEY (part, kind, of)
);
CREATE INDEX figures_of ON figures (controller);
"""
"""``controller``: null for a place, which is no controller's; ``of``: which of several of its kind."""

_SET_TROUBLE = """
INSERT INTO troubles (id, opened, closed, severity, record) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (id) DO UPDATE SET opened = excluded.opened, closed = excluded.closed, severity = excluded.severity,
    record = excluded.record
"""
_SET_ORDER = """
INSERT INTO orders (id, opened, closed, bundle, record) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (id) DO UPDATE SET opened = excluded.opened, closed = excluded.closed, bundle = excluded.bundle,
    record = excluded.record
"""
_DROP_MARGIN = "DELETE FROM margins WHERE part = ? AND kind = ? AND sensor <> ?"
"""Of a part and kind the newest word holds: another sensor may have become the one that is nearest to its limit."""
_SET_MARGIN = """
INSERT INTO margins (part, kind, sensor, controller, remaining, record) VALUES (?, ?, ?, ?, ?, ?)
ON CONFLICT (part, kind, sensor) DO UPDATE SET controller = excluded.controller, remaining = excluded.remaining,
    record = excluded.record
"""
_SET_FIGURE = """
INSERT INTO figures (part, kind, of, controller, record) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (part, kind, of) DO UPDATE SET controller = excluded.controller, record = excluded.record
"""
_DROP_FIGURE = "DELETE FROM figures WHERE part = ? AND kind = ? AND of = ?"
TROUBLES = "SELECT record FROM troubles ORDER BY severity DESC, opened, id LIMIT :limit"
OPEN_TROUBLES = "SELECT record FROM troubles WHERE closed IS NULL ORDER BY severity DESC, opened, id LIMIT :limit"
ORDERS = "SELECT record FROM orders ORDER BY bundle, opened, id LIMIT :limit"
CLOSED_ORDERS = "SELECT record FROM orders WHERE closed IS NOT NULL ORDER BY closed DESC, id LIMIT :limit"
OPEN_ORDERS = "SELECT record FROM orders WHERE closed IS NULL ORDER BY bundle, opened, id LIMIT :limit"
MARGINS = "SELECT m.record FROM margins m ORDER BY m.kind, m.remaining, m.part LIMIT :limit"
MARGINS_OF = """
SELECT m.record FROM margins m JOIN controllers c ON c.id = m.controller
WHERE c.retired IS NULL AND c.name = :controller ORDER BY m.kind, m.remaining, m.part LIMIT :limit
"""
FIGURES = "SELECT f.record FROM figures f ORDER BY f.part, f.kind, f.of LIMIT :limit"
FIGURES_OF = """
SELECT f.record FROM figures f JOIN controllers c ON c.id = f.controller
WHERE c.retired IS NULL AND c.name = :controller ORDER BY f.part, f.kind, f.of LIMIT :limit
"""
FIGURES_OF_KIND = """
SELECT f.record FROM figures f JOIN controllers c ON c.id = f.controller
WHERE c.retired IS NULL AND f.kind = :which ORDER BY json_extract(f.record, '$.value'), f.part, f.of LIMIT :limit
"""
FIGURES_OF_PLACES = "SELECT record FROM figures WHERE controller IS NULL ORDER BY part, kind, of LIMIT :limit"
MISFITS = """
SELECT m.record FROM misfits m JOIN controllers c ON c.id = m.controller
WHERE c.retired IS NULL AND (:how IS NULL OR m.how = :how) ORDER BY m.how, c.name, m.position LIMIT :limit
"""
HOW_MANY_MISFITS = """
SELECT m.how, count(*) FROM misfits m JOIN controllers c ON c.id = m.controller WHERE c.retired IS NULL GROUP BY m.how
"""
_FORGET_MISFITS = "DELETE FROM misfits WHERE controller = ?"
_ADD_MISFIT = "INSERT INTO misfits (controller, position, how, record) VALUES (?, ?, ?, ?)"
OLD = tuple(
    f"DELETE FROM {table} WHERE id IN (SELECT id FROM {table} WHERE closed < ? LIMIT ?)"  # noqa: S608 - names from here
    for table in ("troubles", "orders")
)
CLOSE_LEFT = tuple(
    f"UPDATE {table} SET closed = ?, record = ? WHERE id = ?"  # noqa: S608 - names from here
    for table in ("troubles", "orders")
)


def keep(connection: sqlite3.Connection, id_of: Callable[[str], int | None], assessment: Assessment) -> None:
    """Write what is new over what was known. ``id_of``: a controller's number, None for one that is forgotten."""
    if assessment.troubles:
        connection.executemany(_SET_TROUBLE, [_trouble(each) for each in assessment.troubles])
    if assessment.orders:
        connection.executemany(_SET_ORDER, [_order(each) for each in assessment.orders])
    if assessment.margins:
        rows = _margins(assessment.margins, id_of)
        connection.executemany(_DROP_MARGIN, [row[:3] for row in rows])
        connection.executemany(_SET_MARGIN, rows)
    if assessment.figures:
        stands, gone = ([each for each in assessment.figures if each.gone is so] for so in (False, True))
        connection.executemany(_SET_FIGURE, _figures(stands, id_of))
        connection.executemany(_DROP_FIGURE, [row[:3] for row in _figures(gone, id_of)])
    if assessment.misfits is not None and (controller := id_of(assessment.controller)) is not None:
        connection.execute(_FORGET_MISFITS, (controller,))
        connection.executemany(
            _ADD_MISFIT,
            [(controller, place, each.how.value, codec.to_json(each)) for place, each in enumerate(assessment.misfits)],
        )


def _trouble(trouble: Trouble) -> tuple[object, ...]:
    severity = int(trouble.severity)
    return (codec.clean(trouble.id), trouble.opened, trouble.closed, severity, codec.to_json(trouble))


def _order(order: WorkOrder) -> tuple[object, ...]:
    bundle = codec.clean(order.bundle)
    return (codec.clean(order.id), order.opened, order.closed, bundle, codec.to_json(order))


def _margins(margins: Iterable[Margin], id_of: Callable[[str], int | None]) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = []
    for margin in margins:
        controller = None if margin.controller is None else id_of(margin.controller)
        if controller is None and margin.controller is not None:
            continue  # of a controller that was forgotten meanwhile
        sensor = codec.clean(margin.sensor or "")
        record = codec.to_json(margin)
        rows.append((codec.clean(margin.part), margin.kind.value, sensor, controller, margin.left, record))
    return rows


def _figures(figures: Iterable[Figure], id_of: Callable[[str], int | None]) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = []
    for figure in figures:
        controller = None if figure.controller is None else id_of(figure.controller)
        if controller is None and figure.controller is not None:
            continue  # of a controller that was forgotten meanwhile
        of = codec.clean(figure.of)
        rows.append((codec.clean(figure.part), figure.kind.value, of, controller, codec.to_json(figure)))
    return rows
