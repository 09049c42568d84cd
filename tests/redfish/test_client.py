"""Sessions: DSP0266 'Redfish session login authentication', against services that keep it and services that don't."""

from __future__ import annotations

import asyncio
import base64
import json
import logging
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
import respx
from pydantic import SecretStr

from collector.model import Outcome
from collector.redfish.client import Client
from collector.redfish.errors import (
    ControllerError,
    ForeignOrigin,
    HttpStatus,
    LoginRefused,
    Malformed,
    TimedOut,
    TooBig,
    Unreachable,
)
from collector.redfish.session import Way
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings, Credential
from tests.mockups import Answer, Mockup, MockupTransport, serve_mockup
from tests.redfish.servers import hang, ok, says, serve

PASSWORD = 's3cret&"pass'
SETTINGS = ControllerSettings(
    name="bmc", url="https://192.0.2.17", credential=Credential(username="ops", password=SecretStr(PASSWORD))
)
CHASSIS = "/redfish/v1/Chassis"
SESSIONS = "/redfish/v1/SessionService/Sessions"


@pytest.fixture
def mockup(mockups: Path) -> Mockup:
    return Mockup(mockups / "public-bladed", credentials=("ops", PASSWORD))


def client_of(mockup: Mockup, settings: ControllerSettings = SETTINGS) -> Client:
    return Client(settings, transport=MockupTransport(mockup))


async def test_one_session_for_everything_and_none_left(mockup: Mockup) -> None:
    async with client_of(mockup) as client:
        assert client.way is Way.NOT_YET
        for _ in range(3):
            assert (await client.get(CHASSIS)).status == 200
            assert len(mockup.sessions) == 1
        assert client.way is Way.SESSION
    assert not mockup.sessions
    assert [method for method, path in mockup.requests if "Sessions" in path] == ["POST", "DELETE"]
    assert client.requests == len(mockup.requests)


async def test_it_works_the_same_over_a_socket(mockup: Mockup) -> None:
    async with serve_mockup(mockup) as url:
        settings = ControllerSettings(name="bmc", url=url, credential=SETTINGS.credential)
        async with Client(settings) as client:
            assert json.loads((await client.get(CHASSIS)).body)["Members@odata.count"] == 5
            assert len(mockup.sessions) == 1
        assert not mockup.sessions


async def test_without_credentials_nothing_is_sent(mockups: Path) -> None:
    mockup = Mockup(mockups / "public-bladed")
    settings = ControllerSettings(name="bmc", url="https://192.0.2.17")
    async with client_of(mockup, settings) as client:
        assert (await client.get(CHASSIS)).status == 200
        assert client.way is Way.NONE
    assert [method for method, _ in mockup.requests] == ["GET"]


async def test_without_credentials_where_they_are_asked_for(mockup: Mockup) -> None:
    async with client_of(mockup, ControllerSettings(name="bmc", url="https://192.0.2.17")) as client:
        with pytest.raises(LoginRefused, match="gives no credentials"):
            await client.get(CHASSIS)


async def test_a_session_that_ends_in_mid_flight_is_made_again(mockup: Mockup) -> None:
    async with client_of(mockup) as client:
        await client.get(CHASSIS)
        for _ in range(2):
            mockup.sessions.clear()
            assert (await client.get(CHASSIS)).status == 200
            assert len(mockup.sessions) == 1
    assert not mockup.sessions


async def test_the_old_session_is_deleted_before_a_new_one_is_made(mockup: Mockup) -> None:
    """A service that answers 401 for a moment although the session lives: there are never two of them."""
    most = 0

    def watch(request: httpx.Request) -> None:
        nonlocal most
        most = max(most, len(mockup.sessions))

    transport = MockupTransport(mockup, before=watch)
    async with Client(SETTINGS, transport=transport) as client:
        await client.get(CHASSIS)
        unauthorized = Answer(401, {}, b"")
        mockup.replace[CHASSIS] = unauthorized
        with pytest.raises(LoginRefused):
            await client.get(CHASSIS)
        del mockup.replace[CHASSIS]
        assert (await client.get(CHASSIS)).status == 200, "the login itself was fine, so it is not given up"
    assert most == 1
    assert not mockup.sessions
    assert sum(1 for method, _ in mockup.requests if method == "POST") == 2


async def test_a_refused_password_is_tried_once_and_then_only_when_told(mockup: Mockup) -> None:
    mockup.credentials = ("ops", "another")
    async with client_of(mockup) as client:
        for _ in range(5):
            with pytest.raises(LoginRefused) as caught:
                await client.get(CHASSIS)
        assert caught.value.outcome is Outcome.LOGIN_REFUSED
        assert sum(method == "POST" for method, _ in mockup.requests) == 1
        with pytest.raises(LoginRefused):
            await client.connect()
        assert sum(method == "POST" for method, _ in mockup.requests) == 2
        mockup.credentials = ("ops", PASSWORD)
        await client.connect()
        assert (await client.get(CHASSIS)).status == 200
    assert not mockup.sessions


@pytest.mark.parametrize("status", [404, 405, 501])
async def test_basic_where_there_are_no_sessions(mockup: Mockup, status: int) -> None:
    seen: list[str | None] = []

    def handler(request: httpx.Request) -> httpx.Response:
        seen.append(request.headers.get("Authorization"))
        return httpx.Response(status) if request.method == "POST" else httpx.Response(200, json={})

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        await client.get(CHASSIS)
        assert client.way is Way.BASIC
    # RFC 7617 section 2
    expected = "Basic " + base64.b64encode(f"ops:{PASSWORD}".encode()).decode()
    assert seen == [None, None, expected], "and there is no session to delete"


async def test_a_wrong_password_by_basic_is_refused_once(mockup: Mockup) -> None:
    tried = 0

    def handler(request: httpx.Request) -> httpx.Response:
        nonlocal tried
        if request.url.path == "/redfish/v1/":
            return httpx.Response(200, json={})
        tried += "Authorization" in request.headers
        return httpx.Response(404 if request.method == "POST" else 401)

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        for _ in range(4):
            with pytest.raises(LoginRefused):
                await client.get(CHASSIS)
    assert tried == 1


@pytest.mark.parametrize("status", [400, 503])
async def test_a_full_table_means_basic_for_now(status: int, mockup: Mockup) -> None:
    info = {"MessageId": "Base.1.22.SessionLimitExceeded", "Message": "The session establishment failed."}
    body = json.dumps({"error": {"code": info["MessageId"], "message": "x", "@Message.ExtendedInfo": [info]}})
    full = True
    inner = MockupTransport(mockup)

    async def handler(request: httpx.Request) -> httpx.Response:
        if full and request.method == "POST":
            return httpx.Response(status, content=body)
        return await inner.handle_async_request(request)

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        await client.get(CHASSIS)
        assert client.way is Way.BASIC
        assert client.crowded is not None
        assert client.crowded.resource == SESSIONS
        assert "end sessions" in client.crowded.detail
        full = False
        await client.connect()
        assert client.way is Way.BASIC, "not tried again with every round"
        await client.connect(anew=True)
        assert client.way is Way.SESSION
        assert client.crowded is None
        assert len(mockup.sessions) == 1
    assert not mockup.sessions


async def test_an_overloaded_session_service_is_unavailable_not_refused() -> None:
    def handler(request: httpx.Request) -> httpx.Response:
        if request.method == "POST":
            return httpx.Response(503, headers={"Retry-After": "7"})
        return httpx.Response(200, json={"Links": {"Sessions": {"@odata.id": SESSIONS}}})

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        with pytest.raises(HttpStatus) as caught:
            await client.get(CHASSIS)
    assert (caught.value.outcome, caught.value.retry_after) == (Outcome.UNAVAILABLE, "7")


@pytest.mark.parametrize(
    "sessions", ["https://evil.example/Sessions", "http://192.0.2.17/Sessions", "//evil.example/S"]
)
async def test_a_password_goes_to_no_other_origin(sessions: str) -> None:
    posted: list[str] = []

    def handler(request: httpx.Request) -> httpx.Response:
        if request.method == "POST":
            posted.append(str(request.url))
        return httpx.Response(200, json={"Links": {"Sessions": {"@odata.id": sessions}}})

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        with pytest.raises(ForeignOrigin):
            await client.get(CHASSIS)
    assert not posted


def session_service(
    answer: Callable[[httpx.Request], httpx.Response], location: str = f"{SESSIONS}/1"
) -> tuple[Callable[[httpx.Request], httpx.Response], list[httpx.Request]]:
    """A service with sessions whose other GETs are answered by ``answer``."""
    requests: list[httpx.Request] = []

    def handler(request: httpx.Request) -> httpx.Response:
        requests.append(request)
        if request.url.path == "/redfish/v1/":
            return httpx.Response(200, json={"Links": {"Sessions": {"@odata.id": SESSIONS}}})
        if request.method == "POST":
            headers = {"X-Auth-Token": "token-1"} | ({"Location": location} if location else {})
            return httpx.Response(201, headers=headers, json={"@odata.id": f"{SESSIONS}/1"})
        return httpx.Response(204) if request.method == "DELETE" else answer(request)

    return handler, requests


async def test_a_root_that_redirects_can_be_logged_in_to(mockup: Mockup) -> None:
    inner = MockupTransport(mockup)

    async def handler(request: httpx.Request) -> httpx.Response:
        if request.url.path == "/redfish/v1/":
            return httpx.Response(308, headers={"Location": "/redfish/v1"})
        return await inner.handle_async_request(request)

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        assert (await client.get("/redfish/v1/")).status == 200
        assert client.way is Way.SESSION


async def test_a_router_of_the_mocking_library_will_do_as_network() -> None:
    """respx, as other tests may use it."""
    router = respx.MockRouter(assert_all_called=True)
    router.get(f"{SETTINGS.url}{CHASSIS}").respond(json={"Name": "routed"})
    settings = ControllerSettings(name="bmc", url=SETTINGS.url)
    async with Client(settings, transport=httpx.MockTransport(router.async_handler)) as client:
        assert json.loads((await client.get(CHASSIS)).body) == {"Name": "routed"}
    router.assert_all_called()


async def test_redirects_are_followed_at_home_and_nowhere_else() -> None:
    def answer(request: httpx.Request) -> httpx.Response:
        to = {
            CHASSIS: f"{CHASSIS}/",
            "/loop": "/loop",
            "/away": "https://evil.example/redfish/v1/Chassis",
            "/down": "http://192.0.2.17/x",
            "/nowhere": None,
        }
        if request.url.path in to:
            where = to[request.url.path]
            return httpx.Response(308, headers={"Location": where} if where else {})
        return httpx.Response(200, json={"Name": "home"})

    handler, requests = session_service(answer)
    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        assert json.loads((await client.get(CHASSIS)).body) == {"Name": "home"}
        for path, kind in (
            ("/away", ForeignOrigin),
            ("/down", ForeignOrigin),
            ("/loop", Malformed),
            ("/nowhere", Malformed),
        ):
            with pytest.raises(kind):
                await client.get(path)
    assert {request.url.host for request in requests} == {"192.0.2.17"}
    assert {request.url.scheme for request in requests} == {"https"}


@pytest.mark.parametrize(
    ("location", "deleted"),
    [
        (f"{SESSIONS}/1", True),
        (f"https://192.0.2.17{SESSIONS}/1", True),
        ("", True),
        ("https://evil.example/1", False),
    ],
    ids=["path", "url", "body only", "foreign"],
)
async def test_where_the_session_is(location: str, deleted: bool) -> None:
    handler, requests = session_service(lambda request: httpx.Response(200, json={}), location)
    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        await client.get(CHASSIS)
    gone = [request for request in requests if request.method == "DELETE"]
    assert [request.url.path for request in gone] == ([f"{SESSIONS}/1"] if deleted else [])
    assert all(request.headers["X-Auth-Token"] == "token-1" for request in gone)


async def test_an_etag_that_still_holds() -> None:
    def answer(request: httpx.Request) -> httpx.Response:
        return httpx.Response(304 if request.headers.get("If-None-Match") == 'W/"1"' else 200, json={})

    handler, _ = session_service(answer)
    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        assert (await client.get(CHASSIS)).status == 200
        assert (await client.get(CHASSIS, etag='W/"1"')).status == 304


async def test_an_answer_that_is_too_big_is_refused_whatever_the_transport() -> None:
    handler, _ = session_service(lambda request: httpx.Response(200, content=b"x" * 100_000))
    async with Client(SETTINGS, transport=httpx.MockTransport(handler), limits=Limits(max_body=10_000)) as client:
        with pytest.raises(TooBig):
            await client.get(CHASSIS)


async def test_secrets_show_nowhere(caplog: pytest.LogCaptureFixture) -> None:
    """A service that echoes what it was sent, refuses to delete, and answers with errors."""
    caplog.set_level(logging.DEBUG)
    texts: list[str] = []

    def handler(request: httpx.Request) -> httpx.Response:
        echo = f"no {PASSWORD} and no {request.headers.get('X-Auth-Token')}"
        error = {"error": {"message": echo}}
        if request.url.path == "/redfish/v1/":
            return httpx.Response(200, json={"Links": {"Sessions": {"@odata.id": SESSIONS}}})
        if request.method == "POST" and b"ops" in request.content:
            return httpx.Response(201, headers={"X-Auth-Token": "t0ken-1", "Location": f"{SESSIONS}/1"})
        return httpx.Response(500, json=error)

    client = Client(SETTINGS, transport=httpx.MockTransport(handler))
    with pytest.raises(ControllerError) as caught:
        await client.get(CHASSIS)
    texts += [str(caught.value), repr(caught.value), repr(client), repr(SETTINGS)]
    assert "no *** and no ***" in texts[0]
    await client.aclose()
    texts.append(caplog.text)
    assert "session ends" in caplog.text
    for text in texts:
        assert PASSWORD not in text
        assert "t0ken-1" not in text


async def test_cancelled_in_mid_login_the_session_is_still_deleted(mockup: Mockup) -> None:
    """The service has made the session when its caller stops waiting for the answer."""
    made, go_on = asyncio.Event(), asyncio.Event()
    inner = MockupTransport(mockup)

    async def handler(request: httpx.Request) -> httpx.Response:
        response = await inner.handle_async_request(request)
        if request.method == "POST":
            made.set()
            await go_on.wait()
        return response

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        task = asyncio.create_task(client.get(CHASSIS))
        await made.wait()
        assert len(mockup.sessions) == 1
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        go_on.set()
    assert not mockup.sessions


async def test_closing_waits_for_no_controller_that_hangs(caplog: pytest.LogCaptureFixture) -> None:
    root = ok(b'{"Links": {"Sessions": {"@odata.id": "/redfish/v1/SessionService/Sessions"}}}')
    login = b"HTTP/1.1 201 Created\r\nX-Auth-Token: t\r\nLocation: /redfish/v1/S/1\r\nContent-Length: 0\r\n\r\n"

    async with serve(says(root, login, ok(), then=hang)) as served:
        settings = ControllerSettings(name="bmc", url=served.url, credential=SETTINGS.credential)
        client = Client(settings, close_timeout=0.1)
        await client.get(CHASSIS)
        await client.aclose()
        await client.aclose()
    assert "no time to delete its session" in caplog.text


async def test_many_at_once_log_in_once(mockup: Mockup) -> None:
    async with Client(SETTINGS, in_flight=4, transport=MockupTransport(mockup)) as client:
        await asyncio.gather(*(client.get(CHASSIS) for _ in range(8)))
        mockup.sessions.clear()
        await asyncio.gather(*(client.get(CHASSIS) for _ in range(8)))
    assert sum(method == "POST" for method, _ in mockup.requests) == 2
    assert not mockup.sessions


@pytest.mark.parametrize(("raised", "kind"), [(httpx.ConnectError, Unreachable), (httpx.ReadTimeout, TimedOut)])
async def test_errors_below_are_ours_above(raised: type[httpx.TransportError], kind: type[ControllerError]) -> None:
    def handler(request: httpx.Request) -> httpx.Response:
        raise raised("why", request=request)

    async with Client(SETTINGS, transport=httpx.MockTransport(handler)) as client:
        with pytest.raises(kind):
            await client.get(CHASSIS)
