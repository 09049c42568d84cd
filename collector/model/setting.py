"""Settings: what a part is told to keep to, and what it is rated for. Told beside the readings, and no readings."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.words import Quantity


class SettingKind(StrEnum):
    """What a setting means."""

    POWER_LIMIT = "power limit"
    """What its controller keeps a part's power below."""
    ALLOCATED_POWER = "allocated power"
    """What a part was granted."""
    REQUESTED_POWER = "requested power"
    """What a part asked for."""
    RATED_SPEED = "rated speed"
    """Of a fan: 100 % of its speed."""
    RATED_CURRENT = "rated current"
    """Of a circuit or an outlet: what it may carry for long."""
    SET_POINT = "set point"
    """What a control keeps any other quantity at, or within."""


class Setting(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One setting of a part. Unique by (part, kind, name); numbers are in ``unit``, canonical for the quantity."""

    controller: str
    part: str
    kind: SettingKind
    name: str
    """What the service calls it, or the property's name in words."""
    quantity: Quantity
    unit: str
    value: float | None = None
    """The set point or figure itself; None for a control that keeps a range, or that is set to nothing."""
    low: float | None = None
    """Lower end of the range that is kept (SettingMin)."""
    high: float | None = None
    """Upper end of it (SettingMax)."""
    lowest: float | None = None
    """Lowest that it may be set to (AllowableMin)."""
    highest: float | None = None
    """Highest that it may be set to (AllowableMax)."""
    dead_band: float | None = None
    """Distance from the set point at which the control acts."""
    mode: str | None = None
    """The standard's ControlMode: Automatic, Override, Manual or Disabled; None where not told."""
    source: str = ""
    """Where it is told: a resource, or a body's path with a pointer to the number."""
    also_at: tuple[str, ...] = ()
    """The other places that tell the same."""

    @property
    def active(self) -> bool:
        """Whether it holds: it tells a value and its control is not switched off."""
        return self.value is not None and self.mode != "Disabled"
