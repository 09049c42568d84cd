"""An example service (DMTF DSP2043) on a loopback socket that also tells events: stream, pushes, logs, registries.

Behaviour by DSP0266 section 'Eventing' and the EventService, EventDestination and LogEntry schemas (DSP8010); the
registry is a published one (DSP8011), or a small one made here where the published files are not at hand.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp
from aiohttp import web

from collector.redfish.times import moment
from tests.mockups import Mockup

EVENT_SERVICE = "/redfish/v1/EventService"
SUBSCRIPTIONS = f"{EVENT_SERVICE}/Subscriptions"
STREAM = f"{EVENT_SERVICE}/SSE"
TEST_EVENT = f"{EVENT_SERVICE}/Actions/EventService.SubmitTestEvent"
BMC_LOG = "/redfish/v1/Managers/BMC/LogServices/Log/Entries"
SYSTEM_LOG = "/redfish/v1/Systems/437XR1138R2/LogServices/Log1/Entries"
REGISTRY = "/redfish/v1/Registries/Sled.1.0.0"
FAN = "/redfish/v1/Chassis/1U/ThermalSubsystem/Fans/CPU1"
NOW = "2025-11-25T12:00:00Z"
EPOCH = moment(NOW)

SLED = {
    "@odata.type": "#MessageRegistry.v1_6_3.MessageRegistry",
    "Id": "Sled.1.0.0",
    "RegistryPrefix": "Sled",
    "RegistryVersion": "1.0.0",
    "Language": "en",
    "Messages": {
        "FanSlow": {"Message": "Fan '%1' is slow at %2 percent.", "MessageSeverity": "Warning", "NumberOfArgs": 2},
        "FanFine": {
            "Message": "Fan '%1' is fine again.",
            "MessageSeverity": "OK",
            "NumberOfArgs": 1,
            "ClearingLogic": {"ClearsIf": "SameOriginOfCondition", "ClearsMessage": ["FanSlow"]},
        },
        "Added": {"Message": "Something was added.", "MessageSeverity": "OK", "NumberOfArgs": 0},
    },
}


def record(key: str = "FanSlow", *args: str, number: int = 1, origin: str | None = FAN, **more: Any) -> dict[str, Any]:
    """One event record."""
    told: dict[str, Any] = {
        "MemberId": "0",
        "EventId": str(number),
        "EventTimestamp": NOW,
        "MessageId": f"Sled.1.0.{key}",
        "MessageArgs": list(args or ("CPU1", "12")),
    }
    if origin is not None:
        told["OriginOfCondition"] = {"@odata.id": origin}
    return told | more


def event(*records: dict[str, Any]) -> dict[str, Any]:
    """An Event body."""
    return {"@odata.type": "#Event.v1_11_0.Event", "Id": "1", "Name": "Event", "Events": list(records)}


class Eventful:
    """The service: what stands on it, who listens, what was asked."""

    def __init__(self, folder: Path, *, stream: bool = True, subscriptions: bool = True, **more: Any) -> None:
        self.mockup = Mockup(folder, **more)
        self.subscriptions: dict[str, dict[str, Any]] = {}
        self.most = 0
        """The most subscriptions and streams there ever were at once."""
        self.streams: set[asyncio.Queue[bytes]] = set()
        self.last_ids: list[str | None] = []
        self.logs: dict[str, list[dict[str, Any]]] = {BMC_LOG: [], SYSTEM_LOG: []}
        self.refuse_stream = 0
        """Status that the stream is answered with; 0 for a stream."""
        self.refuse_push = 0
        self.slow_push = 0.0
        """Seconds between making a subscription and saying so."""
        self.lists = True
        """Whether the list of subscriptions can be read."""
        self.test_events: list[dict[str, Any]] = []
        """What test events were asked for."""
        self.delivers = True
        """Whether they are pushed."""
        self.posted = 0
        self._made = 0
        self.set_event_service(stream=stream, subscriptions=subscriptions)
        replace = self.mockup.replace
        replace["/redfish/v1/Registries"] = {"Members": [{"@odata.id": REGISTRY}], "Members@odata.count": 1}
        replace[REGISTRY] = {"Registry": "Sled.1.0.0", "Location": [{"Language": "en", "Uri": f"{REGISTRY}.json"}]}
        replace[f"{REGISTRY}.json"] = SLED

    def set_event_service(self, *, stream: bool, subscriptions: bool, tests: bool = False) -> None:
        """What the event service offers."""
        body: dict[str, Any] = {
            "@odata.id": EVENT_SERVICE,
            "@odata.type": "#EventService.v1_12_0.EventService",
            "Id": "EventService",
            "Name": "Event Service",
            "ServiceEnabled": True,
        }
        if stream:
            body["ServerSentEventUri"] = STREAM
        if tests:
            body["Actions"] = {"#EventService.SubmitTestEvent": {"target": TEST_EVENT}}
        if subscriptions:
            body["Subscriptions"] = {"@odata.id": SUBSCRIPTIONS}
        self.mockup.replace[EVENT_SERVICE] = body

    # What happens on it

    def say(self, *records: dict[str, Any], id_: str = "") -> None:
        """Tell an event on every open stream."""
        lead = f"id: {id_}\n" if id_ else ""
        self.send(f"{lead}data: {json.dumps(event(*records))}\n\n".encode())

    def send(self, data: bytes) -> None:
        """Bytes on every open stream; b"" ends them."""
        for stream in self.streams:
            stream.put_nowait(data)

    async def push(self, *records: dict[str, Any]) -> list[int]:
        """Push an event to every subscriber; the statuses that they answer with."""
        statuses = []
        async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(ssl=False)) as session:
            for subscription in list(self.subscriptions.values()):
                body = event(*records) | {"Context": subscription.get("Context")}
                async with session.post(subscription["Destination"], json=body) as response:
                    statuses.append(response.status)
        return statuses

    def write(self, log: str, key: str = "FanSlow", *args: str, **more: Any) -> None:
        """Write an entry into a log, oldest first."""
        number = len(self.logs[log]) + 1
        told = record(key, *args, **more)
        entry = {
            "@odata.id": f"{log}/{number}",
            "@odata.type": "#LogEntry.v1_21_0.LogEntry",
            "Id": str(number),
            "Created": told["EventTimestamp"],
            "EntryType": "Event",
            "MessageId": told["MessageId"],
            "MessageArgs": told["MessageArgs"],
            "Severity": "Warning",
            "Links": {"OriginOfCondition": told.get("OriginOfCondition")},
        }
        self.logs[log].append(entry)

    # What is asked of it

    async def handle(self, request: web.Request) -> web.StreamResponse:
        """One request."""
        path = request.path.rstrip("/")
        headers = {name.lower(): value for name, value in request.headers.items()}
        if not self.mockup._allowed(headers) and path.startswith(EVENT_SERVICE):
            return web.Response(status=401)
        if path == STREAM:
            self.mockup.requests.append((request.method, path))
            return await self._stream(request)
        if path.startswith(SUBSCRIPTIONS):
            self.mockup.requests.append((request.method, path))
            answer = self._subscribed(request.method, path, await request.read())
            if request.method == "POST":
                await asyncio.sleep(self.slow_push)
            return answer
        if path == TEST_EVENT and request.method == "POST":
            return await self._test(await request.json())
        if path in self.logs:
            members = self.logs[path]
            self.mockup.replace[path] = {"Members": members, "Members@odata.count": len(members)}
        status, told, body = self.mockup.answer(request.method, request.raw_path, headers, await request.read())
        return web.Response(status=status, headers=told, body=body)

    async def _test(self, told: dict[str, Any]) -> web.Response:
        if "MessageId" not in told:
            return web.Response(status=400)
        self.test_events.append(told)
        if self.delivers:
            assert await self.push({"EventId": "test", "EventTimestamp": NOW, **told}) == [204]
        return web.Response(status=204)

    def _count(self) -> None:
        self.most = max(self.most, len(self.subscriptions) + len(self.streams))

    async def _stream(self, request: web.Request) -> web.StreamResponse:
        if self.refuse_stream:
            return web.Response(status=self.refuse_stream)
        self.last_ids.append(request.headers.get("Last-Event-ID"))
        response = web.StreamResponse(headers={"Content-Type": "text/event-stream"})
        await response.prepare(request)
        queue: asyncio.Queue[bytes] = asyncio.Queue()
        self.streams.add(queue)
        self._count()
        try:
            while data := await queue.get():
                await response.write(data)
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            self.streams.discard(queue)
        return response

    def _subscribed(self, method: str, path: str, body: bytes) -> web.Response:
        if method == "GET" and path == SUBSCRIPTIONS and not self.lists:
            return web.Response(status=500)
        if method == "GET" and path == SUBSCRIPTIONS:
            members = [{"@odata.id": at} for at in self.subscriptions]
            return web.json_response({"Members": members, "Members@odata.count": len(members)})
        if method == "POST" and path == SUBSCRIPTIONS:
            self.posted += 1
            if self.refuse_push:
                return web.Response(status=self.refuse_push)
            self._made += 1
            at = f"{SUBSCRIPTIONS}/{self._made}"
            self.subscriptions[at] = json.loads(body)
            self._count()
            return web.Response(status=201, headers={"Location": at})
        if path not in self.subscriptions:
            return web.Response(status=404)
        if method == "DELETE":
            del self.subscriptions[path]
            return web.Response(status=204)
        return web.json_response({"@odata.id": path, "Status": {"State": "Enabled"}, **self.subscriptions[path]})


@asynccontextmanager
async def serving(service: Eventful) -> AsyncIterator[str]:
    """The service on a free loopback port; gives its origin."""
    app = web.Application()
    app.router.add_route("*", "/{path:.*}", service.handle)
    runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1, handler_cancellation=True)
    await runner.setup()
    try:
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        yield f"http://127.0.0.1:{runner.addresses[0][1]}"
    finally:
        service.send(b"")
        await runner.cleanup()
