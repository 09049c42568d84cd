"""[actions]: what people may have done to controllers, and for how long they are waited for."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from collector.settings.base import Section


class ActionSettings(Section):
    """[actions]."""

    locate: bool = True
    """Whether locate lamps may be switched."""
    locate_minutes: Annotated[float, Field(gt=0, le=1440)] = 15.0
    """Minutes after which a lamp that was switched on goes off by itself, and the most that can be asked for."""
    power: bool = False
    """Whether hosts may be switched and restarted; a controller may say otherwise for itself."""
    power_seconds: Annotated[float, Field(ge=10, le=3600)] = 180.0
    """Seconds in which a host must tell the power state that was asked for."""
    watch_rounds: Annotated[int, Field(ge=1, le=10_000)] = 20
    """Rounds after an order is done in which its trouble must clear."""
    sighting_hours: Annotated[float, Field(gt=0, le=168)] = 8.0
    """Hours for which what a person saw at a front counts."""
