"""What a dialect's services offer beside the hardware: logs, events, reports. A table, a line a dialect."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class LogStyle:
    """How a dialect keeps and tells its logs."""

    service: str
    """Schema of a LogService."""
    entry: str
    """Schema of a LogEntry."""
    capacity: int
    """Entries kept; further ones overwrite the oldest."""
    page: int
    """Entries in one answer; the rest by nextLink."""
    newest_first: bool
    hosts: bool = False
    """Whether each host has a log of its own besides the controller's."""


@dataclass(frozen=True, slots=True)
class Log:
    """One log of a design."""

    path: str
    """Of its LogService."""
    name: str
    under: str
    """Only what is about this part below the sled, or what it contains; empty for everything."""

    @property
    def entries(self) -> str:
        """Path of its entries."""
        return f"{self.path}/Entries"


@dataclass(frozen=True, slots=True)
class Control:
    """One reset."""

    path: str
    blades: tuple[int, ...]
    """Numbers of the blades whose hosts it is about, from 1; none for the controller's own."""
    words: tuple[str, ...]
    """Of ResetType, that it takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resets:
    """What a dialect lets be switched."""

    host: tuple[str, ...]
    """Words of ResetType for each host."""
    sled: tuple[str, ...] = ()
    """The same for the sled as a whole; none where it can't be switched so."""
    info: bool = False
    """Whether the words stand in an ActionInfo resource instead of beside the action."""
    task: float = 0.0
    """Seconds for which a reset is a task that can be watched; 0: it is done when it is answered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventStyle:
    """How a dialect tells events at once."""

    service: str
    """Schema of the EventService."""
    destination: str
    """Schema of a subscription."""
    event: str
    """Schema of an event message."""
    streams: int
    """Server-sent event streams open at once; 0: none are offered."""
    subscriptions: int
    """Subscriptions at once, those of streams among them."""
    report_every: float = 0.0
    """Seconds between two metric reports that are told as they are made; 0: none are."""
    indent: bool = False
    """Whether a streamed event is told in several lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """All of it."""

    logs: LogStyle
    events: EventStyle | None = None
    reports: Literal["none", "sensors"] = "none"
    """``sensors``: a metric report brings every sensor at once."""
    resets: Resets | None = None
    """What can be switched, besides what profiles ask for."""
    profile: bool = False
    """Whether it has what server profiles ask for: resets, boot overrides, its own network."""
    newer: bool = True
    """Whether the schemas are of this decade: they know served registries, role ids and account types."""
    account_service: str = "AccountService.v1_18_1.AccountService"
    account: str = "ManagerAccount.v1_14_1.ManagerAccount"
    role: str = "Role.v1_3_3.Role"
    registry_file: str = "MessageRegistryFile.v1_1_5.MessageRegistryFile"
    property: str = "LocationIndicatorActive"
    """Name of the property of a locate lamp."""
    percent: bool = True
    """Whether fans are told in percent of their rated speed."""


_LOGS = LogStyle(
    service="LogService.v1_9_0.LogService",
    entry="LogEntry.v1_21_0.LogEntry",
    capacity=256,
    page=50,
    newest_first=True,
)
_OLD_LOGS = LogStyle(
    service="LogService.v1_0_0.LogService",
    entry="LogEntry.v1_3_0.LogEntry",
    capacity=48,
    page=8,
    newest_first=False,
)
_STREAMS = EventStyle(
    service="EventService.v1_12_0.EventService",
    destination="EventDestination.v1_16_0.EventDestination",
    event="Event.v1_13_0.Event",
    streams=3,
    subscriptions=8,
    indent=True,
)
_PUSH = EventStyle(
    service="EventService.v1_3_0.EventService",
    destination="EventDestination.v1_6_0.EventDestination",
    event="Event.v1_4_0.Event",
    streams=0,
    subscriptions=4,
)

_GRACEFUL = ("On", "ForceOff", "GracefulShutdown", "GracefulRestart", "ForceRestart", "PowerCycle")
_RESETS = Resets(host=_GRACEFUL, sled=("On", "ForceOff", "PowerCycle"))

MODERN = Offer(logs=_LOGS, events=_STREAMS, resets=_RESETS)
CLASSIC = Offer(
    logs=_OLD_LOGS,
    resets=Resets(host=("On", "ForceOff", "GracefulShutdown", "ForceRestart", "PushPowerButton")),
    newer=False,
    account_service="AccountService.v1_3_0.AccountService",
    account="ManagerAccount.v1_1_2.ManagerAccount",
    role="Role.v1_2_2.Role",
    registry_file="MessageRegistryFile.v1_1_0.MessageRegistryFile",
    property="IndicatorLED",
    percent=False,
)
PUSH = Offer(logs=replace(_LOGS, capacity=64, hosts=True), events=_PUSH, resets=replace(_RESETS, info=True, task=4.0))
REPORTS = Offer(
    logs=_LOGS,
    events=replace(_STREAMS, indent=False, report_every=5.0),
    reports="sensors",
    resets=Resets(host=("PushPowerButton",)),
)

OFFERS: Mapping[str, Offer] = {
    "modern": MODERN,
    "classic": CLASSIC,
    "push": PUSH,
    "reports": REPORTS,
    "both": MODERN,
    "server": replace(MODERN, profile=True, resets=None),
    "plain": Offer(logs=replace(_LOGS, page=20)),
    "small-pages": Offer(logs=replace(_LOGS, page=5), events=_STREAMS),
    "slow": CLASSIC,
}
"""By dialect; one that is not here offers nothing of the kind."""
