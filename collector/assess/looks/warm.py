"""Inlets that draw in warm air: above what they followed so far, above their neighbours, or above their class."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

import numpy as np

from collector.assess.looks.latch import Signs
from collector.assess.margins.peers import Peers
from collector.model import Inventory, Seconds, Sign

SLEW = 4.0 / 3600.0
"""K/s by which a room may warm without anybody's fault: a hot afternoon, or a chiller that is taken out (common
practice, no source)."""
JUMP = 2.6
"""K above what the room explains."""
STANDS_OUT = 2.2
"""K by which an inlet leaves its usual distance to its neighbours."""
_OFFSET_SLEW = 0.3 / 3600.0
LONGEST_HELD = 43_200.0
"""Seconds after which a warm inlet is taken for the new usual."""


class WarmAir:
    """The inlets of one controller."""

    def __init__(self, controller: str, peers: Peers, signs: Signs) -> None:
        self._controller = controller
        self._peers = peers
        self._signs = signs
        self._inlets: tuple[tuple[int, str], ...] = ()
        self._base: dict[str, float] = {}
        self._offset: dict[str, float] = {}
        self._rack_offset: float | None = None
        self._last: Seconds | None = None
        self._since: dict[str, Seconds] = {}
        self._names: dict[str, str] = {}
        self._place = ""
        self._own = ""

    def inventory(self, inventory: Inventory, inlets: Sequence[tuple[int, str]]) -> None:
        """Take a walk: the first inlet of each part counts."""
        chosen: dict[str, int] = {}
        for column, part in inlets:
            chosen.setdefault(part, column)
        self._inlets = tuple((column, part) for part, column in chosen.items())
        self._names = {part.id: part.name for part in inventory.parts}
        top = next((part for part in inventory.parts if part.parent is None), None)
        place = None if top is None else top.location
        self._place = "" if place is None or place.rack is None else f"{place.site}|{place.row}|{place.rack}"

    def learnt(self) -> dict[str, tuple[float, ...]]:
        """What inlets follow, and how far apart they usually are."""
        found: dict[str, tuple[float, ...]] = {f"base|{part}": (base,) for part, base in self._base.items()}
        found |= {f"offset|{part}": (offset,) for part, offset in self._offset.items()}
        if self._rack_offset is not None:
            found["rack"] = (self._rack_offset,)
        return found

    def recall(self, told: Mapping[str, tuple[float, ...]], *, short: bool) -> None:
        """Take it up; ``short``: whether no weather can have changed since."""
        for _, part in self._inlets:
            if (offset := told.get(f"offset|{part}")) and abs(offset[0]) < 50.0:
                self._offset[part] = offset[0]
            if short and (base := told.get(f"base|{part}")) and -60.0 < base[0] < 80.0:
                self._base[part] = base[0]
        if (rack := told.get("rack")) and abs(rack[0]) < 50.0:
            self._rack_offset = rack[0]

    def round(self, now: Seconds, values: np.ndarray, idle: frozenset[str]) -> None:
        """Take a round's values."""
        told = {
            part: float(values[column])
            for column, part in self._inlets
            if -60.0 < values[column] < 80.0 and part not in idle
        }
        seconds = 0.0 if self._last is None else max(0.0, min(now - self._last, 3600.0))
        self._last = now
        if not told:
            for _, part in self._inlets:
                self._signs.keep(part, Sign.WARM_AIR)
            return
        middle = median(told.values())
        others, count = float("nan"), 0
        if self._place:
            others, count = self._peers.air(self._place, self._controller, now)
            self._peers.tell_air(self._place, self._controller, now, middle)
        away = middle - others if count >= 2 else float("nan")
        rack = 0.0
        if away == away:
            usual = self._rack_offset if self._rack_offset is not None else away
            rack = away - usual
            held = rack > 0.5 * STANDS_OUT
            self._rack_offset = usual + _toward(rack, 0.0 if held else _OFFSET_SLEW * seconds)
        for _, part in self._inlets:
            if part not in told:
                self._signs.keep(part, Sign.WARM_AIR)
                continue
            self._one(part, told[part], middle, len(told), now, seconds, rack, count)

    def _one(
        self, part: str, inlet: float, middle: float, told: int, now: Seconds, seconds: float, rack: float, count: int
    ) -> None:
        base = self._base.setdefault(part, inlet)
        jump = inlet - base
        shown = (part, Sign.WARM_AIR, None) in self._signs.present
        room_went_along = count >= 2 and rack < 0.5 * STANDS_OUT
        long_held = now - self._since.get(part, now) > LONGEST_HELD
        hold = jump > 0.5 * JUMP and not room_went_along and not long_held and (shown or jump > JUMP)
        self._base[part] = base + _toward(jump, 0.0 if hold else SLEW * seconds)
        local = 0.0
        if told >= 3:
            away = inlet - middle
            usual = self._offset.setdefault(part, away)
            local = away - usual
            if local < 0.5 * STANDS_OUT:
                self._offset[part] = usual + _toward(local, _OFFSET_SLEW * seconds)
        easier = 0.6 if shown else 1.0
        name = self._names.get(part, part)
        if local > STANDS_OUT * easier:
            text = f"{name}: inlet air {inlet:.1f} °C, {local:.1f} K further above its neighbours' than it used to be"
            self._say(part, text, now, 0.5 + 0.1 * local)
        elif rack > STANDS_OUT * easier:
            text = f"{name}: inlet air {inlet:.1f} °C, {rack:.1f} K further above the rack's others than it used to be"
            self._say(part, text, now, 0.5 + 0.1 * rack)
        elif jump > JUMP * easier and not room_went_along:
            text = f"{name}: inlet air {inlet:.1f} °C, {jump:.1f} K more than a room warms in that time"
            self._say(part, text, now, 0.3 + 0.08 * jump)
        else:
            self._since.pop(part, None)

    def _say(self, part: str, text: str, now: Seconds, weight: float) -> None:
        self._since.setdefault(part, now)
        self._signs.see(part, Sign.WARM_AIR, text, now, weight)


def _toward(distance: float, step: float) -> float:
    return max(-step, min(step, distance))
