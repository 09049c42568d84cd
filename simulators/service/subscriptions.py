"""Who is to be told of events: subscriptions with their filters, bounded in number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from simulators.service.bell import Bell
from simulators.service.journal import Journal, Record
from simulators.telemetry import Health

Policy = Literal["TerminateAfterRetries", "SuspendRetries", "RetryForever", "RetryForeverWithBackoff"]


class LimitReached(Exception):
    """No further subscription fits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter:
    """Which events a subscriber wants; what is empty excludes nothing."""

    prefixes: tuple[str, ...] = ()
    """Of registries."""
    messages: tuple[str, ...] = ()
    """MessageIds; the version in them is not looked at."""
    origins: tuple[str, ...] = ()
    """URIs of resources."""
    below: bool = False
    """Whether what is below the origins counts as well."""
    types: tuple[str, ...] = ()
    """Schema names of the origins' resources."""
    severities: tuple[Health, ...] = ()

    def takes(self, record: Record, type_of: Callable[[str], str]) -> bool:
        """Whether a record is wanted; ``type_of`` gives the schema name of a resource."""
        registry, _, rest = record.message.partition(".")
        key = rest.rpartition(".")[2]
        return (
            (not self.prefixes or registry in self.prefixes)
            and (not self.messages or any(_names(one, registry, key) for one in self.messages))
            and (not self.origins or any(self._from(one, record.origin) for one in self.origins))
            and (not self.types or (record.origin is not None and type_of(record.origin) in self.types))
            and (not self.severities or record.severity in self.severities)
        )

    def _from(self, wanted: str, origin: str | None) -> bool:
        if origin is None:
            return False
        wanted = wanted.rstrip("/")
        return origin == wanted or (self.below and origin.startswith((f"{wanted}/", f"{wanted}#")))


def _names(id_: str, registry: str, key: str) -> bool:
    return id_.partition(".")[0] == registry and id_.rpartition(".")[2] == key


@dataclass(slots=True, kw_only=True, eq=False)
class Subscription:
    """One subscriber: by push to a destination, or the reader of a stream."""

    id: str
    destination: str | None
    """Where events are posted to; None for a stream."""
    context: str | None
    filter: Filter
    policy: Policy
    sent: int
    """Number of the newest record told, or passed over as not wanted."""
    headers: tuple[tuple[str, str], ...] = ()
    """Sent with every push; may be secret."""
    created: float = 0.0
    reports: bool = False
    """Whether it is told metric reports, and nothing else."""
    reported: float = 0.0
    """When it was told one last, or began."""
    suspended: bool = False
    open: bool = True
    """Whether it still is: a reader of a stream finds out here that it was deleted."""
    delivered: int = 0
    """Events told."""
    failures: int = 0
    """Deliveries that went wrong, one after the other, until now."""
    lost: int = 0
    """Events overwritten before they were told."""
    bell: Bell = field(default_factory=Bell)

    def due(self, journal: Journal, type_of: Callable[[str], str], most: int) -> list[Record]:
        """The next records to tell, ``most`` at most; those not wanted before them count as told."""
        if self.reports:
            self.sent = journal.last
            return []
        overwritten = journal.first - 1 - self.sent
        if overwritten > 0:
            self.lost += overwritten
            self.sent += overwritten
        found: list[Record] = []
        for record in journal.after(self.sent):
            if len(found) == most:
                break
            if self.filter.takes(record, type_of):
                found.append(record)
            elif not found:
                self.sent = record.number
        return found

    def told(self, records: list[Record]) -> None:
        """Those have arrived."""
        self.sent = max(self.sent, records[-1].number)
        self.delivered += len(records)
        self.failures = 0


class Table:
    """The subscriptions of one service."""

    __slots__ = ("_by_id", "_limit", "_streams", "opened")

    def __init__(self, limit: int, streams: int) -> None:
        """At most ``limit`` in all, and ``streams`` of streams."""
        self.opened = 0
        """Subscriptions ever made."""
        self._limit = limit
        self._streams = streams
        self._by_id: dict[str, Subscription] = {}

    def __len__(self) -> int:
        return len(self._by_id)

    def all(self) -> list[Subscription]:
        """Every one, oldest first."""
        return list(self._by_id.values())

    def get(self, id_: str) -> Subscription | None:
        """The one of an id."""
        return self._by_id.get(id_)

    def open(
        self,
        *,
        destination: str | None,
        context: str | None,
        filter: Filter,
        policy: Policy,
        sent: int,
        now: float,
        headers: tuple[tuple[str, str], ...] = (),
        reports: bool = False,
    ) -> Subscription:
        """Make one; raises :class:`LimitReached`."""
        streams = sum(one.destination is None for one in self._by_id.values())
        if len(self._by_id) >= self._limit or (destination is None and streams >= self._streams):
            raise LimitReached
        self.opened += 1
        made = Subscription(
            id=str(self.opened),
            destination=destination,
            context=context,
            filter=filter,
            policy=policy,
            sent=sent,
            headers=headers,
            created=now,
            reports=reports,
            reported=now,
        )
        self._by_id[made.id] = made
        return made

    def close(self, subscription: Subscription) -> None:
        """End one; harmless when it has ended."""
        self._by_id.pop(subscription.id, None)
        subscription.open = False
        subscription.bell.ring()
