"""Air whose flow is metered: it goes with the fans' speed (fan laws), whatever the heat in it."""

from __future__ import annotations

from collector.assess.looks.latch import Signs
from collector.assess.looks.usual import Usual
from collector.assess.words import percent
from collector.model import Part, Seconds, Sign

LESS = 0.09
"""Ratio by which the metered air at a speed must have fallen."""
STILL = 0.6
"""Part of that from which it still has."""
CHANGING = 0.1
"""Ratio by which the speed may change from round to round and the flow still belong to it."""


def look_at_flow(
    signs: Signs, usual: Usual, part: Part, flow: float, speed: float, before: float, now: Seconds
) -> None:
    """Say whether a part's fans move less air than was learnt, or learn.

    ``flow`` in m3/s; ``speed`` and that of the round ``before`` as ratios; ``usual``: of their quotient.
    """
    keys = ((part.id, Sign.SHORT_OF_AIR, None), (part.id, Sign.WORKS_HARD, None))
    if not (flow >= 0.0 and speed > 0.0 and abs(speed - before) < CHANGING * speed):
        for key in keys:
            if key in signs.present:
                signs.keep(*key)
        return
    short = 1.0 - flow / speed / usual.value if usual.known else 0.0
    if short > LESS or (keys[0] in signs.present and short > STILL * LESS):
        text = f"{part.name}: {flow:.4f} m³/s at {percent(speed)} fan speed, {percent(short)} less than was learnt"
        for owner, sign, _ in keys:
            signs.see(owner, sign, text, now, min(1.0, 0.5 + 3.0 * short))
    else:
        usual.learn(now, flow / speed)
