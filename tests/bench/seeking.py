"""What the looks for sensors, peers, wear, contact and comings and goings cost a round, against its decode, in one run.

Also what they hold a sensor, and whether a round's cost grows with the peers that a fleet has.
"""

from __future__ import annotations

import asyncio
import gc
import statistics
import timeit
import tracemalloc
from array import array
from collections.abc import Callable

from collector.assess.looking import Look
from collector.assess.looks.contact import ContactLook
from collector.assess.looks.peers import Peers, PeersLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.unsteady import UnsteadyLook
from collector.assess.looks.wear import WearLook
from collector.model import Frame, Inventory, Quantity
from collector.normalise.polled import Decoder
from simulators.service.dialects import tree
from simulators.service.service import Service
from simulators.service.sessions import Account
from tests.bench.looks import Trembling
from tests.normalise.walks import answers
from tests.simulators.reading import read
from tests.simulators.service_kit import PASSWORD, USER, Sledge, sled_of, still_world

WARM_ROUNDS = 450
FLEETS = (4, 400)


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

    floor = _microseconds(decode)
    readings = len(inventory.layout.sensors)
    lines = [f"looks, {readings} readings: decode {floor:.0f} us a round"]
    makers: dict[str, Callable[[], Look]] = {
        "sensors": lambda: SensorsLook("c"),
        "peers": lambda: PeersLook("c"),
        "wear": lambda: WearLook("c"),
        "contact": lambda: ContactLook("c"),
        "unsteady": lambda: UnsteadyLook("c"),
    }
    rounds = Trembling(_without_counters(inventory))
    for make in makers.values():
        _held(make, inventory, rounds)  # what is loaded at first use is nobody's
    for name, make in makers.items():
        held, look = _held(make, inventory, rounds)
        here = _microseconds(lambda look=look: look.round(rounds.next()))  # type: ignore[misc]
        lines.append(
            f"  {name:9} {here:5.0f} us a round: {here / floor:.2f} of the decode; {held / readings:.0f} B a reading"
        )
    costs = []
    for size in FLEETS:
        peers = Peers()
        looks = [PeersLook(f"c{number}", peers) for number in range(size)]
        for look in looks:
            look.inventory(inventory, inventory.time)
        for _ in range(20):
            for look in looks:
                look.round(rounds.next())
        costs.append(_microseconds(lambda looks=looks: looks[-1].round(rounds.next())))  # type: ignore[misc]
        lines.append(f"  peers in a fleet of {size}: {costs[-1]:.0f} us a round, {peers.size} figures held")
    lines.append(f"  {FLEETS[1] // FLEETS[0]} times the fleet costs a round {costs[1] / costs[0]:.2f} times as much")
    return lines


def _without_counters(inventory: Inventory) -> Frame:
    """Counters and lives stand at nothing, so that they don't tremble: they seldom move."""
    values = array("d", inventory.frame.values)
    for column, sensor in enumerate(inventory.layout.sensors):
        if sensor.quantity in (Quantity.COUNT, Quantity.PERCENT):
            values[column] = 0.0
    return Frame(inventory.frame.time, values, inventory.frame.healths)


def _held(make: Callable[[], Look], inventory: Inventory, rounds: Trembling) -> tuple[int, Look]:
    """(bytes that a look holds once it has learnt, the look)."""
    gc.collect()
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        look = make()
        look.inventory(inventory, inventory.time)
        for _ in range(WARM_ROUNDS):
            look.round(rounds.next())
        gc.collect()
        return tracemalloc.get_traced_memory()[0] - before, look
    finally:
        tracemalloc.stop()


def _microseconds(work: Callable[[], object]) -> float:
    return statistics.median(timeit.repeat(work, number=50, repeat=7)) / 50 * 1e6
