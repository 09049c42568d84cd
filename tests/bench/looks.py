"""What the looks at air and power, the margins and the figures cost a round, against its decode, in one run."""

from __future__ import annotations

import asyncio
import statistics
import timeit
from array import array
from collections.abc import Callable

from collector.assess.looking import Seen
from collector.assess.looks.air import AirLook
from collector.assess.looks.power import PowerLook
from collector.assess.margins.airing import Airing
from collector.assess.margins.drawn import Drawing
from collector.assess.margins.electrics import Electrics
from collector.assess.margins.tracker import Margins
from collector.model import Frame, Outcome
from collector.normalise.polled import Decoder
from simulators.service.dialects import tree
from simulators.service.service import Service
from simulators.service.sessions import Account
from tests.normalise.walks import answers
from tests.simulators.reading import read
from tests.simulators.service_kit import PASSWORD, USER, Sledge, sled_of, still_world

WARM_ROUNDS = 200
EVERY = 30.0


def run() -> list[str]:
    """One line a figure."""
    sled = sled_of("quad", "modern")
    got = asyncio.run(read(Service(sled, tree(sled), Sledge(still_world(), sled.name), Account(USER, PASSWORD))))
    inventory, fetches = got.inventory, got.fetches
    bodies = answers(got.walked, fetches)
    decoder = Decoder(inventory, fetches)

    def decode() -> None:
        decoder.begin()
        for index, body in enumerate(bodies):
            decoder.take(index, body, inventory.time)
        decoder.finish(inventory.time)

    air, power = AirLook("c"), PowerLook("c")
    margins = Margins("c", per_watt=air.per_watt)
    airing, electrics, drawing = Airing("c"), Electrics("c"), Drawing("c")
    rounds = Trembling(inventory.frame)
    for one in (air, power, margins, airing, electrics, drawing):
        one.inventory(inventory, inventory.time)
        for _ in range(WARM_ROUNDS):
            one.round(rounds.next())
    floor = _microseconds(decode)
    lines = [f"looks, {len(inventory.layout.sensors)} readings: decode {floor:.0f} us a round"]
    contestants: dict[str, Callable[[Seen], object]] = {
        "air and heat": air.round,
        "power": power.round,
        "margins": margins.round,
        "figures of air": airing.round,
        "of power": electrics.round,
        "of what was drawn": drawing.round,
    }
    for name, turn in contestants.items():
        here = _microseconds(lambda turn=turn: turn(rounds.next()))  # type: ignore[misc]
        lines.append(f"  {name:18} {here:6.0f} us a round of {EVERY:.0f} s: {here / floor:.2f} of the decode")
    return lines


class Trembling:
    """Rounds that tremble a little, one after the other."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._time = frame.time
        self._values = [
            array("d", [value * (1.0 + 0.002 * ((column + turn) % 5 - 2)) for column, value in enumerate(frame.values)])
            for turn in range(5)
        ]
        self._turn = 0

    def next(self) -> Seen:
        self._time += EVERY
        self._turn += 1
        frame = Frame(self._time, self._values[self._turn % 5], self._frame.healths)
        return Seen(time=self._time, frame=frame, statuses={}, idle=frozenset(), outcome=Outcome.OK)


def _microseconds(call: Callable[[], object]) -> float:
    # The mean of runs long enough to hold what is done only every few rounds; the median of them.
    return statistics.median(timeit.repeat(call, number=40, repeat=15)) / 40 * 1e6


if __name__ == "__main__":
    print("\n".join(run()))
