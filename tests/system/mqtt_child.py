"""A publisher in a process of its own, to be killed: ``python -m tests.system.mqtt_child PORT``."""

from __future__ import annotations

import asyncio
import sys

from collector.publish.mqtt import MqttPublisher
from collector.settings import MqttSettings
from tests.publish.fleet import Fleet, sled


async def main(port: int) -> None:
    fleet = Fleet("n1")
    fleet.walk(sled("n1"))
    settings = MqttSettings(host="127.0.0.1", port=port, client_id="child")
    await MqttPublisher(settings, None, fleet.live, fleet.feed, version="0.1.0").run()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1])))
