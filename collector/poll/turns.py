"""Which GETs of a plan a round makes: those for parts that seldom change take turns.

A service without ``$expand`` costs one GET for every DIMM, processor and drive, and all that those bring is a state
that stays for months. Where the service rolls up health (Status.HealthRollup of the host or chassis that holds them,
which is read in every round), such a GET is made

* in every :data:`EVERY`-th round, the GETs spread over the rounds;
* in every round in which a rollup above is not OK, or could not be read;
* in every round while one of its own parts is not OK;
* in a round out of turn, made since the service told of an event, and in one that somebody asked for.

So this is promised: health that turns bad is seen in the same round, since DSP8010 has HealthRollup worsen with it;
any other change of a part's state, power, indicator or predicted failure, and health too where a rollup does not keep
its word, is seen within :data:`EVERY` rounds; none that lasts as long is lost. Without a rollup every round makes all
GETs.

If-None-Match is no help for that: DSP0266 lets an ETag ignore what changes fast, so a 304 proves no state, and a
request that is not made is cheaper than one answered with nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Protocol

from msgspec import Struct

from collector.model import Health, Inventory, Kind, Part, Status
from collector.redfish.resources import Fetch

EVERY = 4
"""Rounds in which each of the GETs that take turns is made at least once."""

SELDOM = frozenset(
    {Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.STORAGE_CONTROLLER, Kind.NETWORK_ADAPTER, Kind.PCIE_DEVICE}
)
"""Kinds of parts whose states seldom change, and that a host's or chassis' rollup covers."""


class Turn(Struct, frozen=True):
    """A GET that takes turns."""

    number: int
    """Which of the EVERY rounds is its own."""
    parts: tuple[str, ...]
    """Ids of the parts whose states it brings: all it brings."""
    vouchers: tuple[str, ...]
    """Ids of the parts whose rollups cover those."""
    read_by: tuple[int, ...]
    """Which GETs bring the vouchers' states."""


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

    def ordered(self, indexes: Iterable[int]) -> list[int]:
        """GETs in an order in which those that take turns come after those that vouch for them."""
        return sorted(indexes, key=lambda index: index in self._turns)

    def due(self, index: int, read: Collection[int], *, whole: bool) -> bool:
        """Whether this round makes a GET. ``read``: those it has made with success so far."""
        turn = self._turns.get(index)
        if turn is None or whole or turn.number == self._count % EVERY:
            return True
        if any(by not in read for by in turn.read_by):
            return True
        if not all(self._is_well(voucher) for voucher in turn.vouchers):
            return True
        return any((self._knows.status(part) or _UNKNOWN).health is not Health.OK for part in turn.parts)

    def end(self) -> None:
        """Ends a round."""
        self._count += 1

    def _is_well(self, voucher: str) -> bool:
        return (self._knows.status(voucher) or _UNKNOWN).health_rollup is Health.OK


_UNKNOWN = Status()


def take_turns(inventory: Inventory, fetches: tuple[Fetch, ...]) -> dict[int, Turn]:
    """The GETs of a plan that take turns, by index."""
    parts = {part.id: part for part in inventory.parts}
    told: dict[str, list[Part]] = {}
    for part in inventory.parts:
        if part.id in inventory.statuses:
            told.setdefault(part.uri.partition("#")[0], []).append(part)
    brought = {uri: index for index, fetch in enumerate(fetches) for uri in fetch.brings}
    read = {place.partition("#")[0] for one in inventory.layout.sensors for place in (one.source, *one.also_at)}
    turns: dict[int, Turn] = {}
    for index, fetch in enumerate(fetches):
        here = [part for uri in fetch.brings for part in told.get(uri, ())]
        if not here or not read.isdisjoint(fetch.brings) or any(part.kind not in SELDOM for part in here):
            continue
        vouchers = {_voucher(part, parts, inventory.statuses, brought) for part in here}
        known = sorted(voucher for voucher in vouchers if voucher is not None)
        if None not in vouchers:
            read_by = tuple(brought[parts[voucher].uri] for voucher in known)
            ids = tuple(part.id for part in here)
            turns[index] = Turn(len(turns) % EVERY, ids, tuple(known), read_by)
    # A voucher whose own state takes turns would vouch for nothing.
    return {index: turn for index, turn in turns.items() if turns.keys().isdisjoint(turn.read_by)}


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
