"""The whole round (fetch, decode, normalise, assess, store) against the bare floor, in one run.

The floor fetches the same bytes over the fastest transport there is here and decodes them with orjson.loads, nothing
else. A whole round asks for every GET of the plan, as the floor does; a usual one, shown beside it, leaves out what
seldom changes while the rollups above it are OK. Bodies are those of one simulated sled, replayed by a process of its
own that does next to nothing else.
"""

from __future__ import annotations

import asyncio
import json
import ssl
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import AsyncExitStack, contextmanager
from pathlib import Path
from typing import NamedTuple

import aiohttp
import httpx
import orjson
import uvloop
from yarl import URL

from collector.assess.watch import Watch
from collector.model import Update
from collector.poll.clock import SystemClock
from collector.poll.interpret import Interpreted, interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.transport import ControllerTransport
from collector.redfish.walk import Walk
from collector.settings import ControllerSettings, StoreSettings, load
from collector.store.writer import Writer
from simulators.serve import Fleet, with_dialect
from simulators.site import Dialect, scaled_site
from simulators.world import World
from tests.redfish.servers import make_identity

CONTROLLERS = 32
TURNS = 5
ROUNDS_A_TURN = 12


class Cost(NamedTuple):
    """Of one turn: controllers (rounds) a second, CPU seconds of this process a round."""

    rate: float
    cpu: float


class Recorder(httpx.AsyncBaseTransport):
    """Passes requests on and keeps the bodies of good GETs."""

    def __init__(self, inner: httpx.AsyncBaseTransport) -> None:
        self.bodies: dict[str, str] = {}
        self._inner = inner

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        response = await self._inner.handle_async_request(request)
        body = await response.aread()
        if request.method == "GET" and response.status_code == 200:
            self.bodies[request.url.raw_path.decode()] = body.decode()
        return httpx.Response(response.status_code, headers=response.headers, content=body, request=request)

    async def aclose(self) -> None:
        await self._inner.aclose()


async def record(folder: Path, dialect: Dialect) -> dict[str, str]:
    """Every body that a walk and a round of one simulated sled fetch, by path with query."""
    world = World(with_dialect(scaled_site(1), dialect), seed=1)
    world.advance(600)
    async with Fleet(world, folder, poll_interval=30, listen="127.0.0.1:0"):
        settings = load(folder / "fleet.toml").controllers[0]
        recorder = Recorder(ControllerTransport(settings))
        async with Client(settings, transport=recorder) as client:
            await client.connect()
            interpreted = interpret(await Walk(client, clock=time.time).run(), settings.location)
            await Rounds(client, interpreted, SystemClock()).run(30, whole=True)
        return recorder.bodies


@contextmanager
def replaying(folder: Path, bodies: dict[str, str]) -> Iterator[list[ControllerSettings]]:
    """A replay server for so many controllers."""
    identity = make_identity(folder)
    (folder / "bodies.json").write_text(json.dumps(bodies))
    server = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.replay", folder / "bodies.json", folder / "server.pem", str(CONTROLLERS)],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert server.stdout is not None
        ports = json.loads(server.stdout.readline())
        yield [
            ControllerSettings(name=f"c{port}", url=f"https://127.0.0.1:{port}", ca_file=identity.ca_file)
            for port in ports
        ]
    finally:
        server.terminate()
        server.wait(timeout=30)


async def measured(turn: Callable[[], Awaitable[None]]) -> Cost:
    """One turn: ROUNDS_A_TURN rounds of every controller."""
    began, cpu = time.perf_counter(), time.process_time()
    await turn()
    done = CONTROLLERS * ROUNDS_A_TURN
    return Cost(done / (time.perf_counter() - began), (time.process_time() - cpu) / done)


class Kept:
    """One controller with all that a whole round needs."""

    def __init__(self, client: Client, interpreted: Interpreted, writer: Writer) -> None:
        self.interpreted = interpreted
        self._rounds = Rounds(client, interpreted, SystemClock())
        self._watch = Watch(client.settings.name, 30.0)
        self._writer = writer
        self._name = client.settings.name

    async def begin(self) -> None:
        now = time.time()
        assessment = self._watch.inventory(self.interpreted.inventory, now)
        await self._writer.put(
            Update(controller=self._name, inventory=self.interpreted.inventory, assessment=assessment)
        )

    async def round(self, whole: bool) -> None:
        done = (await self._rounds.run(30, whole=whole)).round
        assert done.frame is not None, done.error
        assessment = self._watch.round(done, time.time())
        await self._writer.put(Update(controller=self._name, round=done, assessment=assessment))


async def compare(
    folder: Path, settings: list[ControllerSettings]
) -> tuple[list[str], int, int, dict[str, list[Cost]]]:
    """(plan paths, bytes a round, readings a round, costs of every contestant by turn)."""
    async with AsyncExitStack() as stack:
        writer = await stack.enter_async_context(Writer(folder / "state", StoreSettings(), now=time.time))
        writer.controllers(settings)
        kept = []
        for each in settings:
            client = await stack.enter_async_context(Client(each))
            await client.connect()
            walked = await Walk(client, clock=time.time).run()
            kept.append(Kept(client, interpret(walked, each.location), writer))
            await kept[-1].begin()
        paths = [fetch.path for fetch in kept[0].interpreted.fetches]
        readings = len(kept[0].interpreted.inventory.layout.sensors)

        direct = [ControllerTransport(each) for each in settings]
        for transport in direct:
            stack.push_async_callback(transport.aclose)
        headers = ((b"Accept", b"application/json"), (b"OData-Version", b"4.0"))
        size = sum([len((await direct[0].get(path, headers)).body) for path in paths])

        async def floor_ours() -> None:
            async def poll(transport: ControllerTransport) -> None:
                for _ in range(ROUNDS_A_TURN):
                    for path in paths:
                        orjson.loads((await transport.get(path, headers)).body)

            await asyncio.gather(*map(poll, direct))

        context = ssl.create_default_context(cafile=settings[0].ca_file)
        urls = [URL(path, encoded=True) for path in paths]
        sessions = [
            await stack.enter_async_context(
                aiohttp.ClientSession(each.url, connector=aiohttp.TCPConnector(ssl=context), auto_decompress=False)
            )
            for each in settings
        ]

        async def floor_aiohttp() -> None:
            async def poll(session: aiohttp.ClientSession) -> None:
                for _ in range(ROUNDS_A_TURN):
                    for url in urls:
                        async with session.get(url) as response:
                            orjson.loads(await response.read())

            await asyncio.gather(*map(poll, sessions))

        async def rounds(whole: bool) -> None:
            async def poll(one: Kept) -> None:
                for _ in range(ROUNDS_A_TURN):
                    await one.round(whole)

            await asyncio.gather(*map(poll, kept))
            await writer.flush()

        contestants: dict[str, Callable[[], Awaitable[None]]] = {
            "floor, our transport": floor_ours,
            "floor, bare aiohttp": floor_aiohttp,
            "whole round": lambda: rounds(True),
            "usual round": lambda: rounds(False),
        }
        costs: dict[str, list[Cost]] = {name: [] for name in contestants}
        for turn in contestants.values():
            await turn()  # warm: connections open, code paths taken
        for _ in range(TURNS):
            for name, turn in contestants.items():
                costs[name].append(await measured(turn))
        return paths, size, readings, costs


def run() -> list[str]:
    """Both dialects; lines for people."""
    lines = []
    dialects: tuple[Dialect, ...] = ("modern", "classic")
    for dialect in dialects:
        with tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as name:
            folder = Path(name)
            bodies = uvloop.run(record(folder / "fleet", dialect))
            with replaying(folder, bodies) as settings:
                paths, size, readings, costs = uvloop.run(compare(folder, settings))
        lines.append(f"round, {dialect}: {len(paths)} GETs, {size / 1000:.0f} kB, {readings} readings")
        rate = {name: statistics.median(cost.rate for cost in each) for name, each in costs.items()}
        cpu = {name: statistics.median(cost.cpu for cost in each) for name, each in costs.items()}
        fastest = max((name for name in rate if name.startswith("floor")), key=lambda name: rate[name])
        for name in rate:
            ratio = "" if name == fastest else f"  {cpu[fastest] / cpu[name]:.2f} of the fastest floor by CPU"
            lines.append(
                f"  {name:22} {rate[name]:6.0f} controllers/s  {cpu[name] * 1e3:6.2f} ms CPU a round  "
                f"{cpu[name] / readings * 1e6:6.1f} us CPU a reading{ratio}"
            )
        share = statistics.median(
            whole.rate / floor.rate for whole, floor in zip(costs["whole round"], costs[fastest], strict=True)
        )
        lines.append(f"  whole round at {share:.2f} of the floor's rate (median of {TURNS} turns, floor = {fastest})")
    return lines


if __name__ == "__main__":
    print("\n".join(run()))
