"""What a front shows."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct


class LampState(StrEnum):
    """OCP Panel Indicator Specification 1.0: blink is 500 ms on, 500 ms off."""

    OFF = "off"
    ON = "on"
    BLINK = "blink"
    UNKNOWN = "unknown"


class Lamps(Struct, frozen=True):
    """The two lamps of a front."""

    blue: LampState
    amber: LampState
