"""[conditions]: how long a reading must be beyond a limit, and how far back, where the service itself doesn't say."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from collector.model import Quantity
from collector.settings.base import Section


class LimitSettings(Section):
    """[conditions.limits.QUANTITY]: what is left out stays as it usually is."""

    deadband: Annotated[float, Field(ge=0, le=0.5)] | None = None
    """Way back past the limit that clears it, as a fraction of the sensor's range."""
    on_delay: Annotated[float, Field(ge=0, le=86400)] | None = None
    """Seconds that a reading must be beyond a limit first."""
    off_delay: Annotated[float, Field(ge=0, le=86400)] | None = None
    """Seconds that it must be back first."""


class ConditionSettings(Section):
    """[conditions]: delays and deadbands, and how long people can set conditions aside."""

    delays: Literal["usual", "told"] = "usual"
    """``usual``: by quantity, where a limit brings none of its own; ``told``: only what services tell."""
    limits: dict[Quantity, LimitSettings] = Field(default_factory=dict)
    """By quantity, e.g. ``temperature`` or ``"air flow"``; counts with either choice of ``delays``."""
    longest_shelf_days: Annotated[float, Field(gt=0, le=366)] = 7.0
    longest_maintenance_days: Annotated[float, Field(gt=0, le=366)] = 90.0
