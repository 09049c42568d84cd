"""/metrics before a real Prometheus and its linter, both Debian's."""

from __future__ import annotations

import asyncio
import contextlib
import shutil
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp
import pytest
from prometheus_client import CollectorRegistry, ProcessCollector

from collector.model import Health, Outcome, Quantity, State, Status
from collector.publish.http import HttpServer
from collector.publish.metrics import SelfReport
from tests.publish.fleet import NOON, Fleet, pid, sensor, sled
from tests.publish.test_metrics import FEED, HOSTILE, MQTT, WRITER
from tests.system.broker import LIMIT, free_port

pytestmark = pytest.mark.system

CONTROLLERS, BLADES, SENSORS = 8, 4, 40


def program(name: str) -> str:
    """A program of Debian's prometheus package; skips the test, naming the package, where there is none."""
    found = shutil.which(name, path="/usr/bin:/usr/local/bin")
    if found is None:
        pytest.skip(f"the Debian package prometheus is missing: no {name} in /usr/bin")
    return found


def some_fleet() -> Fleet:
    """A few hundred sensors of every quantity, some trouble, one controller that is away."""
    fleet = Fleet(*(f"n{number}" for number in range(CONTROLLERS)), "away", "untried")
    quantities = list(Quantity)
    for number in range(CONTROLLERS):
        name = f"n{number}"
        sensors = [
            sensor(name, f"Blade{1 + column % BLADES}", f"S{column}", quantities[column % len(quantities)])
            for column in range(SENSORS)
        ]
        fleet.walk(sled(name, blades=BLADES, sensors=sensors, value=20.0 + number))
    fleet.poll(
        "n0", NOON + 30, statuses={"Fan1": Status(state=State.ENABLED, health=Health.CRITICAL)}, outcome=Outcome.PARTIAL
    )
    fleet.poll("away", NOON + 30, outcome=Outcome.UNREACHABLE, error="refused")
    return fleet


def report() -> SelfReport:
    return SelfReport(version="0.1.0", started=NOON, writer=WRITER, feed=FEED, mqtt=MQTT)


@asynccontextmanager
async def served(fleet: Fleet) -> AsyncIterator[str]:
    registry = CollectorRegistry()
    ProcessCollector(registry=registry)
    async with HttpServer(fleet.live, report=report, registry=registry) as server:
        host, port = await server.start("127.0.0.1", 0)
        yield f"{host}:{port}"


@asynccontextmanager
async def prometheus(target: str, folder: Path) -> AsyncIterator[str]:
    """A running server that scrapes the target every second; its address. Ended by its process id."""
    config = folder / "prometheus.yml"
    config.write_text(
        "global:\n  scrape_interval: 1s\nscrape_configs:\n"
        f"  - job_name: sledkeeper\n    static_configs:\n      - targets: ['{target}']\n"
    )
    address = f"127.0.0.1:{free_port()}"
    process = await asyncio.create_subprocess_exec(
        program("prometheus"),
        f"--config.file={config}",
        f"--storage.tsdb.path={folder}/data",
        f"--web.listen-address={address}",
        "--log.level=error",
    )
    try:
        yield address
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        await process.wait()


async def asked(address: str, query: str) -> list[Any]:
    """What the server answers to a query once it has an answer."""
    async with asyncio.timeout(LIMIT), aiohttp.ClientSession() as session:
        while True:
            with contextlib.suppress(aiohttp.ClientConnectionError):
                async with session.get(f"http://{address}/api/v1/query", params={"query": query}) as response:
                    body = await response.json() if response.status == 200 else {"status": "starting"}
                    if body["status"] == "success" and body["data"]["result"]:
                        result: list[Any] = body["data"]["result"]
                        return result
            await asyncio.sleep(0.1)


def number(result: list[Any]) -> float:
    assert len(result) == 1, result
    return float(result[0]["value"][1])


async def test_a_real_prometheus_scrapes_and_answers(tmp_path: Path) -> None:
    fleet = some_fleet()
    async with served(fleet) as target, prometheus(target, tmp_path) as address:
        assert number(await asked(address, "up")) == 1
        it = f'{{controller="n3",part="{pid("n3", "Blade1")}",sensor="S0"}}'
        assert number(await asked(address, f"sledkeeper_temperature_celsius{it}")) == 23.0
        temperatures = -(-SENSORS // len(Quantity)) * CONTROLLERS
        assert number(await asked(address, "count(sledkeeper_temperature_celsius)")) == temperatures
        health = f'sledkeeper_part_health{{part="{pid("n0", "Fan1")}",sledkeeper_part_health="Critical"}}'
        assert number(await asked(address, health)) == 1
        at_risk = 'sum(sledkeeper_part_at_risk_causes{controller="n0"})'
        assert number(await asked(address, at_risk)) == BLADES
        assert number(await asked(address, 'sledkeeper_controller_up{controller="away"}')) == 0
        labels = "on (controller, part) group_left (rack)"
        joined = f"sum by (rack) (sledkeeper_temperature_celsius * {labels} sledkeeper_part_info)"
        (rack,) = await asked(address, joined)
        assert rack["metric"] == {"rack": "R02"}
        assert (
            float(rack["value"][1]) == sum(20.0 + number for number in range(CONTROLLERS)) * temperatures / CONTROLLERS
        )
        scraped = number(await asked(address, "scrape_samples_scraped"))
        kept = number(await asked(address, "scrape_samples_post_metric_relabeling"))
        assert scraped == kept > CONTROLLERS * SENSORS


async def test_a_vanished_part_is_stale_there_at_the_next_scrape(tmp_path: Path) -> None:
    fleet = some_fleet()
    async with served(fleet) as target, prometheus(target, tmp_path) as address:
        mine = f'sledkeeper_part_info{{part="{pid("n1", "Blade4")}"}}'
        assert number(await asked(address, f"count({mine})")) == 1
        fleet.without_part("n1", "Blade4", NOON + 60)
        assert number(await asked(address, f"absent({mine})")) == 1


@pytest.mark.parametrize("hostile", [False, True])
async def test_promtool_finds_nothing_to_say(hostile: bool) -> None:
    fleet = some_fleet()
    if hostile:
        fleet.walk(sled("n1", sensors=[sensor("n1", text, text) for text in HOSTILE]))
    async with (
        served(fleet) as target,
        aiohttp.ClientSession() as session,
        session.get(f"http://{target}/metrics") as response,
    ):
        text = await response.read()
    lint = subprocess.run([program("promtool"), "check", "metrics"], input=text, capture_output=True, check=False)
    assert (lint.returncode, lint.stdout.decode(), lint.stderr.decode()) == (0, "", "")
