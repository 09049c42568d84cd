"""Finds what a broker still retains from an earlier run of this collector, so that it can be deleted."""

from __future__ import annotations

import asyncio
from contextlib import suppress

import aiomqtt
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.publish import messages, topics

_SWEPT = ("state", "sensors", "readings", "margins", "figures", "parts/+", "conditions/+", "troubles/+", "orders/+")


class Sweep:
    """Finds what the broker still holds from an earlier run, while the new state is being told."""

    def __init__(self, echo: str) -> None:
        self._echo = echo
        self._heard_echo = asyncio.Event()
        self.found: set[str] = set()
        self._by: dict[str, str] = {}
        """By controller: the collector that told its retained state."""

    async def begin(self, client: aiomqtt.Client) -> None:
        """Ask for all retained state of controllers, but not for what we tell ourselves meanwhile."""
        options = SubscribeOptions(qos=0, noLocal=True, retainHandling=0)
        for what in _SWEPT:
            await client.subscribe(f"{topics.ROOT}/+/{what}", options=options)
        await client.subscribe(self._echo, options=SubscribeOptions(qos=0))

    async def end(self, client: aiomqtt.Client, timeout: float) -> bool:
        """Wait until all of it came (our own echo comes behind it), and ask no more; whether the echo came in time."""
        with suppress(TimeoutError):
            async with asyncio.timeout(timeout):
                await client.publish(self._echo, b"", qos=0)
                await self._heard_echo.wait()
        await client.unsubscribe([*(f"{topics.ROOT}/+/{what}" for what in _SWEPT), self._echo])
        return self._heard_echo.is_set()

    async def listen(self, client: aiomqtt.Client) -> None:
        """Take in what comes; raises MqttError once the connection is lost, which is noticed here first."""
        async for message in client.messages:
            topic = str(message.topic)
            if topic == self._echo:
                self._heard_echo.set()
            elif message.retain and isinstance(message.payload, bytes):
                self.found.add(topic)
                if topic.endswith("/state") and (controller := topics.controller_of(topic)) is not None:
                    self._by[controller] = messages.told_by(message.payload)

    def told_by(self, client_id: str) -> set[str]:
        """Controllers whose retained state this collector told."""
        return {controller for controller, by in self._by.items() if by == client_id}
