"""Events posted to a subscriber's own server on loopback, and what becomes of those that don't arrive."""

from __future__ import annotations

import asyncio
import json
import ssl
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import httptools
import pytest

from simulators.service.courier import Courier
from simulators.service.reports import REPORT
from simulators.service.subscriptions import Subscription
from simulators.service.trust import Authority
from tests.simulators.event_kit import SUBSCRIPTIONS, TEST_EVENT, Scene, scene
from tests.simulators.service_kit import NOW, Asker
from tests.simulators.test_service_server import until
from tests.simulators.test_subscriptions import events, subscribe


class Receiver:
    """A subscriber's server: keeps what is posted to it, and answers what it is told to."""

    def __init__(self) -> None:
        self.got: list[dict[str, Any]] = []
        self.headers: list[dict[str, str]] = []
        self.paths: list[str] = []
        self.answers: list[bytes] = []
        """Instead of 204, one after the other."""
        self.port = 0

    @property
    def keys(self) -> list[str]:
        return [event["MessageId"].rpartition(".")[2] for body in self.got for event in body["Events"]]

    async def handle(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        request = _Request()
        while not request.done:
            piece = await reader.read(4096)
            if not piece:
                break
            request.parser.feed_data(piece)
        answer = self.answers.pop(0) if self.answers else b"HTTP/1.1 204 No Content\r\n\r\n"
        if answer.startswith(b"HTTP/1.1 20"):
            self.got.append(json.loads(request.body))
            self.headers.append(request.headers)
            self.paths.append(request.url.decode())
        writer.write(answer)
        writer.close()


class _Request:
    def __init__(self) -> None:
        self.parser = httptools.HttpRequestParser(self)
        self.headers: dict[str, str] = {}
        self.body = self.url = b""
        self.done = False

    def on_url(self, url: bytes) -> None:
        self.url += url

    def on_header(self, name: bytes, value: bytes) -> None:
        self.headers[name.decode().lower()] = value.decode()

    def on_body(self, body: bytes) -> None:
        self.body += body

    def on_message_complete(self) -> None:
        self.done = True


@asynccontextmanager
async def receiving(context: ssl.SSLContext | None = None, host: str = "127.0.0.1") -> AsyncIterator[Receiver]:
    receiver = Receiver()
    server = await asyncio.start_server(receiver.handle, host, 0, ssl=context)
    receiver.port = server.sockets[0].getsockname()[1]
    async with server:
        yield receiver


@asynccontextmanager
async def delivering(one: Asker, **options: Any) -> AsyncIterator[Courier]:
    courier = Courier(**({"interval": 0.01} | options))
    courier.serve(events(one))
    try:
        yield courier
    finally:
        await courier.aclose()


def to(one: Asker, receiver: Receiver, **more: Any) -> Subscription:
    return subscribe(one, Destination=f"http://127.0.0.1:{receiver.port}/in?key=1", **more)


def fan(one: Asker, source: Scene, *healths: str) -> None:
    for health in healths:
        source.ill("fan1", health)
        one.service.look(NOW)


async def test_an_event_is_posted_as_it_stands_in_the_standard() -> None:
    one, source = scene("push")
    async with receiving() as receiver, delivering(one):
        to(one, receiver, Context="rack 1", HttpHeaders=[{"X-Key": "open sesame"}])
        fan(one, source, "Critical")
        await until(lambda: receiver.got)
        [body] = receiver.got
        assert body["@odata.type"].startswith("#Event.")
        assert body["Context"] == "rack 1"
        assert receiver.keys == ["FanFailed"]
        assert receiver.paths == ["/in?key=1"]
        assert receiver.headers[0]["x-key"] == "open sesame"
        assert receiver.headers[0]["content-type"].startswith("application/json")


async def test_over_tls_and_to_other_names_of_this_machine() -> None:
    one, source = scene()
    context = Authority("other CA", time.time()).issue("receiver").server_context()
    async with receiving(context) as receiver, delivering(one):
        subscribe(one, Destination=f"https://localhost:{receiver.port}/")
        fan(one, source, "Critical")
        await until(lambda: receiver.got)
        assert receiver.headers[0]["host"] == f"localhost:{receiver.port}"


async def test_what_comes_while_one_is_delivered_comes_with_the_next() -> None:
    one, source = scene()
    async with receiving() as receiver, delivering(one) as courier:
        made = to(one, receiver)
        fan(one, source, "Warning", "Critical", "OK", "Warning")
        await until(lambda: len(receiver.keys) == 4)
        assert receiver.keys == ["FanWarning", "FanFailed", "FanRestored", "FanWarning"]
        await until(lambda: made.delivered == 4)
        assert courier.failed == 0


async def test_a_delivery_that_fails_is_tried_again_and_nothing_is_lost() -> None:
    one, source = scene()
    async with receiving() as receiver, delivering(one) as courier:
        made = to(one, receiver)
        receiver.answers = [b"HTTP/1.1 500 Sorry\r\nContent-Length: 0\r\n\r\n", b"rubbish\r\n\r\n", b""]
        fan(one, source, "Critical")
        await until(lambda: made.delivered == 1)
        assert receiver.keys == ["FanFailed"]
        assert courier.failed == 3
        assert made.failures == 0


async def test_a_policy_that_gives_up_deletes_the_subscription() -> None:
    one, source = scene()
    async with receiving() as receiver, delivering(one, retries=2) as courier:
        to(one, receiver)
        receiver.answers = [b"HTTP/1.1 404 No\r\nContent-Length: 0\r\n\r\n"] * 9
        fan(one, source, "Critical")
        await until(lambda: not one.get(SUBSCRIPTIONS)["Members"])
        assert courier.failed == 3
        assert len(receiver.answers) == 6


async def test_a_policy_that_suspends_waits_to_be_resumed() -> None:
    one, source = scene()
    async with receiving() as receiver, delivering(one, retries=0):
        made = to(one, receiver, DeliveryRetryPolicy="SuspendRetries")
        path = f"{SUBSCRIPTIONS}/{made.id}"
        receiver.answers = [b"HTTP/1.1 503 Later\r\nContent-Length: 0\r\n\r\n"]
        fan(one, source, "Warning")
        await until(lambda: made.suspended)
        assert one.get(path)["Status"]["State"] == "Disabled"
        fan(one, source, "Critical")
        resume = one.get(path)["Actions"]["#EventDestination.ResumeSubscription"]["target"]
        assert one.error("POST", resume, {"Now": 1}) == (400, ["ActionParameterUnknown"])
        assert one.ask("POST", resume, {}).status == 204
        assert one.get(path)["Status"]["State"] == "Enabled"
        fan(one, source, "OK")
        await until(lambda: receiver.got)
        assert receiver.keys == ["FanRestored"]


@pytest.mark.parametrize("policy", ["RetryForever", "RetryForeverWithBackoff"])
async def test_a_policy_without_end_keeps_trying(policy: str) -> None:
    one, source = scene()
    async with receiving() as receiver, delivering(one, retries=0, interval=0.001) as courier:
        to(one, receiver, DeliveryRetryPolicy=policy)
        receiver.answers = [b"HTTP/1.1 503 Later\r\nContent-Length: 0\r\n\r\n"] * 6
        fan(one, source, "Critical")
        await until(lambda: receiver.got)
        assert courier.failed == 6
        assert receiver.keys == ["FanFailed"]


async def test_a_redirect_is_not_followed() -> None:
    one, source = scene()
    async with receiving() as receiver, receiving() as other, delivering(one, retries=0):
        to(one, receiver)
        told = f"HTTP/1.1 307 Else\r\nLocation: http://127.0.0.1:{other.port}/\r\nContent-Length: 0\r\n\r\n"
        receiver.answers = [told.encode()]
        fan(one, source, "Critical")
        await until(lambda: not one.get(SUBSCRIPTIONS)["Members"])
        assert other.got == []


async def test_a_deleted_subscription_is_told_nothing_more() -> None:
    one, _ = scene()
    async with receiving() as receiver, delivering(one):
        first, second = to(one, receiver, Context="first"), to(one, receiver, Context="second")
        assert one.ask("DELETE", f"{SUBSCRIPTIONS}/{first.id}").status == 204
        assert one.ask("POST", TEST_EVENT, {}).status == 204
        await until(lambda: second.delivered)
        assert [body["Context"] for body in receiver.got] == ["second"]


async def test_nothing_is_ever_sent_to_another_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    one, source = scene()
    tried: list[object] = []

    async def connect(*told: object, **more: object) -> object:
        tried.append(told)
        raise OSError

    monkeypatch.setattr("asyncio.open_connection", connect)
    events(one).far = True
    async with delivering(one, retries=0) as courier:
        subscribe(one, Destination="https://192.0.2.7/events")
        fan(one, source, "Critical")
        await until(lambda: courier.failed)
        assert tried == []


async def test_metric_reports_are_posted_to_who_asked_for_them_and_nothing_else_is() -> None:
    one, source = scene("reports")
    service = one.service
    assert service.events is not None
    courier = Courier(interval=0.01)
    courier.serve(service.events)
    async with receiving() as receiver:
        subscribe(one, Destination=f"http://127.0.0.1:{receiver.port}/", EventFormatType="MetricReport")
        [member] = one.get(SUBSCRIPTIONS)["Members"]
        assert one.get(member["@odata.id"])["EventFormatType"] == "MetricReport"
        source.ill("fan1", "Critical")
        service.look(NOW + 1.0)
        service.look(NOW + 60.0)
        await until(lambda: receiver.got)
        assert [body["@odata.id"] for body in receiver.got] == [REPORT]
        assert receiver.got[0] == one.get(REPORT)
    await courier.aclose()


def test_who_tells_no_reports_takes_no_subscription_for_them() -> None:
    one, _ = scene("modern")
    told = {"Destination": "http://127.0.0.1:9/", "Protocol": "Redfish", "EventFormatType": "MetricReport"}
    assert one.error("POST", SUBSCRIPTIONS, told) == (400, ["PropertyValueNotInList"])
