"""Server-sent events of a simulated service over TLS, as a client's socket sees them (DSP0266; WHATWG HTML, 9.2)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

import httpx
import pytest

from simulators.service.inprocess import InProcess
from simulators.service.reports import REPORT
from simulators.service.server import Listener
from simulators.service.wire import Wire
from simulators.telemetry import Mode
from tests.simulators.event_kit import STREAM, SUBSCRIPTIONS, TEST_EVENT, Scene, scene
from tests.simulators.service_kit import ADMIN, NOW, PASSWORD, USER, Asker
from tests.simulators.test_service_server import TRUST, listening, until


class Reader:
    """Reads a stream as the event stream format has it: fields up to an empty line, comments apart."""

    def __init__(self, reply: httpx.Response) -> None:
        self.reply = reply
        self.comments: list[str] = []
        self._lines = reply.aiter_lines()

    async def event(self, *, reports: bool = False) -> tuple[str, dict[str, Any]]:
        """The next event: its id and its data; ``reports``: the next metric report instead."""
        id_, data = "", list[str]()
        async for line in self._lines:
            if not line and data:
                body = json.loads("\n".join(data))
                if ("MetricReport" in body["@odata.type"]) is reports:
                    return id_, body
                id_, data = "", []
            name, _, value = line.partition(":")
            if not name and line:
                self.comments.append(value)
            elif name == "id":
                id_ = value.removeprefix(" ")
            elif name == "data":
                data.append(value.removeprefix(" "))
        raise EOFError

    async def comment(self) -> str:
        async for line in self._lines:
            if line.startswith(":"):
                return line[1:].strip()
        raise EOFError


def client(listener: Listener) -> httpx.AsyncClient:
    return httpx.AsyncClient(base_url=listener.url, verify=TRUST, auth=(USER, PASSWORD), timeout=None)


@asynccontextmanager
async def stream(http: httpx.AsyncClient, **headers: str) -> AsyncIterator[Reader]:
    async with http.stream("GET", STREAM, headers=headers) as reply:
        assert reply.status_code == 200
        reader = Reader(reply)
        await reader.comment()  # what it begins with
        yield reader


def fan(one: Asker, source: Scene, health: str) -> None:
    source.ill("fan1", health)
    one.service.look(NOW)


@pytest.mark.parametrize("dialect", ["modern", "reports"])
async def test_what_happens_is_streamed_at_once_with_an_id(dialect: str) -> None:
    one, source = scene(dialect)
    async with listening(one) as listener, client(listener) as http, stream(http) as events:
        assert events.reply.headers["content-type"].startswith("text/event-stream")
        assert "content-length" not in events.reply.headers
        for health, key in (("Warning", "FanWarning"), ("Critical", "FanFailed"), ("OK", "FanRestored")):
            fan(one, source, health)
            id_, body = await events.event()
            assert body["Id"] == id_
            [event] = body["Events"]
            assert event["MessageId"] == f"Environmental.1.4.{key}"
            assert event["OriginOfCondition"]["@odata.id"].endswith("/Fans/Fan1")


async def test_a_stream_is_a_subscription_as_long_as_it_is_open() -> None:
    one, _ = scene()
    async with listening(one) as listener, client(listener) as http:
        async with stream(http):
            [member] = one.get(SUBSCRIPTIONS)["Members"]
            body = one.get(member["@odata.id"])
            assert (body["SubscriptionType"], body["Context"]) == ("SSE", None)
            assert "Destination" not in body
        await until(lambda: not one.get(SUBSCRIPTIONS)["Members"])


async def test_a_stream_ends_when_its_subscription_is_deleted() -> None:
    """DSP0266, "Server-sent events": the service closes the connection."""
    one, _ = scene()
    async with listening(one) as listener, client(listener) as http, stream(http) as events:
        [member] = one.get(SUBSCRIPTIONS)["Members"]
        assert one.ask("DELETE", member["@odata.id"]).status == 204
        with pytest.raises(EOFError):
            await events.event()


async def test_a_reader_that_comes_back_goes_on_after_the_last_event_that_it_saw() -> None:
    one, source = scene()
    async with listening(one) as listener, client(listener) as http:
        async with stream(http) as events:
            fan(one, source, "Warning")
            last, _ = await events.event()
        fan(one, source, "Critical")
        fan(one, source, "OK")
        async with stream(http, **{"Last-Event-ID": last}) as events:
            id_, body = await events.event()
            assert [event["MessageId"].rpartition(".")[2] for event in body["Events"]] == ["FanFailed", "FanRestored"]
            assert int(id_) == int(last) + 2
        async with stream(http) as events:
            assert one.ask("POST", TEST_EVENT, {}).status == 204
            _, body = await events.event()
            assert body["Events"][0]["MessageId"] == "ResourceEvent.1.4.TestMessage"


@pytest.mark.parametrize("last", ["x", "-1", "99999999999999999999", "9999", ""])
async def test_an_id_that_never_was_is_taken_for_none(last: str) -> None:
    one, source = scene()
    fan(one, source, "Warning")
    async with listening(one) as listener, client(listener) as http, stream(http, **{"Last-Event-ID": last}) as events:
        fan(one, source, "Critical")
        _, body = await events.event()
        assert [event["MessageId"].rpartition(".")[2] for event in body["Events"]] == ["FanFailed"]


async def test_a_quiet_stream_says_that_it_lives() -> None:
    one, _ = scene(keep_alive=0.01)
    async with listening(one) as listener, client(listener) as http, stream(http) as events:
        assert [await events.comment() for _ in range(3)] == ["still here"] * 3


async def test_streams_are_bounded_and_refused_with_503() -> None:
    one, _ = scene()
    async with listening(one) as listener, client(listener) as http:
        async with stream(http), stream(http), stream(http):
            assert one.error("GET", STREAM) == (503, ["EventSubscriptionLimitExceeded"])
        await until(lambda: not one.get(SUBSCRIPTIONS)["Members"])
        async with stream(http):
            pass


async def test_a_stream_asks_for_a_login_and_knows_no_queries() -> None:
    one, _ = scene()
    assert one.error("GET", STREAM, authorization="") == (401, ["NoValidSession"])
    assert one.error("GET", f"{STREAM}?$filter=MessageId") == (501, ["QueryParameterUnsupported"])
    assert one.error("POST", STREAM) == (405, ["OperationNotAllowed"])
    assert one.ask("HEAD", STREAM).status == 200
    assert one.get(SUBSCRIPTIONS)["Members"] == []


async def test_a_restart_of_the_controller_ends_streams_and_keeps_what_was_subscribed() -> None:
    one, source = scene()
    made = {"Destination": "https://127.0.0.1:9/", "Protocol": "Redfish"}
    assert one.ask("POST", SUBSCRIPTIONS, made).status == 201
    async with listening(one) as listener, client(listener) as http:
        async with stream(http) as events:
            source.controller(Mode.REBOOTING)
            one.service.look(NOW)
            with pytest.raises((EOFError, httpx.TransportError)):
                await events.event()
        source.controller(Mode.SERVING)
        one.service.look(NOW)
        one.now = NOW + 60.0
        assert [member["@odata.id"] for member in one.get(SUBSCRIPTIONS)["Members"]] == [f"{SUBSCRIPTIONS}/1"]


async def test_a_hung_controller_streams_nothing_until_it_is_well_again() -> None:
    one, source = scene(keep_alive=0.005)
    async with listening(one) as listener, client(listener) as http, stream(http) as events:
        heard = 0

        async def listen() -> None:
            nonlocal heard
            while await events.comment():
                heard += 1

        task = asyncio.create_task(listen())
        await until(lambda: heard > 3)
        source.controller(Mode.HUNG)
        await asyncio.sleep(0.1)  # what was on its way arrives
        before = heard
        await asyncio.sleep(0.2)  # forty times the keep-alive
        assert heard == before
        source.controller(Mode.SERVING)
        await until(lambda: heard > before + 3)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.mark.parametrize("kind", ["reset", "truncated", "stall", "html"])
async def test_a_fault_of_the_wire_spoils_a_stream_and_leaves_no_subscription(kind: str) -> None:
    one, _ = scene()
    one.service.wire = Wire(kind=kind)
    async with listening(one) as listener, client(listener) as http:
        try:
            async with asyncio.timeout(0.2), http.stream("GET", STREAM) as reply:
                async for _ in reply.aiter_raw():
                    pass
        except (TimeoutError, httpx.TransportError):
            pass
        one.service.wire = Wire()
        await until(lambda: not one.get(SUBSCRIPTIONS)["Members"])


async def test_a_stream_without_sockets() -> None:
    one, source = scene(keep_alive=0.01)
    transport = InProcess(one.service, clock=lambda: NOW)
    async with (
        httpx.AsyncClient(transport=transport, base_url="https://sled", headers=ADMIN) as http,
        stream(http) as events,
    ):
        assert await events.comment() == "still here"
        fan(one, source, "Critical")
        _, body = await events.event()
        assert body["Events"][0]["MessageId"] == "Environmental.1.4.FanFailed"
    await until(lambda: not one.get(SUBSCRIPTIONS)["Members"])


async def test_metric_reports_are_streamed_as_they_are_made_and_move_no_event() -> None:
    """DSP0266, "Server-sent events": the data of a metric report is the resource itself."""
    one, source = scene("reports")
    assert one.service.events is not None
    one.service.events._style = replace(one.service.events._style, report_every=0.05)
    assert one.get("/redfish/v1/EventService")["EventFormatTypes"] == ["Event", "MetricReport"]
    async with listening(one) as listener, client(listener) as http, stream(http) as events:
        id_, body = await events.event(reports=True)
        assert (id_, body) == ("", one.get(REPORT))
        source.sensor("SledInlet", 31.0)
        for _ in range(50):
            _, body = await events.event(reports=True)
            told = {row["MetricId"]: row["MetricValue"] for row in body["MetricValues"]}["SledInlet"]
            if told == "31.0":
                break
        assert told == "31.0"
        fan(one, source, "Critical")
        id_, body = await events.event()
        assert body["Id"] == id_


async def test_other_dialects_stream_no_reports() -> None:
    one, _ = scene("modern")
    assert one.get("/redfish/v1/EventService")["EventFormatTypes"] == ["Event"]
    assert one.service._report() is None
