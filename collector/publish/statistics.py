"""What the publishers tell of themselves."""

from __future__ import annotations

from typing import NamedTuple


class MqttStatistics(NamedTuple):
    """How the MQTT publisher does. Counts are since it started."""

    connected: bool
    attempts: int
    failures: int
    """Attempts and connections that ended in an error."""
    published: int
    """Messages handed to the broker, deletions included."""
    retained: int
    """Topics that hold retained state of ours."""
    last_error: str | None
    """Why the newest attempt or connection ended; None while connected."""
