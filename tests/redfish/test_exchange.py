"""Flows over a client: any status is an answer, sessions are kept; and sessions that a killed process left."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from pydantic import SecretStr

from collector.model import DefectKind
from collector.redfish.client import Client
from collector.redfish.errors import ForeignOrigin, LoginRefused, Unreachable
from collector.redfish.flow import Ask
from collector.redfish.left_over import TOLERANCE, Intent, LeftOver, is_it
from collector.redfish.session import Way
from collector.settings import ControllerSettings, Credential
from tests.mockups import Answer, Mockup, MockupTransport
from tests.redfish.servers import says, serve

PASSWORD = "s3cret-pass"
CREDENTIAL = Credential(username="ops", password=SecretStr(PASSWORD))
SETTINGS = ControllerSettings(name="bmc", url="https://192.0.2.17", credential=CREDENTIAL)
CHASSIS = "/redfish/v1/Chassis"
SESSIONS = "/redfish/v1/SessionService/Sessions"


@pytest.fixture
def mockup(mockups: Path) -> Mockup:
    return Mockup(mockups / "public-bladed", credentials=("ops", PASSWORD))


async def test_any_status_is_an_answer(mockup: Mockup) -> None:
    async with Client(SETTINGS, transport=MockupTransport(mockup)) as client:
        told = await client.exchange(Ask("GET", CHASSIS))
        assert told.good
        assert told.body["Members@odata.count"] == 5
        missing = await client.exchange(Ask("GET", "/redfish/v1/Nothing"))
        assert (missing.status, missing.keys, missing.good) == (404, ("ResourceMissingAtURI",), False)
        mockup.replace[CHASSIS] = b"<html>"
        unread = await client.exchange(Ask("GET", CHASSIS))
        assert unread.status == 200
        assert unread.unread is not None
        assert unread.unread[0] is DefectKind.NOT_JSON
        refused = await client.exchange(Ask("POST", CHASSIS, {"a": 1}))
        assert refused.status == 405
        assert len(mockup.sessions) == 1
    assert not mockup.sessions


async def test_bodies_conditions_and_secrets() -> None:
    seen: list[httpx.Request] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(request)
        if request.headers.get("If-None-Match") == 'W/"1"':
            return httpx.Response(304)
        if request.method == "DELETE":
            return httpx.Response(204)
        if request.url.path.endswith("/Sessions"):
            return httpx.Response(404)
        if request.method == "POST":
            return httpx.Response(400, json={"error": {"message": f"what is {PASSWORD}?"}})
        return httpx.Response(200, json={"a": 1}, headers={"ETag": 'W/"1"', "Location": "/redfish/v1/x"})

    async with Client(SETTINGS, transport=httpx.MockTransport(answer)) as client:
        await client.connect()
        assert client.way is Way.BASIC
        seen.clear()
        assert (await client.exchange(Ask("GET", CHASSIS, etag='W/"1"'))).status == 304
        whole = await client.exchange(Ask("GET", CHASSIS))
        assert (whole.etag, whole.location) == ('W/"1"', "/redfish/v1/x")
        assert (await client.exchange(Ask("DELETE", CHASSIS))).good
        posted = await client.exchange(Ask("POST", CHASSIS, {"Protocol": "Redfish"}))
        assert posted.text == "what is ***?"
    posts = [request for request in seen if json.loads(request.content or b"{}").get("Protocol")]
    assert [request.headers["Content-Type"] for request in posts] == ["application/json"]
    assert not [request for request in seen if request.method == "DELETE" and request.content]


async def test_a_post_after_a_lost_session_is_sent_once_more_and_only_then(mockup: Mockup) -> None:
    posts: list[str] = []
    path = "/redfish/v1/EventService/Subscriptions"

    class Taking(MockupTransport):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            if request.method == "POST" and request.url.path == path:
                allowed = request.headers.get("X-Auth-Token") in mockup.sessions
                posts.append("taken" if allowed else "refused")
                return httpx.Response(201 if allowed else 401, headers={"Location": f"{path}/1"})
            return await super().handle_async_request(request)

    async with Client(SETTINGS, transport=Taking(mockup)) as client:
        await client.exchange(Ask("GET", CHASSIS))
        mockup.sessions.clear()
        answer = await client.exchange(Ask("POST", path, {"Destination": "https://192.0.2.9/x"}))
        assert (answer.status, answer.location) == (201, f"{path}/1")
    assert posts == ["refused", "taken"]


async def test_redirects_stay_on_the_origin_and_are_for_gets_only(mockup: Mockup) -> None:
    mockup.replace["/redfish/v1/Old"] = Answer(308, {"Location": CHASSIS}, b"")
    mockup.replace["/redfish/v1/Away"] = Answer(302, {"Location": "https://192.0.2.99/"}, b"")
    async with Client(SETTINGS, transport=MockupTransport(mockup)) as client:
        assert (await client.exchange(Ask("GET", "/redfish/v1/Old"))).body["Members@odata.count"] == 5
        with pytest.raises(ForeignOrigin):
            await client.exchange(Ask("GET", "/redfish/v1/Away"))


async def test_what_befalls_the_connection_is_raised() -> None:
    async with serve(says(b"")) as served, Client(served.settings()) as client:
        with pytest.raises(Unreachable):
            await client.exchange(Ask("DELETE", "/redfish/v1/EventService/Subscriptions/1"))


# Sessions that a killed process left


class Notes:
    """A note that outlives clients."""

    def __init__(self) -> None:
        self.session: LeftOver | None = None
        self.intended: Intent | None = None
        self.now = 1_800_000_000.0

    def intent(self) -> Intent | None:
        return self.intended

    def intend(self) -> Intent:
        self.intended = Intent(self.now)
        return self.intended

    def recall(self) -> LeftOver | None:
        return self.session

    def note(self, session: LeftOver | None) -> None:
        self.session, self.intended = session, None


class Sessions(MockupTransport):
    """Lets the example's sessions be read, and knows the most that there were at once."""

    def __init__(self, mockup: Mockup, *, basic: bool = True, more: dict[str, str] | None = None) -> None:
        super().__init__(mockup)
        self.most = 0
        self._basic = basic
        self.more = more or {}

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        path = request.url.path
        if not self._basic and "Authorization" in request.headers:
            response = httpx.Response(401)
        elif request.method == "GET" and path.startswith(SESSIONS + "/"):
            found = path in self.mockup.sessions.values()
            body = {"@odata.id": path, "UserName": "ops", **self.more}
            response = httpx.Response(200, json=body) if found else httpx.Response(404)
        else:
            response = await super().handle_async_request(request)
        self.most = max(self.most, len(self.mockup.sessions))
        return response


async def killed(mockup: Mockup, notes: Notes, transport: Sessions) -> None:
    """A client that logs in and is never closed."""
    client = Client(SETTINGS, transport=transport, notes=notes)
    await client.get(CHASSIS)
    assert notes.session is not None


async def test_a_session_that_was_left_goes_before_the_next_is_made(mockup: Mockup) -> None:
    notes, transport = Notes(), Sessions(mockup)
    for _ in range(5):
        await killed(mockup, notes, transport)
    async with Client(SETTINGS, transport=transport, notes=notes) as client:
        await client.get(CHASSIS)
    assert transport.most == 1
    assert not mockup.sessions
    assert notes.session is None
    assert PASSWORD not in repr(notes.session)


async def test_without_basic_authentication_it_goes_right_after(mockup: Mockup) -> None:
    notes, transport = Notes(), Sessions(mockup, basic=False)
    await killed(mockup, notes, transport)
    await killed(mockup, notes, transport)
    assert (transport.most, len(mockup.sessions)) == (2, 1)
    async with Client(SETTINGS, transport=transport, notes=notes) as client:
        await client.get(CHASSIS)
    assert not mockup.sessions


async def test_another_session_under_its_number_is_left_alone(mockup: Mockup) -> None:
    """After a reboot a controller numbers its sessions anew."""
    notes, transport = Notes(), Sessions(mockup)
    await killed(mockup, notes, transport)
    assert notes.session is not None
    notes.session = LeftOver(notes.session.path, {"UserName": "ops", "CreatedTime": "2025-11-25T12:00:00Z"})
    transport.more = {"CreatedTime": "2025-11-25T13:00:00Z"}
    async with Client(SETTINGS, transport=transport, notes=notes) as client:
        await client.get(CHASSIS)
    assert len(mockup.sessions) == 1, "somebody else's"


async def test_a_wrong_password_is_not_tried_twice_as_often_for_a_left_session(mockup: Mockup) -> None:
    notes, transport = Notes(), Sessions(mockup)
    await killed(mockup, notes, transport)
    mockup.credentials = ("ops", "another")
    mockup.requests.clear()
    tries = 0

    class Counting(Sessions):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            nonlocal tries
            tries += "Authorization" in request.headers or request.method == "POST"
            if "Authorization" in request.headers:
                return httpx.Response(401)
            return await super().handle_async_request(request)

    client = Client(SETTINGS, transport=Counting(mockup), notes=notes)
    for _ in range(4):
        with pytest.raises(LoginRefused):
            await client.connect()
    assert tries == 4 + 1


async def test_one_that_could_not_be_deleted_is_deleted_later(mockup: Mockup) -> None:
    """The connection broke when an ended session was to go: it goes before the next one is made."""
    broken = True

    class Breaking(Sessions):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            if broken and request.method == "DELETE":
                raise httpx.ConnectError("reset", request=request)
            return await super().handle_async_request(request)

    notes, transport = Notes(), Breaking(mockup)
    client = Client(SETTINGS, transport=transport, notes=notes)
    await client.get(CHASSIS)
    await client.aclose()
    assert len(mockup.sessions) == 1
    broken = False
    async with Client(SETTINGS, transport=transport, notes=notes) as again:
        await again.get(CHASSIS)
    assert transport.most == 1
    assert not mockup.sessions


def test_what_makes_two_the_same() -> None:
    """By what both tell; Session CSDL (DSP8010): UserName, CreatedTime, ClientOriginIPAddress."""
    left = LeftOver("/x", {"UserName": "ops", "CreatedTime": "t"})
    assert is_it(left, {"UserName": "ops"})
    assert is_it(left, {"UserName": "ops", "CreatedTime": "t", "ClientOriginIPAddress": "::1"})
    assert not is_it(left, {"UserName": "root", "CreatedTime": "t"})
    assert not is_it(left, {"UserName": "ops", "CreatedTime": "u"})


# Sessions of which nobody noted the path


class Table(httpx.AsyncBaseTransport):
    """A service whose sessions tell all; at a kill it makes one, and its answer is lost."""

    AHEAD = -3_000_000.0
    """Of its clock against ours."""

    def __init__(self, notes: Notes) -> None:
        self.sessions: dict[str, dict[str, object]] = {}
        self.deleted: list[str] = []
        self.killing = False
        self.untold: tuple[str, ...] = ()
        self._notes = notes
        self._count = 0

    def add(self, user: str = "ops", address: str = "192.0.2.7", ago: float = 0.0) -> str:
        self._count += 1
        path = f"{SESSIONS}/{self._count}"
        made = datetime.fromtimestamp(int(self._notes.now + self.AHEAD - ago), UTC)
        told = {"UserName": user, "ClientOriginIPAddress": address, "CreatedTime": made.isoformat()}
        self.sessions[path] = {"@odata.id": path, **told}
        return path

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        path = request.url.path
        if request.method == "POST":
            made = self.add()
            if self.killing:
                raise asyncio.CancelledError
            return httpx.Response(201, headers={"X-Auth-Token": made, "Location": made})
        if "Authorization" in request.headers:
            return httpx.Response(401)
        if request.method == "DELETE":
            self.deleted.append(path)
            return httpx.Response(204 if self.sessions.pop(path, None) else 404)
        if path == SESSIONS:
            members = [{"@odata.id": one} for one in self.sessions]
            return httpx.Response(200, json={"@odata.id": path, "Members": members})
        if path in self.sessions:
            told = {name: one for name, one in self.sessions[path].items() if name not in self.untold}
            return httpx.Response(200, json=told)
        return httpx.Response(200, json={"@odata.id": path})


async def lost(notes: Notes, table: Table) -> str:
    """A client that is killed while its login is answered; the path that it never learns."""
    table.killing = True
    with pytest.raises(asyncio.CancelledError):
        await Client(SETTINGS, transport=table, notes=notes).connect()
    table.killing = False
    notes.now += 3600.0
    return list(table.sessions)[-1]


async def test_one_made_in_the_moment_of_a_kill_is_found_by_its_time_and_deleted() -> None:
    notes = Notes()
    table = Table(notes)
    others = {table.add(), table.add("root"), table.add(address="192.0.2.8", ago=3.0)}
    notes.now += 60.0
    unknown = await lost(notes, table)
    assert notes.session is None
    assert notes.intent()
    async with Client(SETTINGS, transport=table, notes=notes) as client:
        await client.connect()
        assert table.deleted == [unknown]
        assert not notes.intent()
    assert table.sessions.keys() == others


async def test_of_two_that_it_may_be_neither_is_deleted() -> None:
    notes = Notes()
    table = Table(notes)
    unknown, twin = await lost(notes, table), table.add(ago=3600.0 - TOLERANCE / 2)
    async with Client(SETTINGS, transport=table, notes=notes) as client:
        await client.connect()
        assert table.deleted == []
    assert table.sessions.keys() == {unknown, twin}


@pytest.mark.parametrize("untold", ["UserName", "ClientOriginIPAddress", "CreatedTime"])
async def test_where_it_is_not_told_whose_it_is_it_is_left_to_its_time_out(untold: str) -> None:
    notes = Notes()
    table = Table(notes)
    unknown = await lost(notes, table)
    table.untold = (untold,)
    async with Client(SETTINGS, transport=table, notes=notes) as client:
        await client.connect()
    assert table.sessions.keys() == {unknown}


async def test_where_the_clock_was_set_meanwhile_nothing_is_deleted() -> None:
    notes = Notes()
    table = Table(notes)
    unknown = await lost(notes, table)
    table.AHEAD += 2 * TOLERANCE
    async with Client(SETTINGS, transport=table, notes=notes) as client:
        await client.connect()
    assert table.sessions.keys() == {unknown}
