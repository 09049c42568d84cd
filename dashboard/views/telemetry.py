"""Whether anyone collects."""

from __future__ import annotations

from enum import Enum

from collector.model import CollectorState, Seconds
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
