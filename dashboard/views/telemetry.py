"""How fresh and complete the telemetry is, and whether anyone collects it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from collector.model import CollectorState, ControllerState, Seconds
from dashboard.views.floor import answers
from dashboard.views.words import age

SILENT_AFTER = 15.0
"""Seconds without a heartbeat after which a collector counts as gone; it writes one every 5 s at least."""


class Running(Enum):
    """Whether a collector runs."""

    YES = "running"
    STOPPED = "stopped"
    """It ended as it should."""
    GONE = "gone"
    """Its heartbeat ended without a word."""
    NEVER = "never"
    """No collector has written to this store."""


def running(state: CollectorState | None, now: Seconds) -> Running:
    """Whether the collector that wrote ``state`` is there at ``now``."""
    if state is None:
        return Running.NEVER
    if state.stopped is not None:
        return Running.STOPPED
    return Running.YES if now - state.heartbeat <= SILENT_AFTER else Running.GONE


def said(state: CollectorState | None, now: Seconds) -> str:
    """One plain sentence about the collector."""
    match running(state, now), state:
        case Running.YES, CollectorState():
            return f"The collector is running, since {age(now - state.started)}."
        case Running.STOPPED, CollectorState(stopped=float(stopped)):
            return f"The collector is not running: it was stopped {age(now - stopped)} ago."
        case Running.GONE, CollectorState():
            silence = age(now - state.heartbeat)
            return f"The collector is not running: nothing has been heard of process {state.pid} for {silence}."
    return "No collector has run on this state directory."


@dataclass(frozen=True, slots=True)
class Telemetry:
    """How much is heard, and how recently."""

    controllers: int
    answering: int
    failing: int
    """Newest round failed."""
    waiting: int
    """Not asked yet."""
    behind: int
    """Answering, but the newest good round is older than two poll intervals."""
    newest: Seconds | None
    """End of the newest round that brought readings."""
    oldest: Seconds | None
    """The same of the controller heard longest ago, among those that answer."""
    valued: int
    """Sensors with a value."""
    sensors: int
    defects: int
    unchecked: int
    """Controllers whose certificate is not checked, as the fleet file asks."""


def telemetry(
    controllers: Sequence[ControllerState], valued: int, sensors: int, now: Seconds, poll_interval: float | None
) -> Telemetry:
    """Count it all up. ``valued`` and ``sensors`` are fleet-wide counts of newest readings."""
    answering = [state for state in controllers if answers(state)]
    good = [state.last_good for state in answering if state.last_good is not None]
    patience = 2 * (poll_interval or 30.0)
    return Telemetry(
        controllers=len(controllers),
        answering=len(answering),
        failing=sum(1 for state in controllers if state.outcome is not None and not answers(state)),
        waiting=sum(1 for state in controllers if state.outcome is None),
        behind=sum(1 for time in good if now - time > patience),
        newest=max(good, default=None),
        oldest=min(good, default=None),
        valued=valued,
        sensors=sensors,
        defects=sum(state.defects for state in controllers),
        unchecked=sum(1 for state in controllers if state.insecure),
    )
