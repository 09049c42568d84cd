"""What fault isolation costs a round: 50 open conditions among 1,000 sleds, and among 10,000, as a ratio in one run.

``python -m tests.bench.isolate [SLEDS ...]``. A round here is what a keeper's rounds bring in one poll interval: every
controller tells that nothing changed but for ten that trouble comes to or goes from; then all is solved. CPU seconds
of this process, the best of some rounds.
"""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Iterator

from collector.assess.isolate import Isolation
from collector.model import Inventory, Observation, Sign
from tests.assess.isolate.kit import sign, sled, visible_of

SLEDS = (1_000, 10_000)
OPEN = 50
CHANGES = 10
"""Controllers of a round with news."""
IN_A_RACK = 15
ROUNDS = 12
SHOWN = (
    ("Fan2", Sign.STANDS),
    ("Cpu1", Sign.HOT),
    ("Dimm2-1", Sign.CORRECTABLE),
    ("Drive3-0", Sign.PREDICTED),
    ("Psu1", Sign.FAULTY),
    ("Bmc", Sign.SILENT),
    ("Net/Port1", Sign.LINK_DOWN),
    ("Blade4", Sign.NO_POWER),
)


class Fleet:
    """Sleds in racks with one data switch each, and signs at fifty of them."""

    def __init__(self, sleds: int) -> None:
        self.isolation = Isolation()
        self.names = [f"s{at}" for at in range(sleds)]
        self.inventories = {name: self._inventory(at, name) for at, name in enumerate(self.names)}
        self.visible = {name: visible_of(each) for name, each in self.inventories.items()}
        self.ill: dict[str, tuple[Observation, ...]] = {}
        self.now = 0.0
        for name, inventory in self.inventories.items():
            self.isolation.inventory(inventory, self.visible[name], self.now)
        step = sleds // OPEN
        for at in range(OPEN):
            self._fall_ill(self.names[at * step], at)
        self.tell(self.names)

    @staticmethod
    def _inventory(at: int, name: str) -> Inventory:
        return sled(name, rack=f"R{at // IN_A_RACK}", switch=f"switch {at // IN_A_RACK}")

    def _fall_ill(self, name: str, at: int) -> None:
        path, shown = SHOWN[at % len(SHOWN)]
        self.ill[name] = (sign(self.inventories[name], path, shown, since=self.now),)

    def tell(self, names: list[str]) -> int:
        """What these controllers bring in, and what is said of it all."""
        for name in names:
            self.isolation.observe(name, self.ill.get(name, ()), self.visible[name], True, self.now)
            self.isolation.round(name, self.now)
        return len(self.isolation.solve(self.now))

    def round(self, number: int) -> tuple[float, int]:
        """CPU seconds of a round, and the troubles told."""
        self.now += 30.0
        some = sorted(self.ill)[(number * 3) % OPEN :][:CHANGES]
        for at, name in enumerate(some):
            path, shown = SHOWN[(at + number) % len(SHOWN)]
            extra = sign(self.inventories[name], path, shown, since=self.now)
            self.ill[name] = (self.ill[name][0], extra) if number % 2 else (self.ill[name][0],)
        start = time.process_time()
        told = self.tell(self.names)
        return time.process_time() - start, told


def signs_alone(fleet: Fleet) -> float:
    """CPU seconds of a round's solving alone, when one sled has news and the others have stood for long."""
    name = min(fleet.ill)
    seconds = []
    for _ in range(4):
        fleet.now += 3600.0
        fleet.tell(fleet.names)
    for number in range(4 * ROUNDS):
        fleet.now += 30.0
        extra = sign(fleet.inventories[name], "Fan3", Sign.STANDS)
        seen = (*fleet.ill[name], extra) if number % 2 else fleet.ill[name]
        fleet.isolation.observe(name, seen, fleet.visible[name], True, fleet.now)
        fleet.isolation.round(name, fleet.now)
        start = time.process_time()
        fleet.isolation.solve(fleet.now)
        seconds.append(time.process_time() - start)
    return min(both + other for both, other in zip(seconds[::2], seconds[1::2], strict=True)) / 2


def run(sizes: tuple[int, ...] = SLEDS) -> Iterator[str]:
    """Measure, a line a size, then the ratio."""
    results = []
    for size in sizes:
        start = time.process_time()
        fleet = Fleet(size)
        built = time.process_time() - start
        gc.collect()
        gc.freeze()
        rounds = [fleet.round(number) for number in range(ROUNDS)]
        best = min(seconds for seconds, _ in rounds)
        alone = signs_alone(fleet)
        results.append((size, best, alone))
        told = sum(count for _, count in rounds) / ROUNDS
        yield (
            f"{size:6} sleds: {best * 1e3:8.2f} ms CPU a round with {OPEN} ill sleds and news at {CHANGES} "
            f"({told:.0f} troubles told a round); {alone * 1e3:.2f} ms to solve after news at one sled; "
            f"{len(fleet.isolation.open)} troubles open; built in {built:.1f} s"
        )
        del fleet
        gc.unfreeze()
    if len(results) > 1:
        (small, least, one), (large, most, other) = results[0], results[-1]
        yield (
            f"{large} against {small}: a round {most / least:.2f} times the CPU "
            f"(hearing that nothing changed grows with the fleet); solving after news at one sled {other / one:.2f}"
        )


if __name__ == "__main__":
    for line in run(tuple(int(word) for word in sys.argv[1:]) or SLEDS):
        print(line, flush=True)
