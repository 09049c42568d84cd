"""What a controller's walks and rounds came to, and cost."""

from __future__ import annotations

import math

from msgspec import Struct

from collector.model import Inventory, Outcome, Round, Seconds
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

    def as_round(self, controller: str, client: Client, now: Seconds, outcome: Outcome, error: str) -> Round:
        """What it came to where it brought nothing, told as a round that ends now."""
        return Round(
            controller=controller,
            started=self.started,
            finished=now,
            outcome=outcome,
            error=error,
            requests=client.requests - self.requests,
            bytes_received=client.bytes_received - self.bytes_received,
        )


def report(controller: str, inventory: Inventory | None, done: Round | None, client: Client, seconds: float) -> Report:
    """What a walk and the round that followed it, if any, came to."""
    frame = done.frame if done is not None else None
    return Report(
        controller=controller,
        outcome=done.outcome if done is not None else Outcome.OK,
        error=done.error if done is not None else "",
        parts=len(inventory.parts) if inventory is not None else 0,
        sensors=len(inventory.layout.sensors) if inventory is not None else 0,
        readings=sum(not math.isnan(value) for value in frame.values) if frame is not None else 0,
        defects=(len(inventory.defects) if inventory is not None else 0)
        + (len(done.defects) if done is not None else 0),
        seconds=seconds,
        requests=client.requests,
        bytes_received=client.bytes_received,
    )
