"""The same readings by the standards body's own client library (redfish, redfish_utilities), in one run.

Both talk to the same simulated controllers, processes of their own; CPU is that of this process alone, a numeric
reading delivered. Theirs walks for its readings each time, as it is made to. Ours runs rounds (fetch, decode, assess,
store): once with only those GETs of the plan that bring readings, which is what theirs does, and once with the
whole plan, which brings the status of every part and every indicator too. A walk is shown beside them.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import redfish
import redfish_utilities
import uvloop

from collector.assess.watch import Watch
from collector.model import Update
from collector.normalise.polled import Decoder
from collector.poll.clock import SystemClock
from collector.poll.interpret import Interpreted, interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.walk import Walk
from collector.settings import ControllerSettings, StoreSettings, load
from collector.store.writer import Writer

TURNS = 5
OUR_ROUNDS = 20


def theirs(settings: ControllerSettings) -> tuple[float, int]:
    """(CPU seconds, numeric readings) of one look at all sensors, logged in before."""
    assert settings.credential is not None
    client = redfish.redfish_client(
        base_url=settings.url,
        username=settings.credential.username,
        password=settings.credential.password.get_secret_value(),
        cafile=str(settings.ca_file),
    )
    client.login(auth="session")
    try:
        redfish_utilities.get_sensors(client)  # warm
        began = time.process_time()
        told = redfish_utilities.get_sensors(client)
        spent = time.process_time() - began
    finally:
        client.logout()
    readings = [reading["Reading"] for chassis in told for reading in chassis["Readings"]]
    return spent, sum(isinstance(value, (int, float)) for value in readings)


class Ours(NamedTuple):
    """CPU seconds of a round of each plan and of a walk; numeric readings a round."""

    readings_only: float
    whole: float
    walk: float
    readings: int
    gets: tuple[int, int]
    """Of a round of each plan."""


async def ours(settings: ControllerSettings, folder: Path) -> Ours:
    """Rounds of both plans and a walk, logged in before."""
    async with Writer(folder, StoreSettings(), now=time.time) as writer, Client(settings) as client:
        writer.controllers([settings])
        await client.connect()
        began = time.process_time()
        walked = await Walk(client, clock=time.time).run()
        whole = interpret(walked, settings.location)
        walk = time.process_time() - began
        watch = Watch(settings.name, 30.0)
        assessment = watch.inventory(whole.inventory, time.time())
        await writer.put(Update(controller=settings.name, inventory=whole.inventory, assessment=assessment))

        async def rounds_of(rounds: Rounds, count: int) -> int:
            readings = 0
            for _ in range(count):
                done = (await rounds.run(30)).round
                assert done.frame is not None, done.error
                readings += sum(value == value for value in done.frame.values)
                assessment = watch.round(done, time.time())
                await writer.put(Update(controller=settings.name, round=done, assessment=assessment))
            await writer.flush()
            return readings // count

        spent, counts = [], []
        for plan in (_only_readings(whole), whole):
            rounds = Rounds(client, plan, SystemClock())
            await rounds_of(rounds, 2)  # warm
            began = time.process_time()
            counts.append(await rounds_of(rounds, OUR_ROUNDS))
            spent.append((time.process_time() - began) / OUR_ROUNDS)
        assert counts[0] == counts[1], "both plans bring the same readings"
        return Ours(*spent, walk, counts[0], (len(_only_readings(whole).fetches), len(whole.fetches)))


def _only_readings(whole: Interpreted) -> Interpreted:
    """The plan without the GETs that bring statuses only."""
    sources = {sensor.source.partition("#")[0] for sensor in whole.inventory.layout.sensors}
    fetches = tuple(fetch for fetch in whole.fetches if not sources.isdisjoint(fetch.brings))
    return Interpreted(whole.inventory, fetches, Decoder(whole.inventory, fetches))


def run() -> list[str]:
    """Both dialects, in turns; lines for people."""
    lines = []
    for dialect in ("modern", "classic"):
        with tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as name:
            folder = Path(name)
            lines += _with_simulator(folder, dialect)
    return lines


def _with_simulator(folder: Path, dialect: str) -> list[str]:
    program = (
        "import sys; from pathlib import Path; from simulators.serve import run_simulate; "
        "sys.exit(run_simulate(out=Path(sys.argv[1]), controllers=1, dialect=sys.argv[2], listen='127.0.0.1:0'))"
    )
    simulator = subprocess.Popen(
        [sys.executable, "-c", program, str(folder / "fleet"), dialect], stdout=subprocess.PIPE, text=True
    )
    try:
        assert simulator.stdout is not None
        if simulator.stdout.readline().strip() != "ready":
            raise RuntimeError("the simulator did not start")
        return _compare(folder, dialect)
    finally:
        simulator.terminate()
        simulator.wait(timeout=30)


def _compare(folder: Path, dialect: str) -> list[str]:
    (settings,) = load(folder / "fleet" / "fleet.toml").controllers
    told = [(theirs(settings), uvloop.run(ours(settings, folder / f"state{turn}"))) for turn in range(TURNS)]
    their_cpu = statistics.median(cpu / readings for (cpu, readings), _ in told)
    same = statistics.median(each.readings_only / each.readings for _, each in told)
    whole = statistics.median(each.whole / each.readings for _, each in told)
    walk = statistics.median(each.walk / each.readings for _, each in told)
    (_, their_count), first = told[0]
    return [
        f"client, {dialect}: CPU a numeric reading, median of {TURNS} turns",
        f"  standards body's client       {their_cpu * 1e6:7.1f} us  {their_count} readings",
        _line("our round, readings only", same, their_cpu, f"{first.readings} readings, {first.gets[0]} GETs"),
        _line(
            "our usual round", whole, their_cpu, f"and every status and indicator, {first.gets[1]} GETs, some in turns"
        ),
        _line("our walk, normalised", walk, their_cpu, "once in 15 minutes"),
    ]


def _line(name: str, ours: float, theirs: float, more: str) -> str:
    return f"  {name:28} {ours * 1e6:8.1f} us  {theirs / ours:5.1f} times less; {more}"


if __name__ == "__main__":
    print("\n".join(run()))
