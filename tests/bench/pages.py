"""The pages at fleet size, from the real server: time to the first complete page, memory, ten viewers at once.

``python -m tests.bench.pages [DIR] [--controllers N]``: on a store that ``tests.bench.estate`` built, or on a small one
of its own. Beside every figure stands its ratio to the bare queries: the time that the same page spends in SQLite.
Prints; asserts nothing.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import aiohttp
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from collector.store.overview import Chosen
from collector.store.reader import Reader
from collector.store.records import Records
from dashboard.queries import Source
from tests.bench.estate import build
from tests.system.pages_server import served

VIEWERS = 10
_PATIENCE = 120.0


async def visit(origin: str, **query: str) -> tuple[float, int]:
    """Seconds from asking for a page, as a browser's socket does, until all of it was sent; and its bytes."""
    async with (
        aiohttp.ClientSession() as session,
        session.ws_connect(
            f"{origin.replace('http', 'ws')}/_stcore/stream", protocols=["streamlit"], max_msg_size=0, origin=origin
        ) as socket,
    ):
        asked = BackMsg()
        asked.rerun_script.query_string = urlencode(query)
        began, size = time.perf_counter(), 0
        await socket.send_bytes(asked.SerializeToString())
        while True:
            message = await asyncio.wait_for(socket.receive(), _PATIENCE)
            if message.type is not aiohttp.WSMsgType.BINARY:
                raise RuntimeError(f"the server hung up: {message.type!r}")
            size += len(message.data)
            told = ForwardMsg()
            told.ParseFromString(message.data)
            if told.WhichOneof("type") == "script_finished":
                if told.script_finished != ForwardMsg.FINISHED_SUCCESSFULLY:
                    raise RuntimeError(f"the page did not end well: {told.script_finished}")
                return time.perf_counter() - began, size


@contextmanager
def counting() -> Iterator[list[float]]:
    """Seconds that readers spend in SQLite."""
    spent = [0.0]
    rows = Records.rows

    def counted(self: Records, statement: str, given: dict[str, Any] | None = None) -> list[Any]:
        began = time.perf_counter()
        try:
            return rows(self, statement, given)
        finally:
            spent[0] += time.perf_counter() - began

    Records.rows = counted  # type: ignore[method-assign]
    try:
        yield spent
    finally:
        Records.rows = rows  # type: ignore[method-assign]


def bare(state: Path, work: Callable[[Source], object], times: int = 3) -> float:
    """Seconds in SQLite of what a page asks with nothing kept, the least of some."""
    found = []
    for _ in range(times):
        source = Source(state)
        with counting() as spent:
            work(source)
        source.close()
        found.append(spent[0])
    return min(found)


def rounds_asks(source: Source) -> object:
    return source.glance.rounds(Chosen()), source.glance.changes(time.time() - 86400, Chosen()), source.glance.ways()


def cpu_of(pid: int) -> float:
    """Seconds of CPU that a process has used; unlike the clock's they do not grow with what else the machine does."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory(pid: int) -> float:
    """Resident megabytes of a process."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return float("nan")


def pid_of(origin: str) -> int:
    """The server that listens at an origin: its command line names the port."""
    port = origin.rsplit(":", 1)[1]
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            told = path.read_bytes()
        except OSError:
            continue
        if f"--server.port={port}".encode() in told:
            return int(path.parent.name)
    raise RuntimeError("no such server")


async def measure(state: Path) -> list[str]:
    with Reader(state) as reader:
        totals = reader.overview.totals(0.0)
        names = sorted(reader.overview.names(Chosen()))
    chance = random.Random(3)
    sleds = chance.sample(names, min(len(names), 24))
    asks = {
        "Rounds": bare(state, rounds_asks),
        "Sled": bare(state, lambda source: source.sled(sleds[0])),
    }
    lines = [
        f"pages: {totals.controllers:,} controllers, {totals.sensors:,} sensors; "
        f"bare queries of Rounds {asks['Rounds'] * 1e3:.0f} ms, of Sled {asks['Sled'] * 1e3:.1f} ms"
    ]

    spent = [0.0]

    def told(what: str, seconds: float, page: str, more: str = "", pages: int = 1) -> None:
        cpu, spent[0] = cpu_of(pid) - spent[0], cpu_of(pid)
        ratio = seconds / asks[page] if asks[page] else float("nan")
        lines.append(
            f"  {what:<44} {seconds * 1e3:7.0f} ms, {ratio:6.1f} times the bare queries,"
            f" server's CPU {cpu / pages * 1e3:.0f} ms a page{more}"
        )

    with (
        tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as folder,
        served(state, Path(folder) / "log") as origin,
    ):
        pid = pid_of(origin)
        idle, spent[0] = memory(pid), cpu_of(pid)
        seconds, size = await visit(origin)
        told("Rounds, the first page of a fresh server", seconds, "Rounds", f", {size / 1e3:.0f} kB")
        await asyncio.sleep(6)
        seconds, _ = await visit(origin)
        told("Rounds, the next viewer, nothing fresh kept", seconds, "Rounds")
        seconds, _ = await visit(origin)
        told("Rounds, a viewer right after", seconds, "Rounds")
        seconds, size = await visit(origin, sled=sleds[0])
        told("Sled, the first of a fresh server", seconds, "Sled", f", {size / 1e3:.0f} kB")
        others = sorted([(await visit(origin, sled=each))[0] for each in sleds[1:12]])
        told("Sled, eleven others: the middle one", others[len(others) // 2], "Sled", pages=11)
        lines.append(f"  {'Sled, eleven others: the slowest':<44} {others[-1] * 1e3:7.0f} ms")
        name, case = sleds[12 % len(sleds)], "/redfish/v1/Chassis/Sled"
        day = {"sled": name, "place": f"{name}:{case}", "sensor": f"{case}|inlet air", "span": "24 h"}
        told("Sled, a sensor's 24 h open, sealed hours too", (await visit(origin, **day))[0], "Sled")
        one = memory(pid)
        await asyncio.sleep(6)
        many = sorted(each for each, _ in await asyncio.gather(*(visit(origin) for _ in range(VIEWERS))))
        told(f"Rounds, {VIEWERS} viewers at once: the middle one", many[VIEWERS // 2], "Rounds", pages=VIEWERS)
        lines.append(f"  {f'Rounds, {VIEWERS} viewers at once: the slowest':<44} {many[-1] * 1e3:7.0f} ms")
        many = sorted(
            each for each, _ in await asyncio.gather(*(visit(origin, sled=each) for each in sleds[-VIEWERS:]))
        )
        told(f"Sled, {VIEWERS} viewers at once: the slowest", many[-1], "Sled", pages=VIEWERS)
        for page in ("orders", "margins", "controllers", "parts"):
            seconds, size = await visit(origin, page=page)
            lines.append(f"  {page.capitalize() + ', the first':<44} {seconds * 1e3:7.0f} ms, {size / 1e3:.0f} kB")
        lines.append(
            f"  memory of the server: {idle:.0f} MB before the first page, {one:.0f} MB after one viewer,"
            f" {memory(pid):.0f} MB after all"
        )
    return lines


def run(state: Path | None = None, controllers: int = 400) -> list[str]:
    """Lines of figures."""
    if state is not None:
        return asyncio.run(measure(state))
    with tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as folder:
        asyncio.run(build(Path(folder), controllers, 0.0, 600.0, say=False))
        return asyncio.run(measure(Path(folder)))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("state", type=Path, nargs="?")
    parser.add_argument("--controllers", type=int, default=400)
    given = parser.parse_args()
    for line in run(given.state, given.controllers):
        print(line)
    return 0


if __name__ == "__main__":
    sys.exit(main())
