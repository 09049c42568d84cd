"""What a controller's walks and rounds came to, and cost."""

from __future__ import annotations

from msgspec import Struct

from collector.model import Outcome
from collector.poll.clock import Clock
from collector.redfish.client import Client


class Report(Struct, frozen=True, kw_only=True):
    """What one walk and one round of a controller came to."""

    controller: str
    outcome: Outcome
    error: str
    parts: int
    sensors: int
    readings: int
    """Sensors with a value."""
    defects: int
    seconds: float
    requests: int
    bytes_received: int


class Spent:
    """Where the counters stood when a piece of work began."""

    def __init__(self, clock: Clock, client: Client) -> None:
        self.started = clock.now()
        self.requests = client.requests
        self.bytes_received = client.bytes_received
