"""The HTTP port: formats negotiated, health and readiness, addresses, what goes wrong."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import aiohttp
import pytest
from prometheus_client import CollectorRegistry, Gauge
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse_openmetrics
from prometheus_client.parser import text_string_to_metric_families as parse_text

from collector.model import Outcome
from collector.publish.errors import ListenError
from collector.publish.http import OPENMETRICS_TYPE, TEXT_TYPE, Check, HttpServer
from collector.publish.metrics import SelfReport
from tests.publish.fleet import NOON, Fleet, sled


def report() -> SelfReport:
    return SelfReport(version="0.1.0", started=NOON)


@asynccontextmanager
async def served(
    fleet: Fleet, checks: dict[str, Check] | None = None, registry: CollectorRegistry | None = None
) -> AsyncIterator[aiohttp.ClientSession]:
    async with HttpServer(fleet.live, report=report, checks=checks, registry=registry) as server:
        host, port = await server.start("127.0.0.1", 0)
        assert host == "127.0.0.1"
        assert port > 0
        async with aiohttp.ClientSession(base_url=f"http://{host}:{port}") as session:
            yield session


@pytest.fixture
def fleet() -> Fleet:
    fleet = Fleet("n1", "n2")
    fleet.walk(sled("n1"))
    return fleet


PROMETHEUS_ACCEPT = (
    "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,"
    "text/plain;version=0.0.4;q=0.5,*/*;q=0.1"
)
"""What Prometheus 2.42 sends (from memory; tests/system/test_prometheus.py has the real one)."""


@pytest.mark.parametrize(
    ("accept", "openmetrics"),
    [
        (None, False),
        ("*/*", False),
        ("text/plain", False),
        ("text/html", False),
        ("application/openmetrics-text", True),
        ("application/openmetrics-text; version=1.0.0; charset=utf-8", True),
        ("application/openmetrics-text;version=2.0.0;escaping=allow-utf-8", True),
        (PROMETHEUS_ACCEPT, True),
        ("application/openmetrics-text;version=nonsense", False),
        ("application/openmetrics-text;version=0.0.1", False),
        (",;=,;;", False),
    ],
)
async def test_the_format_is_negotiated(fleet: Fleet, accept: str | None, openmetrics: bool) -> None:
    async with served(fleet) as session:
        headers = {} if accept is None else {"Accept": accept}
        async with session.get("/metrics", headers=headers) as response:
            assert response.status == 200
            assert response.headers["Content-Type"] == (OPENMETRICS_TYPE if openmetrics else TEXT_TYPE)
            assert response.headers["Server"] == "sledkeeper"
            text = await response.text()
    found = list((parse_openmetrics if openmetrics else parse_text)(text))
    assert any(family.name == "sledkeeper_temperature_celsius" for family in found)
    assert text.endswith("# EOF\n") == openmetrics


async def test_what_is_registered_besides_is_told_too(fleet: Fleet) -> None:
    registry = CollectorRegistry()
    Gauge("extra", "Something of the process.", registry=registry).set(7)
    async with served(fleet, registry=registry) as session:
        for accept in ("application/openmetrics-text", "text/plain"):
            async with session.get("/metrics", headers={"Accept": accept}) as response:
                text = await response.text()
            assert "\nextra 7.0\n" in text
            assert text.count("# EOF") == ("openmetrics" in accept)


async def test_scrapes_are_counted(fleet: Fleet) -> None:
    async with served(fleet) as session:
        texts = []
        for _ in range(2):
            async with session.get("/metrics") as response:
                texts.append(await response.text())
    assert "sledkeeper_exposition_scrapes_total 0\n" in texts[0]
    assert "sledkeeper_exposition_scrapes_total 1\n" in texts[1]
    assert "sledkeeper_exposition_render_seconds " in texts[1]


async def test_many_scrapes_at_once(fleet: Fleet) -> None:
    async def scrape(session: aiohttp.ClientSession) -> int:
        async with session.get("/metrics") as response:
            return len((await response.text()).splitlines())

    async with served(fleet) as session:
        lengths = await asyncio.gather(*(scrape(session) for _ in range(8)))
    assert max(lengths) - min(lengths) <= 3, "all but the first tell how long the one before took: three lines"


async def test_a_large_fleet_does_not_hold_the_event_loop() -> None:
    """Others get their turn while it renders: as many turns as there are slices, whatever the machine's speed."""
    fleet = Fleet(*(f"n{number}" for number in range(100)))
    for number in range(100):
        fleet.walk(sled(f"n{number}", blades=4))
    turns = 0

    async def count() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    server = HttpServer(fleet.live, report=report)
    counting = asyncio.create_task(count())
    pieces = [piece async for piece in server._pieces(True)]
    counting.cancel()
    assert turns >= len(pieces)


async def test_healthz_tells_what_is_wrong(fleet: Fleet) -> None:
    problem: str | None = None
    async with served(fleet, {"writer": lambda: problem, "other": lambda: None}) as session:
        async with session.get("/healthz") as response:
            assert response.status == 200
            assert await response.json() == {"healthy": True, "problems": {}}
        problem = "the disk is full"
        async with session.get("/healthz") as response:
            assert response.status == 503
            assert await response.json() == {"healthy": False, "problems": {"writer": "the disk is full"}}


async def test_readyz_waits_for_every_controllers_first_try() -> None:
    fleet = Fleet("n1", "n2", "n3")
    async with served(fleet) as session:
        fleet.walk(sled("n1"))
        async with session.get("/readyz") as response:
            assert response.status == 503
            assert await response.json() == {
                "ready": False,
                "controllers": 3,
                "not_tried_yet": 2,
                "first_of_them": ["n2", "n3"],
            }
        fleet.poll("n2", NOON, outcome=Outcome.UNREACHABLE)
        fleet.poll("n3", NOON, outcome=Outcome.LOGIN_REFUSED)
        async with session.get("/readyz") as response:
            assert response.status == 200, "a try that failed is a try"
            assert (await response.json())["ready"] is True


async def test_readyz_of_a_large_fleet_stays_short() -> None:
    fleet = Fleet(*(f"n{number}" for number in range(500)))
    async with served(fleet) as session, session.get("/readyz") as response:
        body = await response.json()
    assert body["not_tried_yet"] == 500
    assert len(body["first_of_them"]) == 20


async def test_the_index_says_where_things_are(fleet: Fleet) -> None:
    async with served(fleet) as session:
        async with session.get("/") as response:
            text = await response.text()
            assert response.content_type == "text/plain"
        for path in ("/metrics", "/healthz", "/readyz"):
            assert path in text
        async with session.get("/else") as response:
            assert response.status == 404
        async with session.post("/metrics") as response:
            assert response.status == 405
        async with session.head("/metrics") as response:
            assert response.status == 200
            assert await response.read() == b""


async def test_a_taken_port_is_told_plainly(fleet: Fleet) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        async with HttpServer(fleet.live, report=report) as server:
            with pytest.raises(ListenError, match=rf"127\.0\.0\.1:{port}: .*; change collector\.listen"):
                await server.start("127.0.0.1", port)


async def test_closing_twice_is_harmless(fleet: Fleet) -> None:
    server = HttpServer(fleet.live, report=report)
    await server.start("127.0.0.1", 0)
    await server.aclose()
    await server.aclose()
