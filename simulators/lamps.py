"""What the lamps of a front show to a person: blue and amber, as the OCP Panel Indicator Specification 1.0 has them."""

from __future__ import annotations

from typing import Literal, NamedTuple

from simulators.digital import Digital
from simulators.parts import PartKind
from simulators.telemetry import PartPoint

Shown = Literal["off", "on", "blink"]
_SYSTEMS = (PartKind.SLED, PartKind.BLADE, PartKind.SHELF)


class LampsSeen(NamedTuple):
    """Both lamps of a front. Blink is 500 ms on, 500 ms off."""

    blue: Shown
    amber: Shown

    @property
    def located(self) -> bool:
        """Whether the front calls for a person: amber blinks."""
        return self.amber == "blink"


def seen(kind: PartKind, point: PartPoint, electronics: Digital | None, asked: bool) -> LampsSeen:
    """What the front of a part shows; ``asked``: whether its locate lamp was asked for.

    Table 6.1 for sleds, blades and shelves, table 6.2 for all else; that a module which is looked for blinks amber is
    from table 6.1 (6.2 says nothing of it).
    """
    lamp = None if electronics is None else electronics.lamps.get(point.path)
    located = asked if lamp is None else lamp.lit
    if kind in _SYSTEMS:
        blue: Shown = "on" if point.power_state == "On" else "off"
        bad = point.rollup != "OK"
    else:
        bad = point.health != "OK" or point.state == "Absent"
        blue = "off" if bad else "on"
    return LampsSeen(blue, "blink" if located else "on" if bad else "off")
