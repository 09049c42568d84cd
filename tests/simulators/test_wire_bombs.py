"""Answers that are too much, wrong certificates, clocks and links: as sent, and how the collector copes."""

from __future__ import annotations

import gzip
import io
import json
import ssl
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.model import DefectKind
from simulators.serve import Fleet
from simulators.service import bombs
from simulators.service.inprocess import InProcess
from simulators.service.wire import A_YEAR, Wire
from simulators.site import scaled_site
from simulators.world import World
from tests.simulators.reading import read
from tests.simulators.service_kit import NOW, PASSWORD, USER, Asker, asker

SLED = "/redfish/v1/Chassis/Sled"
SESSIONS = "/redfish/v1/SessionService/Sessions"


def client(one: Asker) -> httpx.AsyncClient:
    return httpx.AsyncClient(
        transport=InProcess(one.service, lambda: one.now), base_url="https://192.0.2.7", auth=(USER, PASSWORD)
    )


async def test_a_gzip_bomb_is_small_on_the_wire_and_valid() -> None:
    one = asker()
    one.service.wire = Wire(kind="gzip-bomb")
    async with client(one) as http, http.stream("GET", SLED) as reply:
        raw = b"".join([piece async for piece in reply.aiter_raw()])
    assert reply.headers["content-encoding"] == "gzip"
    assert len(raw) < 1_000_000
    size = 0
    with gzip.GzipFile(fileobj=io.BytesIO(raw)) as unpacked:  # checks the CRC and the length at its end (RFC 1952)
        first = unpacked.read(1)
        last = first
        while piece := unpacked.read(1 << 24):
            size += len(piece)
            last = piece[-1:]
    assert (first, last, size + 1) == (b"{", b"}", bombs.BOMB + 2)


async def test_nested_arrays_are_valid_json_but_deep() -> None:
    one = asker()
    good = one.get(SLED)
    one.service.wire = Wire(kind="deep-nesting")
    async with client(one) as http:
        body = (await http.get(SLED)).text
    assert body.count("[") >= bombs.DEPTH
    shallow = body.replace("[" * bombs.DEPTH, "[").replace("]" * bombs.DEPTH, "]")
    assert json.loads(shallow) == good | {"Oem": {"Invented": []}}
    with pytest.raises(RecursionError):
        json.loads(body)


async def test_a_hundred_thousand_members_first_the_real_ones() -> None:
    one = asker()
    good = one.get("/redfish/v1/Chassis")["Members"]
    one.service.wire = Wire(kind="many-members")
    async with client(one) as http:
        body = (await http.get("/redfish/v1/Chassis")).json()
        assert body["Members"][: len(good)] == good
        assert len(body["Members"]) == body["Members@odata.count"] == bombs.MEMBERS
        assert (await http.get(SLED)).json()["Id"] == "Sled"
        assert (await http.get(body["Members"][-1]["@odata.id"])).status_code == 404


@pytest.mark.parametrize("dialect", ["modern", "plain"])
async def test_the_collector_takes_of_a_hundred_thousand_members_those_that_are_there(dialect: str) -> None:
    plain = await read(asker("quad", dialect).service)
    one = asker("quad", dialect)
    one.service.wire = Wire(kind="many-members", under="/redfish/v1/Chassis/Sled/Sensors")
    got = await read(one.service)
    assert got.walked.requests < plain.walked.requests + 200
    named = {(defect.kind, defect.resource) for defect in got.defects}
    assert (DefectKind.TOO_BIG, f"{SLED}/Sensors") in named
    assert {kind for kind, _ in named} == {DefectKind.TOO_BIG, DefectKind.DANGLING_LINK}
    assert got.values() == plain.values()


async def test_link_loops_are_seen_and_named() -> None:
    one = asker()
    one.service.wire = Wire(kind="link-loop")
    async with client(one) as http:
        sled = (await http.get(SLED)).json()["Links"]
        blade = (await http.get("/redfish/v1/Chassis/Blade1")).json()["Links"]
        expanded = (await http.get("/redfish/v1/Chassis?$expand=.")).json()["Members"]
    assert sled["ContainedBy"] == {"@odata.id": "/redfish/v1/Chassis/Blade1"}
    assert {"@odata.id": SLED} in blade["Contains"]
    assert [member["Links"]["ContainedBy"] for member in expanded[:2]] == [sled["ContainedBy"], {"@odata.id": SLED}]
    got = await read(one.service)
    assert DefectKind.LINK_LOOP in {defect.kind for defect in got.defects}
    whole = await read(asker().service)
    assert {part.id for part in got.inventory.parts} == {part.id for part in whole.inventory.parts}
    assert got.values() == whole.values()
    parents = {part.id: part.parent for part in got.inventory.parts}
    for start in parents:
        seen, at = {start}, parents[start]
        while at is not None:
            assert at not in seen
            seen.add(at)
            at = parents[at]


async def test_a_clock_that_is_a_year_off_costs_times_but_no_reading() -> None:
    one = asker()
    good = one.get("/redfish/v1/Managers/Controller")
    one.service.wire = Wire(kind="clock-off")
    told = one.get("/redfish/v1/Managers/Controller")

    def seconds(body: Any, key: str) -> float:
        return datetime.fromisoformat(body[key]).timestamp()

    assert seconds(told, "DateTime") - seconds(good, "DateTime") == -A_YEAR
    assert seconds(one.get(f"{SLED}/Sensors/SledInlet"), "ReadingTime") == NOW - A_YEAR
    got = await read(one.service)
    assert {defect.kind for defect in got.defects} == {DefectKind.BAD_TIME}
    assert got.values() == (await read(asker().service)).values()
    assert got.round.frame is not None
    assert got.round.frame.times is None or min(got.round.frame.times) >= NOW - 1.0
    one.service.wire = Wire(kind="clock-off", offset=60.0)
    assert (await read(one.service)).defects == ()


async def test_a_full_session_table_turns_new_ones_away_and_keeps_the_old() -> None:
    one = asker()
    login = {"UserName": USER, "Password": PASSWORD}
    async with client(one) as http:
        http.auth = None  # type: ignore[assignment]
        mine = await http.post(SESSIONS, json=login)
        one.service.wire = Wire(kind="sessions-full")
        refused = await http.post(SESSIONS, json=login)
        assert refused.status_code == 503
        assert refused.json()["error"]["code"].endswith(".SessionLimitExceeded")
        headers = {"x-auth-token": mine.headers["x-auth-token"]}
        assert (await http.get(SLED, headers=headers)).status_code == 200
        assert len(one.service.login.sessions) == 8
        one.service.wire = Wire()
        assert len(one.service.login.sessions) == 1
        assert (await http.post(SESSIONS, json=login)).status_code == 201


@pytest.mark.parametrize(
    ("kind", "said"), [("expired-certificate", "expired"), ("wrong-certificate", "IP address mismatch")]
)
async def test_a_certificate_is_shown_that_nobody_should_take_until_it_is_cleared(
    kind: str, said: str, tmp_path: Path
) -> None:
    world = World(scaled_site(2))
    name, other = (sled.name for sled in world.site.sleds)
    async with Fleet(world, tmp_path, tick=3600.0) as fleet:
        trust = ssl.create_default_context(cafile=str(tmp_path / "ca.pem"))

        async def status(of: str) -> int:
            async with httpx.AsyncClient(base_url=fleet.listeners[of].url, verify=trust) as http:
                return (await http.get("/redfish/v1/")).status_code

        async with httpx.AsyncClient(base_url=fleet.listeners[name].url, verify=trust) as kept:
            assert (await kept.get("/redfish/v1/")).status_code == 200
            fleet.inject(f"wire-{kind}@{name}")
            with pytest.raises(httpx.TransportError):  # the old connection is gone, a new one not trusted
                await kept.get("/redfish/v1/")
        with pytest.raises(httpx.ConnectError, match=said):
            await status(name)
        assert await status(other) == 200
        fleet.clear(f"wire-{kind}", name)
        assert await status(name) == 200


def test_the_published_time_format_is_kept() -> None:
    """DSP0266, "Date-Time values": with an offset, here always Z."""
    told = asker().get("/redfish/v1/Managers/Controller")["DateTime"]
    assert datetime.fromisoformat(told).tzinfo is not None
    assert datetime.fromisoformat(told) == datetime.fromtimestamp(NOW // 1, UTC)
