"""``plan`` as a user runs it, held against what another HTTP client is told by the same services."""

from __future__ import annotations

import json
import re
import ssl
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.cli.processes import simulated, sledkeeper

HUNG, GONE = "r01-e2-s1", "r01-e1-s1"
SECONDS = r"\d+\.\d+"


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("plan") / "fleet"
    with simulated(folder, "--fault", f"wire-refuse@{GONE}", "--fault", f"wire-hang@{HUNG}") as config:
        config.write_text(config.read_text().replace("[collector]", "[collector]\nwalk_deadline = 8", 1))
        yield config


def planned(fleet: Path, controller: str) -> dict[str, Any]:
    done = sledkeeper("plan", "--config", fleet, controller, "--format", "json")
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def one_that(fleet: Path, *, expands: bool) -> str:
    """The first controller in good health whose service root declares ``$expand=.``, or does not."""
    for entry in tomllib.loads(fleet.read_text())["controllers"]:
        if entry["name"] not in (HUNG, GONE):
            with another_client(fleet, entry["name"]) as client:
                root = client.get("/redfish/v1/").json()
            told = root.get("ProtocolFeaturesSupported", {}).get("ExpandQuery", {}).get("NoLinks", False)
            if told is expands:
                return str(entry["name"])
    raise AssertionError("the simulated fleet has no such controller")


@pytest.fixture(scope="module")
def modern(fleet: Path) -> dict[str, Any]:
    return planned(fleet, one_that(fleet, expands=True))


@pytest.fixture(scope="module")
def classic(fleet: Path) -> dict[str, Any]:
    return planned(fleet, one_that(fleet, expands=False))


def another_client(fleet: Path, controller: str) -> httpx.Client:
    """httpx with basic authentication: nothing of ours."""
    entries = tomllib.loads(fleet.read_text())["controllers"]
    (url,) = (entry["url"] for entry in entries if entry["name"] == controller)
    password = (fleet.parent / "secrets" / "monitor").read_text().strip()
    trust = ssl.create_default_context(cafile=fleet.parent / "ca.pem")
    return httpx.Client(base_url=url, auth=("monitor", password), verify=trust)


def kind_of(body: dict[str, Any]) -> str:
    """DSP0266 'Type property': #Namespace.Version.TypeName."""
    return str(body["@odata.type"].rpartition(".")[2])


@pytest.mark.parametrize("which", ["modern", "classic"])
def test_requests_bring_what_the_plan_says(fleet: Path, which: str, request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(which)
    with another_client(fleet, plan["controller"]) as client:
        for one in plan["requests"]:
            reply = client.get(one["path"])
            assert reply.status_code == 200 == one["status"]
            body = reply.json()
            members = body["Members"] if "$expand" in one["path"] else [body]
            for kind, count in one["brings"].items():
                assert sum(kind_of(member) == kind for member in members) == count, one
            if set(one["brings"]) == {"Sensor"}:
                numbers = ("Reading", "SpeedRPM", "ApparentVA", "ReactiveVAR", "PowerFactor", "LifetimeReading")
                assert one["readings"] == sum(number in member for member in members for number in numbers)
                assert one["statuses"] == one["indicators"] == 0
            lamps = sum("LocationIndicatorActive" in member or "IndicatorLED" in member for member in members)
            assert one["indicators"] >= lamps  # Thermal and Power have more of them in their rows
            assert one["received"] == pytest.approx(len(reply.content), rel=0.05), "digits of readings differ"
            assert one["seconds"] > 0


@pytest.mark.parametrize("which", ["modern", "classic"])
def test_the_sums_are_right(which: str, request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(which)
    requests, done = plan["requests"], plan["round"]
    assert len(requests) == done["requests"], "one round with a session at hand: no other request"
    assert sum(one["received"] for one in requests) == done["received"]
    assert sum(one["readings"] for one in requests) == plan["walk"]["sensors"], "each sensor is read once"
    assert sum(one["seconds"] for one in requests) <= done["seconds"]
    assert done["outcome"] == "ok"
    assert len({one["path"] for one in requests}) == len(requests)


def test_a_get_for_every_resource_costs_what_is_estimated(fleet: Path, modern: dict[str, Any]) -> None:
    count = received = 0
    with another_client(fleet, modern["controller"]) as client:
        for one in modern["requests"]:
            body = client.get(one["path"]).json()
            members = body["Members"] if "$expand" in one["path"] else [body]
            if kind_of(body) == "MetricReport":  # what it repeats, once each; sensors are in other GETs' bodies
                told = {value["MetricProperty"].partition("#")[0] for value in body["MetricValues"]}
                members = [{"@odata.id": path, "@odata.type": body["@odata.type"]} for path in sorted(told)]
            for member in members:
                if kind_of(member) in one["brings"]:
                    count += 1
                    received += len(client.get(member["@odata.id"]).content)
    naive = modern["one_get_a_resource"]
    assert naive["requests"] == count
    assert naive["received_estimated"] == pytest.approx(received, rel=0.1)
    assert modern["round"]["requests"] < naive["requests"] / 2


def test_features_declared_and_used(modern: dict[str, Any], classic: dict[str, Any]) -> None:
    told = {one["feature"]: one for one in modern["features"]}
    assert told["$expand"]["offered"]
    assert told["$expand"]["used"] == sum("$expand" in one["path"] for one in modern["requests"]) > 0
    assert told["$expand"]["remark"] == ""
    assert any(word.startswith("$expand") for word in modern["declares"])
    told = {one["feature"]: one for one in classic["features"]}
    assert not told["$expand"]["offered"]
    assert not any("$expand" in one["path"] for one in classic["requests"])
    assert classic["declares"] == []


def test_the_table_is_for_people(fleet: Path, modern: dict[str, Any]) -> None:
    done = sledkeeper("plan", "--config", fleet, modern["controller"])
    assert done.returncode == 0
    assert done.stderr == ""
    shown = re.findall(r"^ *(\d+) .* (/redfish/v1/\S+)$", done.stdout, re.MULTILINE)
    assert [path for _, path in shown] == [one["path"] for one in modern["requests"]]
    assert re.search(rf"^round: {len(shown)} requests, {SECONDS} kB, {SECONDS} s of 24 s allowed", done.stdout, re.M)
    naive = modern["one_get_a_resource"]["requests"]
    assert f"one GET for every resource instead: {naive} requests, about " in done.stdout
    assert "(estimated from what the walk fetched)" in done.stdout
    assert re.search(r"^  \$expand +offered, used by \d+ of \d+ requests$", done.stdout, re.M)
    password = (fleet.parent / "secrets" / "monitor").read_text().strip()
    assert password not in done.stdout


@pytest.mark.parametrize(("controller", "words"), [(GONE, "connection refused"), (HUNG, "not done within 8 s")])
def test_a_controller_that_can_not_be_read_ends_with_1(fleet: Path, controller: str, words: str) -> None:
    done = sledkeeper("plan", "--config", fleet, controller)
    assert done.returncode == 1
    assert words in done.stderr
    assert f"'sledkeeper check {controller}'" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_an_unknown_name_ends_with_2_and_names_near_ones(fleet: Path) -> None:
    done = sledkeeper("plan", "--config", fleet, "r01-e1-s33")
    assert done.returncode == 2
    assert "r01-e1-s3" in done.stderr
    assert "near that" in done.stderr
