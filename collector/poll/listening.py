"""What following a controller's events takes of others: where to listen, and whom to tell."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Protocol

from msgspec import Struct

from collector.poll.hearing import Told
from collector.redfish.event_stream import IDLE
from collector.redfish.registries import Shelf


class Push(Protocol):
    """Where events can be pushed to; see :class:`collector.poll.listener.Listener`."""

    def address(self, controller: str) -> str:
        """The URL for one controller."""

    def attach(self, controller: str, take: Callable[[bytes], bool]) -> None:
        """Who takes what is pushed there."""


class Listening(Struct, frozen=True, kw_only=True):
    """What a keeper needs to follow a controller's events."""

    secret: bytes
    """Of the installation; marks our subscriptions."""
    push: Push | None = None
    standard: Shelf | None = None
    """Registries that the user has at hand, for services that have none."""
    kept: bytes | None = None
    """How far an earlier process has read them."""
    idle: float = IDLE
    """Seconds of silence after which a stream is opened anew."""


class Holder(Protocol):
    """What the events need of their keeper."""

    @property
    def answering(self) -> bool:
        """Whether the controller answered last time."""

    async def heard(self, told: Told) -> None:
        """Tell an update, hurry a round, plan a walk."""

    def reported(self, told: Mapping[str, Any], body: bytes) -> None:
        """Take a metric report that came by itself: as decoded, and as it came."""
