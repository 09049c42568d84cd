"""Every dialect: what is special about it, and that it still tells of the same sled."""

from __future__ import annotations

import asyncio
import itertools
import json
import re
import ssl
from pathlib import Path
from typing import Any

import httpx
import pytest

from simulators.serve import Fleet, list_dialects, run_simulate, with_dialect
from simulators.service.dialects import DIALECTS, PAGE, speech, tree
from simulators.service.http import Request
from simulators.service.service import LAG
from simulators.site import demo_site, scaled_site
from simulators.world import World
from tests.simulators.service_kit import NOW, asker

CONFORMING = sorted(name for name, one in DIALECTS.items() if one.conforming)
SENSORS = "/redfish/v1/Chassis/Sled/Sensors"


def test_a_dialect_that_is_none_is_refused_with_the_names_of_all() -> None:
    for wrong in ("latin", "modern:all", "odd:", "odd:latin", "odd:unit-c,latin"):
        with pytest.raises(ValueError, match="there are: "):
            speech(wrong)
    with pytest.raises(ValueError, match="there are: modern"):
        with_dialect(demo_site(), "latin")


def test_the_list_names_every_dialect_and_oddity(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert list_dialects() == 0
    told = capsys.readouterr().out.splitlines()
    assert [line.partition("  ")[0] for line in told if not line.startswith("odd:")] == list(DIALECTS)
    assert run_simulate(tmp_path, dialect="list") == 0
    assert capsys.readouterr().out.splitlines() == told
    assert run_simulate(tmp_path, controllers=1, seconds=0.0, dialect="latin") == 2
    assert "no dialect is called 'latin'" in capsys.readouterr().err


@pytest.mark.parametrize("dialect", sorted(DIALECTS))
def test_every_dialect_is_built_for_every_design(dialect: str) -> None:
    for sled in {sled.design.name: sled for sled in with_dialect(demo_site(), dialect).sleds}.values():
        resources = tree(sled).resources
        assert "/redfish/v1/Chassis/Sled" in resources
        assert all(f"/redfish/v1/Systems/Blade{blade.number}" in resources for blade in sled.blades)


def test_plain_declares_and_takes_no_query_and_has_no_etags() -> None:
    one = asker("duo", "plain")
    told = one.get("/redfish/v1/")["ProtocolFeaturesSupported"]
    assert not any(value for key, value in told.items() if key != "ExpandQuery")
    assert not any(told["ExpandQuery"].values())
    reply = one.ask("GET", SENSORS)
    assert reply.header("etag") is None
    assert one.error("GET", f"{SENSORS}?$expand=.") == (501, ["QueryParameterUnsupported"])
    assert all(set(member) == {"@odata.id"} for member in json.loads(reply.body)["Members"])


@pytest.mark.parametrize("query", ["", "?$expand=.($levels=1)", "?$select=Name&$expand=."])
def test_small_pages_lead_through_the_whole_collection(query: str) -> None:
    one = asker("quad", "small-pages")
    whole = asker("quad", "modern").get(SENSORS)["Members"]
    told: list[Any] = []
    following: str | None = f"{SENSORS}{query}"
    pages = 0
    while following is not None:
        body = one.get(following)
        pages += 1
        assert len(body["Members"]) <= PAGE
        assert body["Members@odata.count"] == len(whole)  # DSP0266: the count is of all pages
        assert all((len(member) > 1) == bool(query) for member in body["Members"])
        told += body["Members"]
        following = body.get("Members@odata.nextLink")
    assert pages == -(-len(whole) // PAGE)
    assert [member["@odata.id"] for member in told] == [member["@odata.id"] for member in whole]


def test_a_page_token_that_is_none_is_refused() -> None:
    one = asker("quad", "small-pages")
    assert one.error("GET", f"{SENSORS}?$skiptoken=next") == (400, ["QueryParameterValueFormatError"])
    assert one.get(f"{SENSORS}?$skiptoken=9999")["Members"] == []
    assert asker("quad", "modern").error("GET", f"{SENSORS}?$skiptoken=5") == (501, ["QueryParameterUnsupported"])


def test_both_models_tell_one_sensor_a_little_apart_in_time() -> None:
    one = asker("duo", "both", own_world=True)
    sensor, thermal = f"{SENSORS}/SledExhaust", "/redfish/v1/Chassis/Sled/Thermal"

    def told() -> tuple[float, float]:
        rows = {row["Name"]: row for row in one.get(thermal)["Temperatures"]}
        return one.get(sensor)["Reading"], rows["Sled exhaust air temperature"]["ReadingCelsius"]

    first, older = told()
    assert first == older
    one.world.inject("inlet-blocked", one.sled.name, fraction=0.9)
    one.world.advance(120.0)
    one.now = NOW + LAG - 1.0
    later, older = told()
    assert later > first
    assert older == first  # the older table is not refreshed yet
    one.now = NOW + LAG + 1.0
    assert told() == (later, later)
    rows = one.get(thermal)["Fans"]
    assert [row["Name"] for row in rows] == [f"Fan {k}" for k in range(1, 6)]


def test_slow_takes_its_time_one_request_after_the_other() -> None:
    one = asker("quad", "slow")
    one.service._pace = speech("slow").pace
    waits = []
    for number in range(40):
        request = Request("GET", "/redfish/v1/", headers=one.headers, time=NOW + 10.0 * number)
        script = one.service.exchange(request, date="", keep_alive=True)
        waits.append(next(script))
        list(script)
    assert all(isinstance(wait, float) and 0.05 <= wait <= 0.15 for wait in waits)
    assert len(set(waits)) > 30
    both = [next(one.service.exchange(request, date="", keep_alive=True)) for _ in range(2)]
    assert both[1] - both[0] >= 0.05  # type: ignore[operator]


async def test_slow_on_the_wire_serves_all_in_turn(tmp_path: Path) -> None:
    site = with_dialect(scaled_site(1), "slow")
    async with Fleet(World(site), tmp_path, tick=3600.0) as fleet:
        name = site.sleds[0].name
        auth = (fleet.username, fleet.password)
        trust = ssl.create_default_context(cafile=str(tmp_path / "ca.pem"))
        async with httpx.AsyncClient(base_url=fleet.listeners[name].url, verify=trust, auth=auth) as http:
            replies = await asyncio.gather(*(http.get("/redfish/v1/") for _ in range(4)))
        assert [reply.status_code for reply in replies] == [200] * 4
        took = sorted(reply.elapsed.total_seconds() for reply in replies)
        # four of at least 50 ms each, one after the other: the last took four of them
        assert took[-1] >= 0.2


def test_all_dialects_tell_of_the_same_product() -> None:
    for first, second in itertools.pairwise(asker("duo", name).get("/redfish/v1/Chassis/Sled") for name in CONFORMING):
        for key in ("Manufacturer", "Model", "HeightMm", "ChassisType", "Id"):
            assert first[key] == second[key]


def test_every_dialect_has_a_sentence() -> None:
    assert all(one.text.endswith(".") for one in DIALECTS.values())
    assert all(re.fullmatch(r"[a-z-]+", name) for name in DIALECTS)
