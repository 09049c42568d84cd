"""Messages on their way: bounded, in order, errors told; and what a topic holds when deletion and news overtake."""

from __future__ import annotations

import asyncio
from typing import Any, cast

import aiomqtt
import pytest

from collector.publish.mqtt import MqttPublisher
from collector.publish.outbox import WINDOW, Message, Outbox
from collector.settings import MqttSettings
from tests.publish.fleet import Fleet


class Slow:
    """A client whose broker answers when the test says so."""

    def __init__(self) -> None:
        self.pending_calls_threshold = 10
        self.sent: list[tuple[str, bytes]] = []
        self.answers: list[asyncio.Future[None]] = []

    async def publish(self, topic: str, payload: bytes, *, qos: int, retain: bool) -> None:
        self.sent.append((topic, payload))
        answer: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.answers.append(answer)
        await answer

    def answer(self, count: int | None = None) -> None:
        for answer in self.answers[:count]:
            answer.set_result(None)
        del self.answers[:count]


def outbox(client: Slow, delivered: Any = lambda message: None) -> Outbox:
    return Outbox(cast("aiomqtt.Client", client), delivered)


def message(number: int) -> Message:
    return Message("n1", f"t/{number}", b"x")


async def turns() -> None:
    for _ in range(5):
        await asyncio.sleep(0)


async def test_no_more_than_the_window_is_under_way_and_order_is_kept() -> None:
    client, told = Slow(), []
    box = outbox(client, told.append)

    async def put_all() -> None:
        for number in range(WINDOW + 5):
            await box.put(message(number))
        await box.drain()

    putting = asyncio.create_task(put_all())
    await turns()
    assert len(client.sent) == WINDOW
    client.answer(3)
    await turns()
    assert len(client.sent) == WINDOW + 3
    while not putting.done():
        client.answer()
        await asyncio.sleep(0)
    assert [topic for topic, _ in client.sent] == [f"t/{number}" for number in range(WINDOW + 5)]
    assert len(told) == WINDOW + 5


async def test_what_one_message_met_is_raised_at_the_next() -> None:
    client = Slow()
    box = outbox(client)
    await box.put(message(1))
    await turns()
    client.answers[0].set_exception(aiomqtt.MqttError("lost"))
    with pytest.raises(aiomqtt.MqttError, match="lost"):
        await box.drain()
    await box.aclose()


async def test_closing_gives_up_what_is_under_way() -> None:
    client, told = Slow(), []
    box = outbox(client, told.append)
    await box.put(message(1))
    await turns()
    await box.aclose()
    await box.drain()
    assert told == []


async def test_a_topic_told_anew_while_its_deletion_is_under_way_is_still_held() -> None:
    fleet = Fleet("n1")
    publisher = MqttPublisher(MqttSettings(host="h"), None, fleet.live, fleet.feed, version="0")
    client = Slow()
    box = outbox(client, publisher._delivered)
    for payload in (b"open", b"open", b"", b"", b"open again"):
        await publisher._send(box, [Message("n1", "t", payload)])
    await turns()
    assert [payload for _, payload in client.sent] == [b"open", b"", b"open again"], "nothing twice"
    client.answer()
    await box.drain()
    assert publisher.statistics().retained == 1
    await publisher._send(box, [Message("n1", "t", b"")])
    await turns()
    client.answer()
    await box.drain()
    assert client.sent[-1] == ("t", b"")
    assert publisher.statistics().retained == 0
    await publisher._send(box, [Message("n1", "t", b"")])
    await turns()
    assert len(client.sent) == 4, "what holds nothing needs no deletion"
    await box.aclose()
