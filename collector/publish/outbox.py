"""Messages on their way to the broker: a bounded number at once, in order, without waiting for each answer.

The window slides over the whole connection instead of being emptied batch by batch: at the end of each batch the
broker's last acknowledgements would sit out TCP's delayed acknowledgement, some 40 ms, in which nothing moves.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import aiomqtt
from msgspec import Struct

WINDOW = 20
"""Messages unanswered at once; the client library's own limit for those that are acknowledged."""


class Message(Struct, frozen=True):
    """What is published where. An empty payload that is retained deletes what the topic holds."""

    controller: str
    """Whose message it is; "" for the collector's own."""
    topic: str
    payload: bytes
    retain: bool = True
    qos: int = 1


class Outbox:
    """Hands messages to one connection. ``delivered`` is called with each that the broker has."""

    def __init__(self, client: aiomqtt.Client, delivered: Callable[[Message], None]) -> None:
        self._client = client
        self._delivered = delivered
        self._under_way: set[asyncio.Task[None]] = set()
        client.pending_calls_threshold = 2 * WINDOW

    async def put(self, message: Message) -> None:
        """Send a message once there is room. Raises what an earlier one met: MqttError once the connection is lost."""
        while len(self._under_way) >= WINDOW:
            await self._some()
        self._under_way.add(asyncio.create_task(self._publish(message)))

    async def drain(self) -> None:
        """Wait until the broker has everything. Raises as :meth:`put`."""
        while self._under_way:
            await self._some()

    async def aclose(self) -> None:
        """Give up what is under way."""
        for task in self._under_way:
            task.cancel()
        await asyncio.gather(*self._under_way, return_exceptions=True)
        self._under_way.clear()

    async def _some(self) -> None:
        done, self._under_way = await asyncio.wait(self._under_way, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()

    async def _publish(self, message: Message) -> None:
        await self._client.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)
        self._delivered(message)
