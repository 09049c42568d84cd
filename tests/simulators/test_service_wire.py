"""What the wire makes of good answers, fault by fault; over the in-process transport, without sockets."""

from __future__ import annotations

import json
import re

import httpx
import pytest

from simulators.service.inprocess import InProcess
from simulators.service.root import SESSIONS
from simulators.service.wire import KINDS, Wire
from tests.simulators.service_kit import NOW, PASSWORD, USER, Asker, asker

SENSORS = "/redfish/v1/Chassis/Sled/Sensors?$expand=."


def client(one: Asker, *, timeout: float = 0.05) -> httpx.AsyncClient:
    transport = InProcess(one.service, lambda: one.now)
    return httpx.AsyncClient(
        transport=transport, base_url="https://sled", auth=(USER, PASSWORD), timeout=timeout, follow_redirects=False
    )


async def test_a_clean_wire_changes_nothing() -> None:
    one = asker()
    async with client(one) as http:
        reply = await http.get(SENSORS)
        assert reply.content == one.ask("GET", SENSORS).body
        assert reply.headers["odata-version"] == "4.0"
        head = await http.head(SENSORS)
        assert (head.status_code, head.content) == (200, b"")
        assert head.headers["content-length"] == str(len(reply.content))


async def test_refused() -> None:
    one = asker()
    one.service.wire = Wire(kind="refuse")
    async with client(one) as http:
        with pytest.raises(httpx.ConnectError):
            await http.get("/redfish/v1/")
        one.service.wire = Wire()
        assert (await http.get("/redfish/v1/")).status_code == 200


@pytest.mark.parametrize("kind", ["hang", "stall", "drip"])
async def test_nothing_or_too_little_comes(kind: str) -> None:
    one = asker()
    one.service.wire = Wire(kind=kind, delay=60.0)
    async with client(one) as http:
        with pytest.raises(httpx.ReadTimeout):
            await http.get(SENSORS)


async def test_a_drip_brings_the_whole_answer_in_the_end() -> None:
    one = asker()
    one.service.wire = Wire(kind="drip", delay=1e-9)
    async with client(one) as http:
        assert (await http.get("/redfish")).json() == {"v1": "/redfish/v1/"}


async def test_reset_in_mid_body() -> None:
    one = asker()
    one.service.wire = Wire(kind="reset")
    async with client(one) as http:
        with pytest.raises(httpx.RemoteProtocolError):
            await http.get(SENSORS)


async def test_truncated_json() -> None:
    one = asker()
    one.service.wire = Wire(kind="truncated")
    async with client(one) as http:
        reply = await http.get(SENSORS)
    assert reply.status_code == 200
    assert one.ask("GET", SENSORS).body.startswith(reply.content)
    with pytest.raises(json.JSONDecodeError):
        reply.json()


async def test_html_in_place_of_json() -> None:
    one = asker()
    one.service.wire = Wire(kind="html")
    async with client(one) as http:
        reply = await http.get(SENSORS)
    assert reply.status_code == 200
    assert reply.text.startswith("<!DOCTYPE html>")


async def test_an_endless_body_goes_on_as_long_as_one_reads() -> None:
    one = asker()
    one.service.wire = Wire(kind="endless")
    async with client(one) as http, http.stream("GET", SENSORS) as reply:
        got = 0
        async for piece in reply.aiter_bytes():
            got += len(piece)
            if got > 5_000_000:
                break
    assert got > 5_000_000


async def test_numbers_that_are_none() -> None:
    one = asker()
    good = one.get(SENSORS)["Members"]
    one.service.wire = Wire(kind="nan")
    async with client(one) as http:
        text = (await http.get(SENSORS)).text
        assert len(re.findall(r'"Reading":NaN', text)) >= len(good)
        with pytest.raises(ValueError):
            json.loads(text, parse_constant=lambda word: int(word))
        one.service.wire = Wire(kind="text-numbers")
        members = (await http.get(SENSORS)).json()["Members"]
    assert [float(m["Reading"]) for m in members] == [m["Reading"] for m in good]
    assert all(isinstance(m["Reading"], str) for m in members)


async def test_a_collection_whose_next_page_is_itself() -> None:
    one = asker()
    one.service.wire = Wire(kind="page-loop")
    async with client(one) as http:
        page = (await http.get("/redfish/v1/Chassis")).json()
        assert page["Members@odata.nextLink"] == "/redfish/v1/Chassis"
        assert "Members@odata.nextLink" not in (await http.get("/redfish/v1/Chassis/Sled")).json()


async def test_redirected_elsewhere() -> None:
    one = asker()
    one.service.wire = Wire(kind="redirect")
    async with client(one) as http:
        reply = await http.get(SENSORS)
    assert reply.status_code == 307
    assert httpx.URL(reply.headers["location"]).host == "192.0.2.1"


async def test_a_login_is_lost_in_mid_flight_again_and_again() -> None:
    one = asker()
    one.service.wire = Wire(kind="login-lost", under="/redfish/v1/Chassis", spare=2)
    async with client(one) as http:
        http.auth = None  # type: ignore[assignment]
        for _ in range(2):
            login = await http.post(SESSIONS, json={"UserName": USER, "Password": PASSWORD})
            http.headers["x-auth-token"] = login.headers["x-auth-token"]
            statuses = [(await http.get("/redfish/v1/Chassis")).status_code for _ in range(4)]
            assert statuses[:3] == [200, 200, 401]
            one.service.wire = one.service.wire


async def test_only_what_lies_under_a_path_is_touched_and_only_after_some() -> None:
    one = asker()
    one.service.wire = Wire(kind="html", under="/redfish/v1/Systems", spare=1)
    async with client(one) as http:
        told = [
            (await http.get(path)).headers["content-type"].partition(";")[0]
            for path in ("/redfish/v1/", "/redfish/v1/Systems", "/redfish/v1/Chassis", "/redfish/v1/Systems/Blade1")
        ]
    assert told == ["application/json", "application/json", "application/json", "text/html"]


def test_a_slow_service_answers_one_request_after_the_other() -> None:
    one = asker()
    one.service.wire = Wire(kind="slow", delay=2.0)
    from simulators.service.http import Request

    waits = []
    for came in (0.0, 0.5, 10.0):
        request = Request("GET", "/redfish/v1/", headers=one.headers, time=NOW + came)
        waits.append(next(iter(one.service.exchange(request, date="", keep_alive=True))))
    assert waits == [2.0, 3.5, 2.0]


async def test_a_hung_controller_accepts_and_says_nothing() -> None:
    one = asker(own_world=True)
    one.world.inject("controller-hung", f"{one.sled.name}/controller")
    assert one.service.listening
    async with client(one) as http:
        with pytest.raises(httpx.ReadTimeout):
            await http.get("/redfish/v1/")
        one.world.clear("controller-hung", f"{one.sled.name}/controller")
        assert (await http.get("/redfish/v1/")).status_code == 200


async def test_a_rebooting_controller_refuses() -> None:
    one = asker(own_world=True)
    one.world.inject("controller-rebooting", f"{one.sled.name}/controller", seconds=30.0)
    async with client(one) as http:
        with pytest.raises(httpx.ConnectError):
            await http.get("/redfish/v1/")


@pytest.mark.parametrize("bad", [{"kind": "gremlins"}, {"kind": "slow", "delay": -1.0}, {"kind": "html", "spare": -1}])
def test_a_fault_that_is_none_is_refused(bad: dict[str, object]) -> None:
    with pytest.raises(ValueError):
        Wire(**bad)  # type: ignore[arg-type]


def test_every_fault_has_a_sentence() -> None:
    assert all(kind.text.endswith(".") for kind in KINDS.values())
