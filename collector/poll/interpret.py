"""From a finished walk to all that rounds need: where the collector's rooms meet."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol

from msgspec import Struct, structs

from collector.model import Inventory, Location, Seconds, Status
from collector.normalise.inventory import build
from collector.normalise.polled import Decoded, Decoder
from collector.poll.plan import plan
from collector.redfish import service_clock
from collector.redfish.resources import ClockRead, Fetch, Walked


class Decodes(Protocol):
    """What a round wants of a decoder; see :class:`~collector.normalise.polled.Decoder`."""

    def begin(self) -> None:
        """Start a round."""

    def take(self, index: int, body: bytes, received: Seconds) -> None:
        """Take the body that the plan's fetch ``index`` brought; never raises on what a controller sent."""

    def remember(self, indexes: Iterable[int]) -> None:
        """Say which fetches rounds may leave out."""

    def keep(self, index: int) -> None:
        """Leave a fetch out of the round: what it brought last holds on."""

    def status(self, part: str) -> Status | None:
        """The newest status of a part, by its id; None where none is told."""

    def finish(self, time: Seconds) -> Decoded:
        """End the round."""


class Interpreted(Struct, frozen=True):
    """An inventory and how to keep it up to date."""

    inventory: Inventory
    fetches: tuple[Fetch, ...]
    decoder: Decodes
    clock: ClockRead | None = None
    """The service's clock, as the walk found it."""


Interpret = Callable[[Walked, Location], Interpreted]


def interpret(walked: Walked, location: Location) -> Interpreted:
    """Normalise a walk and plan the rounds that follow it."""
    inventory = build(walked, location)
    if walked.clock is not None:
        wrong = service_clock.defect(walked.controller, walked.clock)
        inventory = structs.replace(
            inventory,
            clock_offset=walked.clock.offset,
            defects=inventory.defects if wrong is None else (*inventory.defects, wrong),
        )
    fetches = plan(walked, inventory)
    return Interpreted(inventory, fetches, Decoder(inventory, fetches), walked.clock)
