"""Values calmed before something is worked out of them, and figures made, but told only when they are news."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from collector.model import Figure, FigureKind, Seconds

SLOW = 300.0
"""Seconds over which values are calmed: what is worked out of several must not tremble as each answers late."""
LONGEST = 900.0
"""Seconds without a value after which what came before says nothing."""
FEW = 4
"""Values that make it worth telling."""
TOLD_AGAIN = 3600.0
"""Seconds after which a figure that moved at all is told again."""

STEPS: Mapping[FigureKind, tuple[float, float]] = {
    FigureKind.AIR_RISE: (0.5, 0.05),
    FigureKind.AIR_FLOW: (0.0005, 0.05),
    FigureKind.AIR_PER_POWER: (0.001, 0.05),
    FigureKind.FAN_EFFORT: (0.02, 0.0),
    FigureKind.PREHEATING: (0.5, 0.0),
    FigureKind.RECIRCULATION: (0.5, 0.0),
    FigureKind.UNACCOUNTED: (10.0, 0.1),
    FigureKind.BUSBAR_CURRENT: (0.5, 0.03),
    FigureKind.IMBALANCE: (1.0, 0.0),
    FigureKind.PEAK_POWER: (1.0, 0.01),
    FigureKind.HIGH_POWER: (5.0, 0.03),
    FigureKind.ENERGY: (36_000.0, 0.05),
    FigureKind.LIFE_ENDS: (86_400.0, 0.0),
}
"""By how much each must move to be told again: in its unit, and as a ratio of what was told; the larger counts."""


class Calm:
    """Several values that come together, each as a mean that forgets (first order)."""

    def __init__(self) -> None:
        self._last: Seconds | None = None
        self._count = 0
        self._values: tuple[float, ...] = ()

    def take(self, time: Seconds, values: Sequence[float]) -> tuple[float, ...] | None:
        """Take finite values; the calmed ones, or None while there are too few."""
        seconds = LONGEST + 1.0 if self._last is None else time - self._last
        self._last = time
        if not 0.0 <= seconds <= LONGEST or len(values) != len(self._values):
            self._count, self._values = 1, tuple(values)
            return None
        self._count += 1
        # while few came, each counts the same: a first value that was off is not dragged along
        share = max(1.0 - math.exp(-seconds / SLOW), 1.0 / self._count)
        pairs = zip(self._values, values, strict=True)
        self._values = tuple(before + share * (now - before) for before, now in pairs)
        return self._values if self._count >= FEW else None


class Teller:
    """Makes the figures of one controller, and knows what was told of each."""

    def __init__(self, controller: str | None = None) -> None:
        """``controller``: None for places, which are no controller's: racks."""
        self._controller = controller
        self._told: dict[tuple[str, FigureKind, str], Figure] = {}

    def figure(
        self,
        part: str,
        kind: FigureKind,
        value: float,
        unit: str,
        now: Seconds,
        basis: str,
        low: float | None = None,
        high: float | None = None,
        of: str = "",
    ) -> Figure:
        """One figure; the words mean what they do in :class:`~collector.model.Figure`."""
        return Figure(
            controller=self._controller,
            part=part,
            kind=kind,
            of=of,
            time=now,
            value=value,
            unit=unit,
            low=low,
            high=high,
            basis=basis,
        )

    def keep(self, parts: Collection[str]) -> None:
        """Forget the parts that are not among these."""
        self._told = {key: figure for key, figure in self._told.items() if key[0] in parts}

    def news(self, figures: Sequence[Figure]) -> list[Figure]:
        """Those that moved by enough to tell; what is no finite number is left out."""
        found = []
        for figure in figures:
            if not math.isfinite(figure.value):
                continue
            told = self._told.get(figure.key)
            if told is None or self._moved(told, figure):
                self._told[figure.key] = figure
                found.append(figure)
        return found

    @staticmethod
    def _moved(told: Figure, figure: Figure) -> bool:
        least, ratio = STEPS[figure.kind]
        moved = abs(figure.value - told.value)
        if not 0.0 <= figure.time - told.time < TOLD_AGAIN:
            return figure.value != told.value
        return moved >= max(least, ratio * abs(told.value))
