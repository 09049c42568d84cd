"""GETs a second of our transport and of general HTTP clients, on one loopback TLS server: ratios of one run.

The server is a process of its own that answers every request with one 17 kB collection of 40 sensors; 32 controllers
are polled at once over a kept connection each, on uvloop. CPU is that of the client's process alone.
"""

from __future__ import annotations

import asyncio
import json
import ssl
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from contextlib import AsyncExitStack
from pathlib import Path

import aiohttp
import httpx
import uvloop

from collector.redfish.transport import ControllerTransport
from collector.settings import ControllerSettings
from tests.redfish.servers import make_identity

CONTROLLERS = 32
PATH = "/redfish/v1/Chassis/Sled/Sensors?$expand=.($levels=1)"
HEADERS = {"X-Auth-Token": "0123456789abcdef0123456789abcdef", "Accept": "application/json", "OData-Version": "4.0"}

Get = Callable[[], Awaitable[bytes]]
Maker = Callable[[str, Path, AsyncExitStack], Awaitable[Get]]


def body() -> bytes:
    """A collection of 40 sensors as Redfish services expand it, 17 kB."""
    uri = "/redfish/v1/Chassis/Sled/Sensors"

    def sensor(index: int) -> dict[str, object]:
        return {
            "@odata.id": f"{uri}/T{index}",
            "@odata.type": "#Sensor.v1_10_0.Sensor",
            "Id": f"T{index}",
            "Name": f"Board {index} temperature",
            "ReadingType": "Temperature",
            "Reading": 31.25 + index,
            "ReadingUnits": "Cel",
            "ReadingRangeMin": -40,
            "ReadingRangeMax": 125,
            "PhysicalContext": "SystemBoard",
            "Thresholds": {"UpperCaution": {"Reading": 80}, "UpperCritical": {"Reading": 90}},
            "Status": {"State": "Enabled", "Health": "OK"},
        }

    members = [sensor(index) for index in range(40)]
    return json.dumps({"@odata.id": uri, "Members@odata.count": 40, "Members": members}).encode()


async def ours(url: str, ca_file: Path, stack: AsyncExitStack) -> Get:
    """The transport's own method, as the poll path uses it."""
    transport = ControllerTransport(ControllerSettings(name="bench", url=url, ca_file=ca_file))
    stack.push_async_callback(transport.aclose)
    headers = tuple((name.encode(), value.encode()) for name, value in HEADERS.items())

    async def get() -> bytes:
        return (await transport.get(PATH, headers)).body

    return get


def _httpx(client: httpx.AsyncClient) -> Get:
    async def get() -> bytes:
        return (await client.get(PATH)).content

    return get


async def ours_through_httpx(url: str, ca_file: Path, stack: AsyncExitStack) -> Get:
    """The same transport below an httpx client."""
    transport = ControllerTransport(ControllerSettings(name="bench", url=url, ca_file=ca_file))
    return _httpx(await stack.enter_async_context(_client(url, transport=transport)))


async def plain_httpx(url: str, ca_file: Path, stack: AsyncExitStack) -> Get:
    """httpx with its own transport, a client a controller."""
    context = ssl.create_default_context(cafile=ca_file)
    return _httpx(await stack.enter_async_context(_client(url, verify=context)))


def _client(url: str, **more: object) -> httpx.AsyncClient:
    return httpx.AsyncClient(base_url=url, headers=HEADERS, trust_env=False, **more)  # type: ignore[arg-type]


async def httpx_over_aiohttp(url: str, ca_file: Path, stack: AsyncExitStack) -> Get:
    """httpx's interface on aiohttp's connections."""
    from httpx_aiohttp import AiohttpTransport

    transport = AiohttpTransport(verify=ssl.create_default_context(cafile=ca_file))
    return _httpx(await stack.enter_async_context(_client(url, transport=transport)))


async def bare_aiohttp(url: str, ca_file: Path, stack: AsyncExitStack) -> Get:
    """aiohttp alone, a session a controller."""
    context = ssl.create_default_context(cafile=ca_file)
    session = aiohttp.ClientSession(url, headers=HEADERS, connector=aiohttp.TCPConnector(ssl=context))
    await stack.enter_async_context(session)
    from yarl import URL

    there = URL(PATH, encoded=True)

    async def get() -> bytes:
        async with session.get(there) as response:
            return await response.read()

    return get


CLIENTS: dict[str, tuple[Maker, int]] = {
    "ours, direct": (ours, 12_000),
    "ours, through httpx": (ours_through_httpx, 4_000),
    "bare aiohttp": (bare_aiohttp, 6_000),
    "httpx over aiohttp": (httpx_over_aiohttp, 4_000),
    "httpx, a client a controller": (plain_httpx, 1_600),
}
"""Name -> how to make it, and GETs in one measurement."""


async def measure(make: Maker, gets: int, url: str, ca_file: Path, size: int) -> tuple[float, float]:
    """(GETs a second, microseconds of CPU a GET), after one GET on every connection."""
    async with AsyncExitStack() as stack:
        clients = [await make(url, ca_file, stack) for _ in range(CONTROLLERS)]

        async def poll(get: Get, times: int) -> None:
            for _ in range(times):
                if len(await get()) != size:
                    raise RuntimeError("the answer is not what was served")

        await asyncio.gather(*(poll(get, 1) for get in clients))
        start, cpu = time.perf_counter(), time.process_time()
        await asyncio.gather(*(poll(get, gets // CONTROLLERS) for get in clients))
        done = gets // CONTROLLERS * CONTROLLERS
        return done / (time.perf_counter() - start), (time.process_time() - cpu) / done * 1e6


def run() -> list[str]:
    """Measure all clients twice in turn, keep each one's better turn; lines for people."""
    size = len(body())
    with tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as name:
        folder = Path(name)
        identity = make_identity(folder)
        server = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.transport", "serve", str(folder / "server.pem")],
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert server.stdout is not None
            url = f"https://127.0.0.1:{server.stdout.readline().strip()}"
            best: dict[str, tuple[float, float]] = {}
            for _ in range(2):
                for client, (make, gets) in CLIENTS.items():
                    try:
                        told = uvloop.run(measure(make, gets, url, identity.ca_file, size))
                    except ImportError as error:
                        print(f"{client}: left out, {error}", file=sys.stderr)
                        continue
                    best[client] = max(told, best.get(client, told))
        finally:
            server.terminate()
            server.wait(timeout=30)
    floor = best["bare aiohttp"]
    lines = [f"transport: {size} bytes a GET, TLS, {CONTROLLERS} controllers, one connection each"]
    for client, (rate, cpu) in best.items():
        ratio = f"{rate / floor[0]:.2f} of bare aiohttp's rate, {cpu / floor[1]:.2f} of its CPU"
        lines.append(f"  {client:30} {rate:7.0f} GET/s  {cpu:6.1f} us CPU/GET  {ratio}")
    return lines


class _Answering(asyncio.Protocol):
    """Answers every read with the same bytes: next to nothing of the server is in the figures."""

    whole = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        self._transport.write(self.whole)  # type: ignore[attr-defined]


async def _serve(chain: str) -> None:
    told = body()
    head = (
        "HTTP/1.1 200 OK\r\nContent-Type: application/json; charset=utf-8\r\nOData-Version: 4.0\r\n"
        f'ETag: W/"12345678"\r\nCache-Control: no-cache\r\nContent-Length: {len(told)}\r\n\r\n'
    )
    _Answering.whole = head.encode() + told
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chain)
    server = await asyncio.get_running_loop().create_server(_Answering, "127.0.0.1", 0, ssl=context)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        uvloop.run(_serve(sys.argv[2]))
    else:
        print("\n".join(run()))
