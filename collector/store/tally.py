"""What is counted of one controller's rounds, by the store and by the live state alike."""

from __future__ import annotations

from msgspec import Struct

from collector.model import Contact, ControllerState, Location, Outcome, Seconds, Update

LATE = 1.0
"""Seconds behind its due time from which a round counts as late; below, it is the event loop's own grain."""

_FINE = (Outcome.OK, Outcome.PARTIAL)


class Tally(Struct):
    """Counters and the newest facts of one controller; see :class:`~collector.model.ControllerState`."""

    outcome: Outcome | None = None
    error: str = ""
    last_round: Seconds | None = None
    last_good: Seconds | None = None
    seconds: float | None = None
    rounds: int = 0
    failed: int = 0
    late: int = 0
    requests: int = 0
    bytes: int = 0

    def count(self, update: Update) -> None:
        """Take in one update. A walk that succeeded brings readings too, but is no round."""
        if update.inventory is not None:
            self.outcome, self.error = Outcome.OK, ""
            self.last_good = update.inventory.frame.time
        done = update.round
        if done is None:
            return
        self.outcome, self.error = done.outcome, done.error
        self.last_round = done.finished
        self.seconds = done.finished - done.started
        self.rounds += 1
        self.failed += done.outcome not in _FINE
        self.late += done.late >= LATE
        self.requests, self.bytes = done.requests, done.bytes_received
        if done.frame is not None:
            self.last_good = done.finished

    def state(
        self,
        controller: str,
        url: str,
        location: Location,
        insecure: bool,
        defects: int,
        product: str | None,
        redfish_version: str | None,
        contact: Contact | None,
    ) -> ControllerState:
        """The counters as the model's record."""
        return ControllerState(
            controller=controller,
            url=url,
            location=location,
            insecure=insecure,
            outcome=self.outcome,
            error=self.error,
            last_round=self.last_round,
            last_good=self.last_good,
            round_seconds=self.seconds,
            rounds=self.rounds,
            failed_rounds=self.failed,
            late_rounds=self.late,
            requests=self.requests,
            bytes_received=self.bytes,
            defects=defects,
            product=product,
            redfish_version=redfish_version,
            contact=contact,
        )
