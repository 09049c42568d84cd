"""The collector between a simulated fleet and a real broker, as processes."""

from __future__ import annotations

import asyncio
import json
import signal
import urllib.request
from pathlib import Path

import pytest

from collector.store.errors import StoreMissing
from collector.store.reader import Reader
from tests.cli.processes import PATIENCE, read, running, simulated, until
from tests.system.broker import broker, retained

SEIZED = "r01-e1-s2"
pytestmark = pytest.mark.system


def test_a_fleet_reaches_a_broker_and_metrics_and_the_collector_says_good_bye(tmp_path: Path) -> None:
    fault = ("--fault", "fan-seized@r01-e1-s2/fan1")
    with broker(tmp_path) as one, simulated(tmp_path / "fleet", "--poll-interval", "2", *fault) as config:
        config.write_text(config.read_text() + f'\n[mqtt]\nhost = "127.0.0.1"\nport = {one.port}\n')
        state = tmp_path / "state"
        with running("collect", "--config", config, "--state", state) as process:

            def listening() -> str | None:
                try:
                    with Reader(state) as reader:
                        mark = reader.collector()
                except StoreMissing:
                    return None
                return mark.listen if mark is not None else None

            address = until(listening)

            def critical() -> bool:
                found = asyncio.run(retained(one.port, f"sledkeeper/1/{SEIZED}/conditions/#")).values()
                return "Critical" in {json.loads(payload)["severity"] for payload in found}

            until(critical)
            with urllib.request.urlopen(f"http://{address}/metrics") as answer:
                metrics = answer.read().decode()
            assert f'sledkeeper_conditions{{controller="{SEIZED}",severity="Critical"}} 1' in metrics
            assert "sledkeeper_mqtt_connected 1" in metrics
            process.send_signal(signal.SIGTERM)
            assert process.wait(timeout=PATIENCE) == 0
        (goodbye,) = asyncio.run(retained(one.port, "sledkeeper/1/_collector/#")).values()
        assert json.loads(goodbye)["state"] == "offline"
    assert [row["part"] for row in read("conditions", state)]
