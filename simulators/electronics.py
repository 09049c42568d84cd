"""What a sled's electronics tell beside their sensors: errors counted, life left, links, and what is wrong."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from simulators.chance import key, uniform
from simulators.digital import CORRECTABLE_A_DAY, DAY, LIFE_LOW, Digital
from simulators.parts import PartKind, Sled
from simulators.telemetry import Health, Neighbour, PortPoint

_SINCE = 1_788_000_000.0
"""2026-08-29T10:40:00Z: when the hosts were last started, and their counters with them."""
_FEW = 0.12
"""Part of all memory modules that corrects an error now and then."""
_A_DAY = 1.5
"""Most errors a day that such a healthy one corrects."""

Reasons = dict[str, list[tuple[Health, str]]]
Metrics = dict[str, dict[str, float | None]]


class Electronics:
    """Of one sled, again and again."""

    def __init__(self, sled: Sled, seed: int, neighbours: Mapping[str, Neighbour]) -> None:
        """``neighbours``: what each port sees at the other end."""
        parts = sled.parts.values()
        self._memory = [part.path for part in parts if part.kind is PartKind.MEMORY]
        self._drives = [part.path for part in parts if part.kind is PartKind.DRIVE]
        self._adapter = f"{sled.path}/adapter"
        modules = np.asarray([key(seed, path, "errors") for path in self._memory], dtype=np.uint64)
        self._rate = np.where(uniform(modules, 1) < _FEW, uniform(modules, 2) * _A_DAY / DAY, 0.0)
        self._begun = uniform(modules, 3)
        drives = np.asarray([key(seed, path, "life") for path in self._drives], dtype=np.uint64)
        self._used = 2.0 + 26.0 * uniform(drives, 1)
        self._pace = (0.01 + 0.03 * uniform(drives, 2)) / DAY
        self._ports = {
            path: (PortPoint(True, neighbour), PortPoint(False, None)) for path, neighbour in neighbours.items()
        }
        self._all_up = {path: up for path, (up, _) in self._ports.items()}

    def ports(self, ill: Digital | None, lost: set[str]) -> dict[str, PortPoint]:
        """Every port, with its link; ``lost``: what flapping contacts cut off now."""
        if ill is None:
            return self._all_up
        down = ill.down | lost
        return {path: low if path in down else up for path, (up, low) in self._ports.items()}

    def metrics(self, time: float, ill: Digital | None, strangers: Mapping[str, str], into: Metrics) -> None:
        """Add the counters of memory modules and the life of drives; ``strangers`` are not those delivered: new."""
        age = max(0.0, time - _SINCE)
        for path, count in zip(self._memory, np.floor(self._rate * age + self._begun).tolist(), strict=True):
            into[path] = {"corrected": 0.0 if path in strangers else count, "uncorrected": 0.0}
        for path, left in zip(self._drives, np.ceil(100.0 - self._used - self._pace * age).tolist(), strict=True):
            into[path] = {"life_percent": 100.0 if path in strangers else max(0.0, left)}
        if ill is None:
            return
        for path, storm in ill.storms.items():
            told = into[path]
            told["corrected"] = (told["corrected"] or 0.0) + storm.corrected(time)
            told["uncorrected"] = float(storm.uncorrectable)
            told["trips"] = float(storm.lately(time) > CORRECTABLE_A_DAY)
        for path, wear in ill.wears.items():
            into[path]["life_percent"] = float(math.ceil(wear.at(time)))
        for path in ill.dead:
            into[path] = {}

    def reasons(self, time: float, ill: Digital, into: Reasons) -> None:
        """Add what firmware says is wrong."""
        for path, storm in ill.storms.items():
            if storm.uncorrectable:
                into.setdefault(path, []).append(("Critical", "The module has errors that can't be corrected."))
            elif storm.lately(time) > CORRECTABLE_A_DAY:
                text = f"More than {CORRECTABLE_A_DAY} errors of the module were corrected within a day."
                into.setdefault(path, []).append(("Warning", text))
        for path, checks in ill.checks.items():
            if checks.fatal(time):
                into.setdefault(path, []).append(("Critical", "The processor has errors that it can't correct."))
            else:
                into.setdefault(path, []).append(("Warning", "The processor corrects errors of its own."))
        for path, wear in ill.wears.items():
            if wear.at(time) < LIFE_LOW:
                into.setdefault(path, []).append(("Warning", f"Less than {LIFE_LOW} % of the media's life is left."))
        for path, state in ill.dead.items():
            if state != "Absent":
                what = "network adapter" if path == self._adapter else "drive"
                into.setdefault(path, []).insert(0, ("Critical", f"The {what} does not answer."))
        for path in ill.halted:
            into.setdefault(path, []).append(("Critical", "The host stopped on an error of its hardware."))
