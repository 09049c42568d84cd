"""Which GETs of a plan a round makes: those for what seldom changes take turns.

A service without ``$expand`` costs one GET for every DIMM, processor and drive, and all that those bring is a state
that stays for months. Three kinds of GETs are left out of most rounds:

*States* of parts of :data:`SELDOM`, where the service rolls up health (Status.HealthRollup of the host or chassis that
holds them, which is read in every round): one round in :data:`EVERY`, or in :data:`EVERY_INSIDE` where nobody could
have pulled the part without opening the sled.

*Links* of network ports: every :data:`EVERY_LINK`-th round, with or without a rollup.

*Counts* that only grow, and so lose nothing by waiting: energy every :data:`EVERY`-th round; errors, wear, traffic and
hours of service every :data:`EVERY_COUNT`-th. Their readings stand in the rounds between with the time at which they
were read. A metric report that brings nothing else waits with them.

Each is made out of its turn

* in every round in which a rollup above the states is not OK, or could not be read;
* in every round while one of its own parts is not OK; for links and counts, that they belong to;
* in the round after one in which it failed, or in which a reading of one of its own parts was missing for the first
  time: what is pulled out is no trouble to a rollup;
* in a round out of turn, made since the service told of an event, and in one that somebody asked for.

So this is promised: health that turns bad is seen in the same round, since DSP8010 has HealthRollup worsen with it; a
link that goes down is seen within two rounds; any other change of a part's state, power, indicator or predicted
failure, and health too where a rollup does not keep its word, is seen within its own number of rounds; none that lasts
as long is lost. Without a rollup every round reads all states.

If-None-Match is no help for that: DSP0266 lets an ETag ignore what changes fast, so a 304 proves no state, and a
request that is not made is cheaper than one answered with nothing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from typing import Protocol

from msgspec import Struct

from collector.model import Frame, Health, Inventory, Kind, Part, Quantity, Sensor, Status
from collector.normalise.compiled import compile_plans
from collector.normalise.inventory import Normalised
from collector.redfish.resources import Fetch

EVERY = 4
"""Rounds in which each GET of states, or of energy, that takes turns is made at least once."""
EVERY_INSIDE = 8
"""The same for parts that can't be reached without opening what holds them."""
EVERY_LINK = 2
"""The same for network ports."""
EVERY_COUNT = 10
"""The same for counts."""

_INSIDE = frozenset({Kind.PROCESSOR, Kind.MEMORY, Kind.STORAGE_CONTROLLER, Kind.PCIE_DEVICE})
_OUTSIDE = frozenset({Kind.DRIVE, Kind.NETWORK_ADAPTER, Kind.FAN, Kind.POWER_SUPPLY, Kind.FILTER, Kind.PUMP})
SELDOM = _INSIDE | _OUTSIDE
"""Kinds of parts whose states seldom change, and that a host's or chassis' rollup covers."""

_COUNTED = frozenset({Quantity.COUNT, Quantity.DATA, Quantity.TIME})
_WEAR = (
    "PredictedMediaLifeLeftPercent",
    "RemainingSpareBlockPercentage",
    "AvailableSparePercent",
    "PercentageUsed",
    "AdditivePercent",
)


class Turn(Struct, frozen=True):
    """A GET that takes turns."""

    every: int
    """Rounds in which it is made once."""
    number: int
    """Which of these is its own."""
    parts: tuple[str, ...] = ()
    """Ids of the parts whose states it brings and which must be told to be OK."""
    vouchers: tuple[str, ...] = ()
    """Ids of the parts whose rollups cover those."""
    read_by: tuple[int, ...] = ()
    """Which GETs bring the vouchers' states."""
    about: tuple[str, ...] = ()
    """Ids of the parts that its links and counts belong to, which must not be told to be in trouble."""


class Knows(Protocol):
    """What was told of a part last."""

    def status(self, part: str) -> Status | None:
        """The newest status of a part, as far as this round has come; None where none is told."""


class Turns:
    """The turns of one plan."""

    def __init__(self, inventory: Inventory, fetches: tuple[Fetch, ...], knows: Knows) -> None:
        self._turns = take_turns(inventory, fetches)
        self._knows = knows
        self._count = 0
        own = {part: index for index, turn in self._turns.items() for part in turn.parts}
        self._of_column = {
            column: own[sensor.part] for column, sensor in enumerate(inventory.layout.sensors) if sensor.part in own
        }
        """By column of a reading whose part's state takes turns: which GET brings that."""
        self._had: set[int] = set()
        """Which of them had a value in the round before that lacked nothing."""

    @property
    def indexes(self) -> Collection[int]:
        """The GETs that take turns."""
        return self._turns.keys()

    def ordered(self, indexes: Iterable[int]) -> list[int]:
        """GETs in an order in which those that take turns come after those that vouch for them."""
        return sorted(indexes, key=lambda index: index in self._turns)

    def due(self, index: int, read: Collection[int], *, whole: bool) -> bool:
        """Whether this round makes a GET. ``read``: those it has made with success so far."""
        turn = self._turns.get(index)
        if turn is None or whole or turn.number == self._count % turn.every:
            return True
        if any(by not in read for by in turn.read_by):
            return True
        if not all(self._told(voucher).health_rollup is Health.OK for voucher in turn.vouchers):
            return True
        if any(self._told(part).health is not Health.OK for part in turn.parts):
            return True
        return any(self._told(part).health not in (Health.OK, Health.UNKNOWN) for part in turn.about)

    def lost(self, frame: Frame | None) -> frozenset[int]:
        """The GETs of states of parts a reading of which had a value before, and has none in this round, whose GETs all
        brought something."""
        if frame is None:
            return frozenset()
        values = frame.values
        has = {column for column in self._of_column if not math.isnan(values[column])}
        lost = frozenset(self._of_column[column] for column in self._had - has)
        self._had = has
        return lost

    def end(self) -> None:
        """Ends a round."""
        self._count += 1

    def _told(self, part: str) -> Status:
        return self._knows.status(part) or _UNKNOWN


_UNKNOWN = Status()


def take_turns(inventory: Inventory, fetches: tuple[Fetch, ...]) -> dict[int, Turn]:
    """The GETs of a plan that take turns, by index."""
    parts = {part.id: part for part in inventory.parts}
    states: dict[str, list[Part]] = {}
    for part in inventory.parts:
        if part.id in inventory.statuses:
            states.setdefault(part.uri.partition("#")[0], []).append(part)
    readings = _readings(inventory, fetches)
    brought = {uri: index for index, fetch in enumerate(fetches) for uri in fetch.brings}
    turns: dict[int, Turn] = {}
    taken: Counter[int] = Counter()
    for index, fetch in enumerate(fetches):
        here = [part for uri in fetch.brings for part in states.get(uri, ())]
        read = readings[index]
        periods = [_period(part) for part in here] + [count_period(sensor) for sensor in read]
        if not periods or 0 in periods:
            continue
        vouched = [part for part in here if part.kind in SELDOM]
        vouchers = {_voucher(part, parts, inventory.statuses, brought) for part in vouched}
        if None in vouchers:
            continue
        known = sorted(voucher for voucher in vouchers if voucher is not None)
        about = {sensor.part for sensor in read} | {part.id for part in here}
        about |= {part.parent for part in here if part.kind is Kind.PORT and part.parent is not None}
        every = min(periods)
        turns[index] = Turn(
            every=every,
            number=taken[every] % every,
            parts=tuple(part.id for part in vouched),
            vouchers=tuple(known),
            read_by=tuple(brought[parts[voucher].uri] for voucher in known),
            about=tuple(sorted(about - {part.id for part in vouched})),
        )
        taken[every] += 1
    # A voucher whose own state takes turns would vouch for nothing.
    return {index: turn for index, turn in turns.items() if turns.keys().isdisjoint(turn.read_by)}


def count_period(sensor: Sensor) -> int:
    """How many rounds a reading may wait for its turn: 0 where it is wanted in every round.

    A Sensor resource of its own is one that the maker found worth watching: it is read always.
    """
    if "#" not in sensor.source:
        return 0
    if sensor.quantity is Quantity.ENERGY:
        return EVERY
    wears = sensor.quantity is Quantity.PERCENT and sensor.source.endswith(_WEAR)
    return EVERY_COUNT if wears or sensor.quantity in _COUNTED else 0


def _period(part: Part) -> int:
    """How many rounds a part's state may wait for its turn; 0 where it may not."""
    if part.kind is Kind.PORT:
        return EVERY_LINK
    return EVERY_INSIDE if part.kind in _INSIDE else EVERY if part.kind in _OUTSIDE else 0


def _readings(inventory: Inventory, fetches: tuple[Fetch, ...]) -> list[list[Sensor]]:
    """Of each GET the sensors that are read from what it brings."""
    sensors = inventory.layout.sensors
    if isinstance(inventory, Normalised):
        return [[sensors[column] for column in one.columns] for one in compile_plans(inventory.recipe, fetches)]
    at: dict[str, list[Sensor]] = {}
    for sensor in sensors:
        for uri in dict.fromkeys(place.partition("#")[0] for place in (sensor.source, *sensor.also_at)):
            at.setdefault(uri, []).append(sensor)
    return [[sensor for uri in fetch.brings for sensor in at.get(uri, ())] for fetch in fetches]


def _voucher(
    part: Part, parts: Mapping[str, Part], statuses: Mapping[str, Status], brought: Mapping[str, int]
) -> str | None:
    """The nearest host or other container whose rollup covers a part and is read with the plan."""
    holder = parts.get(part.parent or "")
    while holder is not None:
        rollup = statuses.get(holder.id, _UNKNOWN).health_rollup
        if rollup is not Health.UNKNOWN and holder.kind not in SELDOM and holder.uri in brought:
            return holder.id
        holder = parts.get(holder.parent or "")
    return None
