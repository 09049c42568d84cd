"""Summary rows: what the pages show of the whole fleet at a glance, kept by the writer as it goes.

A row a controller in ``fronts`` (place, health, blades at risk, words to search for, and the records from which its
front is drawn), what it holds in ``holdings``, and in ``changes`` how often each subject has changed, so that readers
know without reading whether what they keep still holds. A row is made anew only by a walk that finds other parts, a
rollup that changed, or the fleet file; a round that brings news of neither touches nothing here.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence

from collector.model import Health, Location, Part, Rolled, State, Status
from collector.model.places import Front, FrontHealth, front_of
from collector.store import codec

TABLES = """
CREATE TABLE fronts (
    controller INTEGER PRIMARY KEY REFERENCES controllers (id),
    site TEXT NOT NULL, line TEXT NOT NULL, rack TEXT NOT NULL,
    holds TEXT NOT NULL, health INTEGER NOT NULL, blades INTEGER NOT NULL, at_risk INTEGER NOT NULL,
    words TEXT NOT NULL, record TEXT NOT NULL, standing TEXT NOT NULL
);
CREATE INDEX fronts_of_rack ON fronts (site, line, rack, holds, health, at_risk);
CREATE INDEX fronts_at_risk ON fronts (controller) WHERE at_risk > 0;
CREATE TABLE holdings (
    controller INTEGER NOT NULL REFERENCES controllers (id),
    kind TEXT NOT NULL, model TEXT NOT NULL, part_number TEXT NOT NULL, firmware TEXT NOT NULL, number INTEGER NOT NULL,
    PRIMARY KEY (controller, kind, model, part_number, firmware)
) WITHOUT ROWID;
CREATE INDEX holdings_by_kind ON holdings (kind, model, part_number, firmware);
CREATE TABLE changes (subject TEXT PRIMARY KEY, number INTEGER NOT NULL) WITHOUT ROWID;
ALTER TABLE rounds ADD COLUMN valued INTEGER NOT NULL DEFAULT 0;
ALTER TABLE rounds ADD COLUMN sensors INTEGER NOT NULL DEFAULT 0;
CREATE INDEX parts_by_id ON parts (controller, id);
CREATE INDEX conditions_opened ON conditions (opened);
CREATE INDEX margins_by_kind ON margins (kind, remaining);
"""
"""``line``: the row that racks stand in; site, line and rack are empty where not told. ``words``: in one case."""

_SET = """
INSERT INTO fronts (controller, site, line, rack, holds, health, blades, at_risk, words, record, standing)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (controller) DO UPDATE SET site = excluded.site, line = excluded.line, rack = excluded.rack,
    holds = excluded.holds, health = excluded.health, blades = excluded.blades, at_risk = excluded.at_risk,
    words = excluded.words, record = excluded.record, standing = excluded.standing
"""
_SET_HEALTH = "UPDATE fronts SET health = ?, at_risk = ?, standing = ? WHERE controller = ?"
_RECORD = "SELECT record, standing FROM fronts WHERE controller = ?"
_ROLLED = "SELECT part, record FROM rolled WHERE controller = ? AND part IN (SELECT value FROM json_each(?))"
_STATUSES = "SELECT part, record FROM statuses WHERE controller = ? AND part IN (SELECT value FROM json_each(?))"
_FORGET_HOLDINGS = "DELETE FROM holdings WHERE controller = ?"
_ADD_HOLDING = """
INSERT INTO holdings (controller, kind, model, part_number, firmware, number) VALUES (?, ?, ?, ?, ?, ?)
"""
_BUMP = """
INSERT INTO changes (subject, number) VALUES (?, 1) ON CONFLICT (subject) DO UPDATE SET number = number + 1
"""
_PARTS = "SELECT record FROM parts WHERE controller = ? ORDER BY position"
_WITHOUT = """
SELECT c.id, c.name, c.location FROM controllers c LEFT JOIN fronts f ON f.controller = c.id WHERE f.controller IS NULL
"""

_LONGEST = 64
"""Characters of a part's model, number or version that are searched and chosen by."""
_MOST_HOLDINGS = 400
"""Kinds of parts that are told apart in one controller."""
_MOST_WORDS = 8000


def bump(connection: sqlite3.Connection, subjects: Iterable[str]) -> None:
    """Count a change of these subjects."""
    connection.executemany(_BUMP, [(subject,) for subject in sorted(subjects)])


def rebuild(connection: sqlite3.Connection, controller: int, name: str, fleet: Location) -> None:
    """Make a controller's rows from what the tables say of it."""
    parts = [codec.from_json(row[0], Part) for row in connection.execute(_PARTS, (controller,))]
    keep(connection, controller, name, fleet, parts)


def fill(connection: sqlite3.Connection) -> None:
    """Make the rows of all controllers that have none: those of a store that was written before there were any."""
    for controller, name, location in connection.execute(_WITHOUT).fetchall():
        rebuild(connection, controller, name, codec.from_json(location, Location))


def keep(connection: sqlite3.Connection, controller: int, name: str, fleet: Location, parts: Sequence[Part]) -> None:
    """Make a controller's rows anew: its parts are others, or the fleet file places it elsewhere."""
    front = front_of(name, parts, fleet)
    health = _health(connection, controller, front)
    at = front.location
    connection.execute(
        _SET,
        (
            controller,
            *(codec.clean(step or "") for step in (at.site, at.row, at.rack)),
            front.holds,
            int(health.worst),
            len(front.slots),
            health.at_risk,
            _words(name, front, parts),
            codec.to_json(front),
            codec.to_json(health),
        ),
    )
    connection.execute(_FORGET_HOLDINGS, (controller,))
    connection.executemany(_ADD_HOLDING, [(controller, *held) for held in _holdings(parts)])


def refresh(connection: sqlite3.Connection, controller: int) -> bool:
    """Take in what rollups and statuses say now; whether that changed anything."""
    row = connection.execute(_RECORD, (controller,)).fetchone()
    if row is None:
        return False
    health = _health(connection, controller, codec.from_json(row[0], Front))
    standing = codec.to_json(health)
    if standing == row[1]:
        return False
    connection.execute(_SET_HEALTH, (int(health.worst), health.at_risk, standing, controller))
    return True


def _health(connection: sqlite3.Connection, controller: int, front: Front) -> FrontHealth:
    if front.part is None:
        return FrontHealth()
    slots = [codec.clean(slot.part) for slot in front.slots]
    part, roots = codec.clean(front.part), [codec.clean(root) for root in front.roots]
    wanted = json.dumps([part, *roots, *slots])
    rows = connection.execute(_ROLLED, (controller, wanted))
    rolled = {each: codec.from_json(record, Rolled) for each, record in rows}
    asked = json.dumps(slots)
    absent = {
        each
        for each, record in connection.execute(_STATUSES, (controller, asked))
        if codec.from_json(record, Status).state is State.ABSENT
    }
    whole = [rolled[each] for each in (part, *roots) if each in rolled]
    own = rolled.get(part)
    return FrontHealth(
        max((each.worst for each in whole), default=Health.UNKNOWN),
        own.at_risk_through if own is not None else (),
        tuple(
            (
                rolled[slot].worst if slot in rolled else Health.UNKNOWN,
                rolled[slot].at_risk_through if slot in rolled else (),
                slot in absent,
            )
            for slot in slots
        ),
    )


def _holdings(parts: Iterable[Part]) -> list[tuple[str, str, str, str, int]]:
    counts: dict[tuple[str, str, str, str], int] = {}
    for part in parts:
        it = part.identity
        key = (part.kind.value, _short(it.model), _short(it.part_number), _short(it.firmware))
        counts[key] = counts.get(key, 0) + 1
    return [(*key, number) for key, number in list(counts.items())[:_MOST_HOLDINGS]]


def _short(told: str | None) -> str:
    return codec.clean((told or "").strip()[:_LONGEST])


def _words(name: str, front: Front, parts: Iterable[Part]) -> str:
    """What a controller is found by: its name, place and labels, and the serials and names of its parts."""
    told = [name, front.location.text, front.label, *(slot.label for slot in front.slots)]
    for part in parts:
        told += [each for each in (part.identity.serial, part.identity.asset_tag, part.name) if each]
    return codec.clean("\n".join(dict.fromkeys(told)).casefold()[:_MOST_WORDS])
