"""The whole fleet at a glance, from the summary rows: narrow questions whose answers are short, however big it is."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple, TypeVar

import msgspec

from collector.model import Condition, Event, Health, Location, Outcome, Part, Seconds, WorkOrder
from collector.model.places import Front, FrontHealth
from collector.store import codec

T = TypeVar("T")

Rows = Callable[..., list[Any]]
"""Runs a statement with its parameters and gives all rows."""

_ANSWERS = "('ok', 'partial')"
_HEARD = f"coalesce(r.outcome IN {_ANSWERS}, 0)"
_HEALTH = f"CASE WHEN {_HEARD} THEN f.health ELSE 0 END"
_FROM = """
FROM fronts f CROSS JOIN controllers c ON c.id = f.controller LEFT JOIN rounds r ON r.controller = f.controller
WHERE c.retired IS NULL
"""
"""The cross join keeps SQLite to this order: by the index of racks, not by the controllers' names."""
_RACKS = f"""
SELECT f.site, f.line, f.rack, sum(f.holds = 'sled'),
    sum(f.holds = 'sled' AND {_HEALTH} = 3), sum(f.holds = 'sled' AND {_HEALTH} = 2),
    sum(f.holds = 'sled' AND {_HEALTH} = 1), sum(f.holds = 'sled' AND {_HEALTH} = 0),
    sum(f.holds NOT IN ('sled', 'power shelf')), max({_HEALTH}), sum({_HEARD} * f.at_risk),
    sum({_HEARD} AND f.at_risk > 0),
    sum(r.outcome IS NOT NULL AND NOT {_HEARD}), sum(r.outcome IS NULL), min({_HEALTH}),
    sum(f.holds = 'power shelf')
{_FROM} {{}} GROUP BY f.site, f.line, f.rack
"""
_FRONTS = f"SELECT c.name, r.outcome, f.record, f.standing {_FROM} {{}} ORDER BY c.name LIMIT :limit"
_LOCATIONS = (
    "SELECT c.name, json_extract(f.record, '$.location') FROM fronts f JOIN controllers c ON c.id = f.controller"
)
_PLACED = """
SELECT c.name, c.location FROM json_each(:names) n JOIN controllers c ON c.name = n.value WHERE c.retired IS NULL
"""
_NAMES = f"SELECT c.name {_FROM} {{}}"
_WORST = f"""
SELECT c.name, r.outcome, f.record, f.standing {_FROM} {{}}
ORDER BY {_HEALTH} DESC, f.at_risk DESC, c.name LIMIT :limit
"""
_RISKS = f"SELECT f.standing {_FROM} AND f.at_risk > 0 AND {_HEARD}"
_TELEMETRY = f"""
SELECT count(*), sum({_HEARD}), sum(r.outcome IS NOT NULL AND NOT {_HEARD}), sum(r.outcome IS NULL),
    sum({_HEARD} AND r.last_good < :behind), max(CASE WHEN {_HEARD} THEN r.last_good END),
    min(CASE WHEN {_HEARD} THEN r.last_good END), sum(r.valued), sum(r.sensors), sum(c.insecure)
FROM controllers c LEFT JOIN rounds r ON r.controller = c.id WHERE c.retired IS NULL
"""  # noqa: S608 - names from above
_DEFECTS = "SELECT count(*) FROM controllers c JOIN defects d ON d.controller = c.id WHERE c.retired IS NULL"
_SILENT = f"""
SELECT c.name, r.outcome, r.error, r.last_good, c.url, f.record {_FROM} {{}}
    AND r.outcome IS NOT NULL AND NOT {_HEARD} ORDER BY coalesce(r.last_good, 0), c.name LIMIT :limit
"""
_PARTS = """
SELECT p.record FROM json_each(:names) n JOIN controllers c ON c.name = n.value JOIN parts p ON p.controller = c.id
WHERE c.retired IS NULL ORDER BY c.name, p.position
"""
_SOME_PARTS = """
SELECT p.record FROM json_each(:parts) n JOIN controllers c ON c.name = json_extract(n.value, '$[0]')
JOIN parts p ON p.controller = c.id AND p.id = json_extract(n.value, '$[1]') WHERE c.retired IS NULL
"""
_HOLDINGS = """
SELECT h.kind, h.model, h.part_number, h.firmware, count(*) FROM holdings h
WHERE h.controller NOT IN (SELECT id FROM controllers WHERE retired IS NOT NULL)
GROUP BY h.kind, h.model, h.part_number, h.firmware
"""
_CHANGES = "SELECT subject, number FROM changes"
_OPENED = """
SELECT s.record FROM conditions s JOIN controllers c ON c.id = s.controller
WHERE c.retired IS NULL AND s.opened >= :since ORDER BY s.severity DESC, s.opened DESC LIMIT :limit
"""
_CLOSED = """
SELECT s.record FROM conditions s JOIN controllers c ON c.id = s.controller
WHERE c.retired IS NULL AND s.closed IS NOT NULL AND s.closed >= :since ORDER BY s.closed DESC LIMIT :limit
"""
_ORDERS_CLOSED = """
SELECT record FROM orders WHERE closed IS NOT NULL AND closed >= :since ORDER BY closed DESC LIMIT :limit
"""
_LATELY = """
SELECT e.time, c.name, e.part, e.subject, e.severity, e.text FROM events e JOIN controllers c ON c.id = e.controller
WHERE e.time >= :since AND e.subject IN (SELECT value FROM json_each(:subjects))
ORDER BY e.time DESC, e.id DESC LIMIT :limit
"""


class RackCount(NamedTuple):
    """What stands in one rack, or in no rack that is told, in counts."""

    site: str
    line: str
    rack: str
    sleds: int
    critical: int
    warning: int
    ok: int
    unknown: int
    others: int
    """Things that are neither sleds nor power shelves."""
    worst: Health
    """Of all that stand there and are heard."""
    at_risk: int
    """Blades."""
    exposed: int
    """Sleds with such blades."""
    silent: int
    waiting: int
    """Not asked yet."""
    least: Health
    """The least of the healths, unknown first."""
    shelves: int = 0
    """Power shelves."""

    @property
    def number(self) -> int:
        """Of all things that stand there."""
        return self.sleds + self.shelves + self.others


class FrontRow(NamedTuple):
    """One controller as drawn."""

    controller: str
    outcome: Outcome | None
    front: Front
    health: FrontHealth


class Totals(NamedTuple):
    """How the whole fleet is heard."""

    controllers: int
    answering: int
    failing: int
    waiting: int
    behind: int
    newest: Seconds | None
    oldest: Seconds | None
    valued: int
    sensors: int
    unchecked: int
    defects: int


class SilentRow(NamedTuple):
    """A controller whose newest round failed."""

    controller: str
    outcome: Outcome
    error: str
    last_good: Seconds | None
    url: str
    front: Front


class PlacedRow(NamedTuple):
    """A controller, and where the fleet file says it is."""

    controller: str
    location: Location


class HoldingRow(NamedTuple):
    """One sort of part, and how much of the fleet holds it."""

    kind: str
    model: str
    part_number: str
    firmware: str
    controllers: int


class Chosen(msgspec.Struct, frozen=True):
    """A choice among the controllers; what is empty lets all through. All of it must hold at once."""

    site: str = ""
    row: str = ""
    rack: str = ""
    kind: str = ""
    """Of a part; with model, number and firmware of the same one."""
    model: str = ""
    part_number: str = ""
    firmware: str = ""
    severity: str = ""
    """The word of a health."""
    state: str = ""
    """One of :data:`STATES`."""
    text: str = ""
    """Words that must all be found, in name, place, labels, serials and names of parts."""
    names: tuple[str, ...] | None = None
    """Only these controllers; None for any."""


STATES = {
    "answering": _HEARD,
    "not answering": f"r.outcome IS NOT NULL AND NOT {_HEARD}",
    "not asked yet": "r.outcome IS NULL",
    "blades at risk": f"{_HEARD} AND f.at_risk > 0",
    "certificate not checked": "c.insecure",
    "with defects": "EXISTS (SELECT 1 FROM defects d WHERE d.controller = c.id)",
    "in no rack": "f.rack = ''",
}
"""What a controller may be chosen for, and how that is asked."""

_MOST_WORDS = 8


def condition_of(chosen: Chosen) -> tuple[str, dict[str, Any]]:
    """The choice as further conditions of a statement, and their parameters."""
    told: list[str] = []
    given: dict[str, Any] = {}
    for column, value in (("site", chosen.site), ("line", chosen.row), ("rack", chosen.rack)):
        if value:
            told.append(f"f.{column} = :{column}")
            given[column] = value
    held = []
    for column in ("kind", "model", "part_number", "firmware"):
        if value := getattr(chosen, column):
            held.append(f"h.{column} = :{column}")
            given[column] = value
    if held:
        told.append(f"f.controller IN (SELECT h.controller FROM holdings h WHERE {' AND '.join(held)})")  # noqa: S608
    if chosen.severity:
        told.append(f"{_HEALTH} = :severity")
        given["severity"] = next((int(each) for each in Health if each.word == chosen.severity), -1)
    if chosen.state:
        told.append(STATES.get(chosen.state, "0"))
    for place, word in enumerate(chosen.text.casefold().split()[:_MOST_WORDS]):
        told.append(f"instr(f.words, :word{place})")
        given[f"word{place}"] = codec.clean(word)
    if chosen.names is not None:
        told.append("f.controller IN (SELECT id FROM controllers WHERE name IN (SELECT value FROM json_each(:names)))")
        given["names"] = json.dumps(chosen.names)
    return "".join(f" AND ({each})" for each in told), given


class Overview:
    """Asks the summary rows; ``rows`` and ``record`` are a reader's, and so are the errors."""

    def __init__(self, rows: Rows, record: Callable[[str, Any], Any], word: Callable[[str, Any], Any]) -> None:
        self._rows = rows
        self._record = record
        self._word = word

    def changes(self) -> dict[str, int]:
        """How often each subject has changed: fronts, conditions, answers, margins, events."""
        return dict(self._rows(_CHANGES))

    def racks(self, chosen: Chosen | None = None) -> list[RackCount]:
        """Every rack that holds a chosen controller, by site, row and name."""
        where, given = condition_of(chosen or Chosen())
        return [
            RackCount._make((*row[:9], codec.health(row[9]), *row[10:14], codec.health(row[14]), row[15]))
            for row in self._rows(_RACKS.format(where), given)
        ]

    def fronts(self, chosen: Chosen, limit: int) -> list[FrontRow]:
        """Chosen controllers as drawn, by name."""
        where, given = condition_of(chosen)
        return self._fronts(_FRONTS.format(where), {**given, "limit": limit})

    def worst_fronts(self, chosen: Chosen, limit: int) -> list[FrontRow]:
        """The same, the worst first."""
        where, given = condition_of(chosen)
        return self._fronts(_WORST.format(where), {**given, "limit": limit})

    def _fronts(self, statement: str, given: dict[str, Any]) -> list[FrontRow]:
        return [
            FrontRow(
                name,
                None if outcome is None else self._word(outcome, Outcome),
                self._record(front, Front),
                self._record(standing, FrontHealth),
            )
            for name, outcome, front, standing in self._rows(statement, given)
        ]

    def names(self, chosen: Chosen) -> frozenset[str]:
        """The chosen controllers."""
        where, given = condition_of(chosen)
        return frozenset(row[0] for row in self._rows(_NAMES.format(where), given))

    def leaning(self) -> dict[str, int]:
        """By id of a part in trouble: how many blades are at risk through it."""
        found: dict[str, int] = {}
        for (standing,) in self._rows(_RISKS):
            for _, risk, _ in self._record(standing, FrontHealth).blades:
                for cause in risk:
                    found[cause] = found.get(cause, 0) + 1
        return found

    def totals(self, behind: Seconds) -> Totals:
        """How the fleet is heard; ``behind``: readings from before are late."""
        counts = self._rows(_TELEMETRY, {"behind": behind})[0]
        defects = self._rows(_DEFECTS)[0][0]
        numbers = [each or 0 for each in counts]
        return Totals._make((*numbers[:5], counts[5], counts[6], *numbers[7:10], defects))

    def silent(self, chosen: Chosen, limit: int) -> list[SilentRow]:
        """Chosen controllers whose newest round failed, those longest without a good one first."""
        where, given = condition_of(chosen)
        return [
            SilentRow(name, self._word(outcome, Outcome), error, last_good, url, self._record(front, Front))
            for name, outcome, error, last_good, url, front in self._rows(
                _SILENT.format(where), {**given, "limit": limit}
            )
        ]

    def parts_of(self, controllers: Iterable[str]) -> list[Part]:
        """All parts of some controllers."""
        names = json.dumps(sorted(set(controllers)))
        return [self._record(row[0], Part) for row in self._rows(_PARTS, {"names": names})]

    def parts(self, ids: Iterable[str]) -> dict[str, Part]:
        """Some parts by id; one that no controller tells of is left out."""
        pairs = json.dumps([(part.partition(":")[0], codec.clean(part)) for part in sorted(set(ids))])
        found = (self._record(row[0], Part) for row in self._rows(_SOME_PARTS, {"parts": pairs}))
        return {part.id: part for part in found}

    def locations(self) -> dict[str, Location]:
        """Where every controller's front is, by name."""
        rows = self._rows(f"{_LOCATIONS} WHERE c.retired IS NULL")
        return {name: self._record(told, Location) if told else Location() for name, told in rows}

    def placed(self, controllers: Iterable[str]) -> list[PlacedRow]:
        """Where the fleet file says that some controllers are."""
        names = json.dumps(sorted(set(controllers)))
        rows = self._rows(_PLACED, {"names": names})
        return [PlacedRow(name, self._record(told, Location)) for name, told in rows]

    def holdings(self) -> list[HoldingRow]:
        """Every sort of part that the fleet holds."""
        return [HoldingRow(*row) for row in self._rows(_HOLDINGS)]

    def opened(self, since: Seconds, limit: int) -> list[Condition]:
        """Conditions that opened since, closed or not, worst first."""
        return self._records(_OPENED, Condition, since, limit)

    def closed(self, since: Seconds, limit: int) -> list[Condition]:
        """Conditions that closed since, newest first."""
        return self._records(_CLOSED, Condition, since, limit)

    def orders_closed(self, since: Seconds, limit: int) -> list[WorkOrder]:
        """Orders that closed since, newest first."""
        return self._records(_ORDERS_CLOSED, WorkOrder, since, limit)

    def _records(self, statement: str, kind: type[T], since: Seconds, limit: int) -> list[T]:
        return [self._record(row[0], kind) for row in self._rows(statement, {"since": since, "limit": limit})]

    def events_about(self, subjects: Sequence[str], since: Seconds, limit: int) -> list[Event]:
        """What happened since to some subjects, newest first."""
        given = {"since": since, "limit": limit, "subjects": json.dumps(subjects)}
        return [
            Event(time=time, controller=name, part=part, subject=subject, severity=codec.health(severity), text=text)
            for time, name, part, subject, severity, text in self._rows(_LATELY, given)
        ]
