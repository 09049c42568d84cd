"""What the store keeps and hands out: updates, newest readings, the state of controllers and of the collector."""

from __future__ import annotations

from array import array

from msgspec import Struct

from collector.model.acts import Permits
from collector.model.conditions import Assessment
from collector.model.contact import Contact
from collector.model.parts import Location
from collector.model.telemetry import Inventory, Outcome, Round, Sensor
from collector.model.words import Health, Seconds


class Update(Struct, frozen=True, kw_only=True):
    """What the store keeps and the publishers follow: a walk or a round with its assessment, or events in between."""

    controller: str
    inventory: Inventory | None = None
    round: Round | None = None
    assessment: Assessment | None = None
    heard: bytes | None = None
    """How far the controller's own events have been read, to be given back after a restart; means something to
    ``poll`` only. Kept together with the events that the assessment carries, or neither is."""
    learnt: bytes | None = None
    """What the looks at it have learnt, to be given back after a restart; means something to ``assess`` only. None
    where it is not to be kept anew."""
    contact: Contact | None = None
    """How the contact with the controller stands; None where that is no news."""
    found_anew: frozenset[str] = frozenset()
    """Ids of parts that the inventory finds and a walk before it, of which nobody was told, did not: no rollup and no
    lamp of theirs from before holds any more. Only where several updates were made one."""


class Reading(Struct, frozen=True, kw_only=True):
    """One sensor's newest value, for people and exports."""

    sensor: Sensor
    value: float | None
    health: Health
    time: Seconds


class ControllerState(Struct, frozen=True, kw_only=True):
    """What the store knows of one controller's telemetry."""

    controller: str
    url: str
    location: Location
    insecure: bool
    """Whether certificate checks are turned off for it, to be shown."""
    outcome: Outcome | None
    """Of the newest round or walk; None before the first."""
    error: str
    last_round: Seconds | None
    """End of the newest round, good or bad."""
    last_good: Seconds | None
    """End of the newest round that brought readings."""
    round_seconds: float | None
    rounds: int
    failed_rounds: int
    late_rounds: int
    requests: int
    """Of the newest round."""
    bytes_received: int
    """Of the newest round."""
    defects: int
    product: str | None = None
    redfish_version: str | None = None
    contact: Contact | None = None
    """How the contact with it stands; None before the first. After a clean stop there is neither session nor
    subscription."""


class CollectorState(Struct, frozen=True, kw_only=True):
    """The collector's own mark in the store: how others tell whether it runs."""

    pid: int
    version: str
    started: Seconds
    heartbeat: Seconds
    """Written with every batch and at least every 5 s."""
    stopped: Seconds | None
    """Set on a clean stop."""
    poll_interval: float
    listen: str
    permits: Permits = Permits()


class History(Struct, frozen=True, kw_only=True):
    """Samples of one sensor, oldest first: parallel columns."""

    times: array[float]
    values: array[float]
    """NaN where the controller told no value."""
