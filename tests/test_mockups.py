"""The example server that other tests stand on keeps its own promises."""

from __future__ import annotations

from pathlib import Path

import httpx

from tests.mockups import Mockup, MockupTransport, serve_mockup


async def test_in_process_and_loopback_tell_the_same(mockups: Path) -> None:
    folder = mockups / "public-bladed"
    async with (
        httpx.AsyncClient(transport=MockupTransport(folder), base_url="http://service") as near,
        serve_mockup(folder) as url,
        httpx.AsyncClient(base_url=url, trust_env=False) as far,
    ):
        for path in ("/redfish", "/redfish/v1/", "/redfish/v1", "/redfish/v1/Chassis?$expand=.($levels=1)"):
            one, other = await near.get(path), await far.get(path)
            assert one.status_code == other.status_code == 200
            assert one.json() == other.json()
            assert "@Redfish.Copyright" not in one.json()
        expanded = (await near.get("/redfish/v1/Chassis?$expand=.($levels=1)")).json()
        assert all("ChassisType" in member for member in expanded["Members"])
        for path, status in (("/redfish/v1/Nowhere", 404), ("/other", 404), ("/redfish/v1/Chassis?$filter=x", 501)):
            assert (await near.get(path)).status_code == (await far.get(path)).status_code == status


async def test_sessions_open_and_close(mockups: Path) -> None:
    mockup = Mockup(mockups / "public-bladed", credentials=("ops", "secret"))
    async with httpx.AsyncClient(transport=MockupTransport(mockup), base_url="http://service") as client:
        assert (await client.get("/redfish/v1/")).status_code == 200
        assert (await client.get("/redfish/v1/Chassis")).status_code == 401
        assert (await client.get("/redfish/v1/Chassis", auth=("ops", "secret"))).status_code == 200
        wrong = {"UserName": "ops", "Password": "no"}
        assert (await client.post("/redfish/v1/SessionService/Sessions", json=wrong)).status_code == 401
        right = {"UserName": "ops", "Password": "secret"}
        login = await client.post("/redfish/v1/SessionService/Sessions", json=right)
        token = {"X-Auth-Token": login.headers["X-Auth-Token"]}
        assert (await client.get("/redfish/v1/Chassis", headers=token)).status_code == 200
        assert (await client.delete(login.headers["Location"], headers=token)).status_code == 204
        assert (await client.get("/redfish/v1/Chassis", headers=token)).status_code == 401
