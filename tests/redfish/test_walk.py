"""The walk over the published example services (DMTF DSP2043), and over services broken on purpose."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.model import Defect, DefectKind, Outcome
from collector.redfish import links
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError, HttpStatus, NotJson, Unreachable
from collector.redfish.resources import SERVICE_ROOT, Walked
from collector.redfish.walk import Walk, WalkLimits, walk
from collector.settings import ControllerSettings
from tests.mockups import Answer, Mockup, MockupTransport, serve_mockup

NOW = 1_764_000_000.0
ORIGIN = "https://192.0.2.17"
ALL = (
    "bladed",
    "catfish",
    "cooling-unit",
    "expansion-box",
    "iiot",
    "localstorage",
    "nvmeof-jbof",
    "pdu",
    "rackmount1",
    "sasfabric",
    "smartnic",
    "telemetry",
)


async def no_sleep(seconds: float) -> None:
    """Waiting is not what is tested."""


async def walk_through(
    transport: httpx.AsyncBaseTransport, limits: WalkLimits | None = None, in_flight: int = 1
) -> Walked:
    settings = ControllerSettings(name="bmc", url=ORIGIN)
    async with Client(settings, transport=transport, in_flight=in_flight) as client:
        return await walk(client, clock=lambda: NOW, limits=limits, sleep=no_sleep)


async def walk_mockup(what: Path | Mockup, limits: WalkLimits | None = None) -> Walked:
    return await walk_through(MockupTransport(what), limits)


def defects(walked: Walked) -> set[tuple[str, str, DefectKind]]:
    return {(defect.resource, defect.property, defect.kind) for defect in walked.defects}


LEFT_OUT = re.compile(
    r"/(AccountService|SessionService|EventService|TaskService|UpdateService|CertificateService|Zones|Endpoints|"
    r"KeyService|JobService|Registries|ComponentIntegrity|ServiceConditions|MetricDefinitions(?!/FanSpeed$)|"
    r"odata|\$metadata|LogServices?|Bios|BootOptions|Certificates|SecureBoot|EthernetInterfaces|VirtualMedia|"
    r"NetworkProtocol|SerialInterfaces|HostInterfaces|SharedNetworkPorts|"
    r"SecurityPolicy|USBControllers|AccelerationFunctions|Assembly|"
    r"Volumes|StoragePools|ConsistencyGroups|StorageGroups|EndpointGroups|Connections|NetworkDeviceFunctions|"
    r"PCIeFunctions|PCIeSlots|MemoryDomains|CacheMemory|SubProcessors|"
    r"OperatingConfigs|PowerDomains|RegisteredClients|ActionInfo|VirtualMachines|ServiceMethods|"
    r"ManagerDiagnosticData|LicenseService)(/|$)|ActionInfo|/SD$|/Networks"
    r"|/(NetworkInterfaces|Processors|GraphicsControllers)/[^/]+/(Network)?Ports(/|$)|/TelemetryData(/|$)|/Settings$"
)
"""What a telemetry collector has no use for, by the names of the standard."""


@pytest.mark.parametrize("name", ALL)
async def test_a_walk_finds_all_that_matters(mockups: Path, name: str) -> None:
    """Against another way of finding it: every link anywhere in every body, less the parts named above."""
    folder = mockups / f"public-{name}"
    walked = await walk_mockup(folder)
    mockup = Mockup(folder)

    def links_in(value: Any) -> list[str]:
        if isinstance(value, dict):
            named = [value[key] for key in ("@odata.id", "DataSourceUri", "DataSourceURI") if key in value]
            # Triggers name metric definitions by their Id (DSP8010): of the published services' only one does.
            named += [f"/redfish/v1/TelemetryService/MetricDefinitions/{name}" for name in value.get("MetricIds", ())]
            below = [link for inner in value.values() for link in links_in(inner)]
            return [link for link in named if isinstance(link, str)] + below
        return [link for inner in value for link in links_in(inner)] if isinstance(value, list) else []

    there: dict[str, Any] = {}
    waiting = [SERVICE_ROOT]
    while waiting:
        key = links.key(waiting.pop())
        answer = mockup.answer("GET", key, {})
        if key in there or LEFT_OUT.search(key) or answer.status != 200:
            continue
        there[key] = json.loads(answer.body)
        waiting += links_in(there[key])
    assert set(walked.resources) == set(there)
    for key, resource in walked.resources.items():
        assert resource.uri == key
        if "Members" not in resource.body:
            assert resource.body == there[key]


@pytest.mark.parametrize("name", ALL)
async def test_expanding_changes_the_cost_and_nothing_else(mockups: Path, name: str) -> None:
    folder = mockups / f"public-{name}"
    one, other = await walk_mockup(Mockup(folder, expand=True)), await walk_mockup(Mockup(folder, expand=False))
    assert set(one.resources) == set(other.resources)
    assert defects(one) == defects(other)
    assert one.requests <= other.requests
    if one.features.expand_no_links and one.resources.keys() - {SERVICE_ROOT}:
        assert not other.features.expand_no_links, "found out by trying"
        for resource in one.resources.values():
            assert resource.fetched_by == resource.uri or "$expand" in resource.fetched_by


KNOWN: dict[str, set[tuple[str, str, DefectKind]]] = {
    # shared/standards/redfish-notes.md section 7, by number: 15, 13, 15, 15 (and once more), 15, 15, 13
    "telemetry": {("/redfish/v1/Chassis", "/Members@odata.count", DefectKind.WRONG_COUNT)},
    "cooling-unit": {("/redfish/v1/Chassis/CDU/Sensors/SecondaryHeatLoad", "/@odata.id", DefectKind.WRONG_IDENTITY)},
    "iiot": {("/redfish/v1/Chassis", "/Members/3", DefectKind.DUPLICATE)},
    "nvmeof-jbof": {
        ("/redfish/v1/Chassis/1/NetworkAdapters", "/Members@odata.count", DefectKind.WRONG_TYPE),
        ("/redfish/v1/Systems/NVMeoF-SoC/NetworkInterfaces", "/Members@odata.count", DefectKind.WRONG_TYPE),
        ("/redfish/v1/Chassis/1/NetworkAdapters/1/NetworkPorts", "/Members@odata.count", DefectKind.WRONG_TYPE),
    },
    "pdu": {("/redfish/v1/Chassis/TransferSwitch1/Sensors", "/Members@odata.count", DefectKind.WRONG_COUNT)},
    "rackmount1": {("/redfish/v1/Chassis/1U/TrustedComponents", "/Members@odata.count", DefectKind.WRONG_COUNT)},
    "smartnic": {("/redfish/v1/Chassis/Card2/NetworkAdapters/Slot2/Ports", "/@odata.id", DefectKind.WRONG_IDENTITY)},
}


@pytest.mark.parametrize("name", ALL)
async def test_what_is_wrong_in_the_examples_is_named(mockups: Path, name: str) -> None:
    """Beside what the notes name, every DataSourceUri to nothing: quirk 3."""
    walked = await walk_mockup(mockups / f"public-{name}")
    astray = {defect for defect in defects(walked) if "/DataSourceU" in defect[1]}
    assert defects(walked) - astray == KNOWN.get(name, set())
    for resource, pointer, kind in astray:
        source: Any = walked.resources[resource].body
        for step in pointer.split("/")[1:]:
            source = source[int(step)] if isinstance(source, list) else source[step]
        assert kind is DefectKind.DANGLING_LINK
        assert not (mockups / f"public-{name}").joinpath(*source.split("#")[0].split("/")[3:], "index.json").exists()


async def test_it_is_the_same_over_a_socket_and_with_several_in_flight(mockups: Path) -> None:
    folder = mockups / "public-rackmount1"
    expected = set((await walk_mockup(folder)).resources)
    async with serve_mockup(folder) as url:
        for in_flight in (1, 4):
            async with Client(ControllerSettings(name="bmc", url=url), in_flight=in_flight) as client:
                walked = await walk(client, clock=lambda: NOW)
            assert set(walked.resources) == expected
            assert (walked.controller, walked.time) == ("bmc", NOW)
            assert walked.requests == client.requests
            assert walked.bytes_received == client.bytes_received > 50_000


# Services made for the purpose: path -> body


def link(path: str) -> dict[str, str]:
    return {"@odata.id": path}


def resource(path: str, kind: str, **more: Any) -> dict[str, Any]:
    return {"@odata.id": path, "@odata.type": f"#{kind}.v1_0_0.{kind}", "Id": path.rpartition("/")[2], **more}


def collection(path: str, kind: str, *members: str, **more: Any) -> dict[str, Any]:
    name = f"{kind}Collection"
    listed = [link(member) for member in members]
    return {
        "@odata.id": path,
        "@odata.type": f"#{name}.{name}",
        "Members@odata.count": len(listed),
        "Members": listed,
        **more,
    }


ROOT, CHASSIS, SENSORS = "/redfish/v1", "/redfish/v1/Chassis", "/redfish/v1/Chassis/1/Sensors"
EXPANDS = {"ExpandQuery": {"NoLinks": True, "Levels": True, "MaxLevels": 2}}


def service(sensors: int = 3, **features: Any) -> dict[str, Any]:
    """A small sound service: one chassis with sensors."""
    names = [f"{SENSORS}/T{index}" for index in range(sensors)]
    return {
        ROOT: resource(SERVICE_ROOT, "ServiceRoot", Chassis=link(CHASSIS), ProtocolFeaturesSupported=features),
        CHASSIS: collection(CHASSIS, "Chassis", f"{CHASSIS}/1"),
        f"{CHASSIS}/1": resource(f"{CHASSIS}/1", "Chassis", Sensors=link(SENSORS)),
        SENSORS: collection(SENSORS, "Sensor", *names),
        **{name: resource(name, "Sensor", Reading=20.5, ReadingUnits="Cel") for name in names},
    }


async def test_a_sensor_that_only_an_excerpt_names_is_found(empty: Path) -> None:
    told = {"Reading": 20.5, "DataSourceUri": "/redfish/v1/Chassis/1/Sensors/Hidden"}
    metrics = f"{CHASSIS}/1/EnvironmentMetrics"
    bodies = service() | {
        f"{CHASSIS}/1": resource(f"{CHASSIS}/1", "Chassis", Sensors=link(SENSORS), EnvironmentMetrics=link(metrics)),
        metrics: resource(metrics, "EnvironmentMetrics", TemperatureCelsius=told),
        f"{SENSORS}/Hidden": resource(f"{SENSORS}/Hidden", "Sensor", Reading=20.5, ReadingUnits="Cel"),
    }
    walked = await walk_bodies(empty, bodies)
    assert f"{SENSORS}/Hidden" in walked.resources
    assert not walked.defects


async def test_only_so_many_origins_that_lead_nowhere_are_looked_for(empty: Path) -> None:
    metrics = f"{CHASSIS}/1/ThermalMetrics"
    rows = [{"Reading": 1, "DataSourceUri": f"{SENSORS}/gone-{index}"} for index in range(500)]
    bodies = service() | {
        f"{CHASSIS}/1": resource(f"{CHASSIS}/1", "Chassis", Sensors=link(SENSORS), EnvironmentMetrics=link(metrics)),
        metrics: resource(metrics, "EnvironmentMetrics", FanSpeedsPercent=rows),
    }
    mockup = mockup_of(empty, bodies)
    walked = await walk_mockup(mockup)
    asked = [target for _, target in mockup.requests if "gone-" in target]
    assert len(asked) == WalkLimits().misses == len(walked.defects)


async def test_what_reports_and_controls_name_is_found_once(empty: Path) -> None:
    telemetry = "/redfish/v1/TelemetryService"
    report = f"{telemetry}/MetricReports/All"
    hidden = f"{SENSORS}/Hidden"
    values = [{"MetricProperty": f"{hidden}#/Reading", "MetricValue": "20.5"}, {"MetricProperty": 7}, None, "x"]
    bodies = service() | {
        telemetry: resource(telemetry, "TelemetryService", MetricReports=link(f"{telemetry}/MetricReports")),
        f"{telemetry}/MetricReports": collection(f"{telemetry}/MetricReports", "MetricReport", report),
        report: resource(report, "MetricReport", MetricValues=values),
        hidden: resource(hidden, "Sensor", Reading=20.5, ReadingUnits="Cel"),
    }
    bodies[ROOT]["TelemetryService"] = link(telemetry)
    mockup = mockup_of(empty, bodies)
    walked = await walk_mockup(mockup)
    assert hidden in walked.resources
    assert [target for _, target in mockup.requests].count(hidden) == 1


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    return tmp_path


def mockup_of(empty: Path, bodies: dict[str, Any]) -> Mockup:
    return Mockup(empty, replace=bodies)


async def walk_bodies(empty: Path, bodies: dict[str, Any], limits: WalkLimits | None = None) -> Walked:
    return await walk_mockup(mockup_of(empty, bodies), limits)


async def test_a_sound_service_has_no_defects(empty: Path) -> None:
    walked = await walk_bodies(empty, service())
    assert not walked.defects
    assert len(walked.resources) == 7
    assert walked.root["Chassis"] == link(CHASSIS)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({f"{SENSORS}/T1": None}, (SENSORS, "/Members/1", DefectKind.DANGLING_LINK)),
        ({f"{SENSORS}/T1": b"<html>"}, (f"{SENSORS}/T1", "", DefectKind.NOT_JSON)),
        ({f"{SENSORS}/T1": b'{"a": '}, (f"{SENSORS}/T1", "", DefectKind.NOT_JSON)),
        ({f"{SENSORS}/T1": b"[1]"}, (f"{SENSORS}/T1", "", DefectKind.NOT_JSON)),
        ({f"{SENSORS}/T1": b'{"a":' * 99 + b"1" + b"}" * 99}, (f"{SENSORS}/T1", "", DefectKind.TOO_DEEP)),
        ({f"{SENSORS}/T1": Answer(500, {}, b"")}, (f"{SENSORS}/T1", "", DefectKind.HTTP_ERROR)),
        ({f"{SENSORS}/T1": Answer(403, {}, b"")}, (f"{SENSORS}/T1", "", DefectKind.HTTP_ERROR)),
        (
            {f"{SENSORS}/T1": Answer(302, {"Location": "https://evil.example/"}, b"")},
            (SENSORS, "/Members/1", DefectKind.FOREIGN_LINK),
        ),
        (
            {f"{SENSORS}/T1": resource(f"{SENSORS}/T2", "Sensor")},
            (f"{SENSORS}/T1", "/@odata.id", DefectKind.WRONG_IDENTITY),
        ),
        ({f"{SENSORS}/T1": {"@odata.type": "#Sensor.x"}}, (f"{SENSORS}/T1", "/@odata.id", DefectKind.MISSING)),
        ({f"{SENSORS}/T1": {"@odata.id": 7}}, (f"{SENSORS}/T1", "/@odata.id", DefectKind.WRONG_TYPE)),
        ({f"{SENSORS}/T1": link(f"{SENSORS}/T1")}, (f"{SENSORS}/T1", "/@odata.type", DefectKind.MISSING)),
        (
            {SENSORS: collection(SENSORS, "Sensor", "https://evil.example/T")},
            (SENSORS, "/Members/0", DefectKind.FOREIGN_LINK),
        ),
        ({SENSORS: collection(SENSORS, "Sensor", "T1")}, (SENSORS, "/Members/0", DefectKind.WRONG_TYPE)),
        ({SENSORS: {**collection(SENSORS, "Sensor"), "Members": 7}}, (SENSORS, "/Members", DefectKind.WRONG_TYPE)),
        ({SENSORS: resource(SENSORS, "SensorCollection")}, (SENSORS, "/Members", DefectKind.MISSING)),
        ({SENSORS: {**collection(SENSORS, "Sensor"), "Members": [7]}}, (SENSORS, "/Members/0", DefectKind.WRONG_TYPE)),
        (
            {SENSORS: {**collection(SENSORS, "Sensor"), "Members@odata.count": "0"}},
            (SENSORS, "/Members@odata.count", DefectKind.WRONG_TYPE),
        ),
        (
            {SENSORS: collection(SENSORS, "Sensor", f"{SENSORS}/T1", f"{SENSORS}/T1/")},
            (SENSORS, "/Members/1", DefectKind.DUPLICATE),
        ),
        (
            {f"{CHASSIS}/1": resource(f"{CHASSIS}/1", "Chassis", Sensors=SENSORS)},
            (f"{CHASSIS}/1", "/Sensors", DefectKind.WRONG_TYPE),
        ),
    ],
)  # fmt: skip
async def test_one_thing_wrong_is_named_and_the_rest_walked(
    empty: Path, change: dict[str, Any], expected: tuple[str, str, DefectKind]
) -> None:
    walked = await walk_bodies(empty, service() | change)
    assert expected in defects(walked)
    assert {SERVICE_ROOT, CHASSIS, f"{CHASSIS}/1"} <= set(walked.resources)
    told = [defect for defect in walked.defects if (defect.resource, defect.property) == expected[:2]]
    assert all(isinstance(defect, Defect) and defect.detail and defect.controller == "bmc" for defect in told)
    if f"{SENSORS}/T1" in change:
        assert {f"{SENSORS}/T0", f"{SENSORS}/T2"} <= set(walked.resources)


async def test_nan_is_kept_for_those_who_know_what_it_means(empty: Path) -> None:
    body = b'{"@odata.id": "/redfish/v1/Chassis/1/Sensors/T1", "@odata.type": "#Sensor.v1_0_0.Sensor", "Reading": NaN}'
    walked = await walk_bodies(empty, service() | {f"{SENSORS}/T1": body})
    told = walked.resources[f"{SENSORS}/T1"].body["Reading"]
    assert told != told


def pages(form: str, last: Any = None) -> dict[str, Any]:
    """Three sensors on three pages."""
    bodies = service()
    for page in range(3):
        path = SENSORS if page == 0 else f"{SENSORS}/page{page}"
        following = f"{SENSORS}/page{page + 1}" if page < 2 else last
        body = collection(SENSORS, "Sensor", f"{SENSORS}/T{page}") | {"Members@odata.count": 3}
        bodies[path] = body | ({form: following} if following else {})
    return bodies


@pytest.mark.parametrize("form", ["Members@odata.nextLink", "@odata.nextLink"])
@pytest.mark.parametrize("features", [{}, EXPANDS])
async def test_pages_are_one_collection(empty: Path, form: str, features: dict[str, Any]) -> None:
    bodies = pages(form)
    bodies[ROOT]["ProtocolFeaturesSupported"] = features
    walked = await walk_bodies(empty, bodies)
    assert not walked.defects
    assert {f"{SENSORS}/T{index}" for index in range(3)} <= set(walked.resources)
    assert [member["@odata.id"] for member in walked.resources[SENSORS].body["Members"]] == [
        f"{SENSORS}/T{index}" for index in range(3)
    ]


@pytest.mark.parametrize(
    ("last", "kind"),
    [
        (SENSORS, DefectKind.LINK_LOOP),
        (f"{SENSORS}/page1", DefectKind.LINK_LOOP),
        (f"{SENSORS}/nowhere", DefectKind.DANGLING_LINK),
        ("https://evil.example/page3", DefectKind.FOREIGN_LINK),
        (7, DefectKind.WRONG_TYPE),
    ],
)
async def test_pages_that_lead_astray(empty: Path, last: Any, kind: DefectKind) -> None:
    walked = await walk_bodies(empty, pages("Members@odata.nextLink", last))
    assert defects(walked) == {(SENSORS, "/Members@odata.nextLink", kind)}
    assert len([uri for uri in walked.resources if uri.startswith(SENSORS + "/T")]) == 3


class Endless(httpx.AsyncBaseTransport):
    """A service that makes up what it is asked for: chassis within chassis, pages behind pages."""

    def __init__(self, paging: bool) -> None:
        self.paging = paging
        self.asked = 0

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        self.asked += 1
        path, here = request.url.path, f"{CHASSIS}/{self.asked}"
        if path.rstrip("/") == ROOT:
            return httpx.Response(200, json=resource(SERVICE_ROOT, "ServiceRoot", Chassis=link(CHASSIS)))
        if path == CHASSIS or self.paging:
            more = {"Members@odata.nextLink": f"{CHASSIS}?page={self.asked}"} if self.paging else {}
            return httpx.Response(200, json=collection(CHASSIS, "Chassis", *([] if self.paging else [here]), **more))
        return httpx.Response(200, json=resource(path, "Chassis", Links={"Contains": [link(here)]}))


async def test_nothing_endless_is_walked() -> None:
    walked = await walk_through(Endless(paging=False), WalkLimits(hops=10))
    assert [defect.kind for defect in walked.defects] == [DefectKind.TOO_DEEP]
    walked = await walk_through(Endless(paging=False), WalkLimits(hops=1000, resources=20))
    assert [defect.kind for defect in walked.defects] == [DefectKind.TOO_BIG]
    assert len(walked.resources) == 20
    walked = await walk_through(Endless(paging=False), WalkLimits(hops=1000, bytes=5000))
    assert [defect.kind for defect in walked.defects] == [DefectKind.TOO_BIG]
    walked = await walk_through(Endless(paging=True), WalkLimits(pages=30))
    assert walked.requests < 40
    assert DefectKind.LINK_LOOP in {defect.kind for defect in walked.defects}


async def test_the_number_of_defects_is_bounded(empty: Path) -> None:
    body = collection(SENSORS, "Sensor", *(f"{SENSORS}/missing{index}" for index in range(500)))
    walked = await walk_bodies(empty, service() | {SENSORS: body}, WalkLimits(defects=50))
    assert len(walked.defects) == 50


# $expand


class Expanding(MockupTransport):
    """Answers requests with ``$expand`` by a function of the test, all else as a mockup."""

    def __init__(self, mockup: Mockup, expanded: Callable[[str], httpx.Response | None]) -> None:
        super().__init__(mockup)
        self.expanded = expanded
        self.tried: list[str] = []

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        if "$expand" in str(request.url):
            self.tried.append(request.url.path)
            if (response := self.expanded(request.url.path)) is not None:
                return response
        return await super().handle_async_request(request)


@pytest.mark.parametrize(("status", "tries"), [(400, 1), (501, 1), (500, 3), (507, 3)])
async def test_expand_is_given_up_where_it_fails(empty: Path, status: int, tries: int) -> None:
    bodies = service(**EXPANDS)
    bodies[f"{CHASSIS}/1"] |= {
        name: link(f"{CHASSIS}/1/{name}") for name in ("Controls", "Drives", "Memory", "Processors", "LeakDetectors")
    }
    for name, kind in (("Controls", "Control"), ("Drives", "Drive"), ("Memory", "Memory"), ("Processors", "Processor"),
                       ("LeakDetectors", "LeakDetector")):  # fmt: skip
        bodies[f"{CHASSIS}/1/{name}"] = collection(f"{CHASSIS}/1/{name}", kind)
    transport = Expanding(mockup_of(empty, bodies), lambda path: httpx.Response(status))
    walked = await walk_through(transport)
    assert len(transport.tried) == tries
    assert not walked.features.expand_no_links
    assert walked.features.expand_levels == 0
    assert set(walked.resources) == {*(set(bodies) - {ROOT}), SERVICE_ROOT}
    assert not walked.defects


async def test_one_collection_too_big_to_expand_does_not_spoil_the_rest(empty: Path) -> None:
    def expanded(path: str) -> httpx.Response | None:
        return httpx.Response(507) if path == SENSORS else None

    walked = await walk_through(Expanding(mockup_of(empty, service(**EXPANDS)), expanded))
    assert walked.features.expand_no_links
    assert walked.resources[f"{SENSORS}/T0"].fetched_by == f"{SENSORS}/T0"
    assert walked.resources[f"{CHASSIS}/1"].fetched_by == f"{CHASSIS}?$expand=.($levels=1)"


async def test_members_that_lose_their_readings_in_a_collection_are_fetched_singly(empty: Path) -> None:
    bodies = service(**EXPANDS)

    def expanded(path: str) -> httpx.Response | None:
        if path != SENSORS:
            return None
        members = [{"@odata.id": f"{SENSORS}/T{index}", "Id": f"T{index}"} for index in range(3)]
        return httpx.Response(200, json=bodies[SENSORS] | {"Members": members})

    walked = await walk_through(Expanding(mockup_of(empty, bodies), expanded))
    assert all(walked.resources[f"{SENSORS}/T{index}"].body["Reading"] == 20.5 for index in range(3))
    assert not walked.features.expand_no_links
    assert defects(walked) == {(SENSORS, "/Members", DefectKind.MISSING)}


async def test_members_left_as_links_are_fetched(empty: Path) -> None:
    bodies = service(**EXPANDS)
    walked = await walk_through(
        Expanding(mockup_of(empty, bodies), lambda path: httpx.Response(200, json=bodies[path]))
    )
    assert walked.resources[f"{SENSORS}/T2"].fetched_by == f"{SENSORS}/T2"
    assert not walked.defects


async def test_members_that_call_themselves_wrongly_are_told_apart_by_their_links(empty: Path) -> None:
    bodies = service(**EXPANDS)
    bodies[f"{SENSORS}/T1"] |= {"@odata.id": f"{SENSORS}/T0", "Reading": 99.0}
    walked = await walk_bodies(empty, bodies)
    assert walked.resources[f"{SENSORS}/T1"].body["Reading"] == 99.0
    assert defects(walked) == {(f"{SENSORS}/T1", "/@odata.id", DefectKind.WRONG_IDENTITY)}
    bodies = service(**EXPANDS)
    bodies[f"{SENSORS}/T1"] |= link("/redfish/v1/Chassis/2/Sensors/T1")
    walked = await walk_bodies(empty, bodies)
    assert defects(walked) == {(f"{SENSORS}/T1", "/@odata.id", DefectKind.WRONG_IDENTITY)}
    assert "/redfish/v1/Chassis/2/Sensors/T1" not in walked.resources


async def test_links_across_do_not_spoil_what_a_collection_brings(empty: Path) -> None:
    """Drives that a chassis links to singly and has in a collection as well come expanded."""
    drives = f"{CHASSIS}/1/Drives"
    bodies = service(**EXPANDS) | {
        drives: collection(drives, "Drive", f"{drives}/0"),
        f"{drives}/0": resource(f"{drives}/0", "Drive"),
    }
    bodies[f"{CHASSIS}/1"] |= {"Drives": link(drives), "Links": {"Drives": [link(f"{drives}/0")]}}
    walked = await walk_bodies(empty, bodies)
    assert "$expand" in walked.resources[f"{drives}/0"].fetched_by


# What ends a walk, and what does not


@pytest.mark.parametrize(
    ("root", "kind", "outcome"),
    [
        (None, HttpStatus, Outcome.MALFORMED),
        (Answer(503, {"Retry-After": "30"}, b""), HttpStatus, Outcome.UNAVAILABLE),
        (b"<html>Welcome to the printer</html>", NotJson, Outcome.MALFORMED),
    ],
)
async def test_without_a_service_root_there_is_no_walk(
    empty: Path, root: Any, kind: type[ControllerError], outcome: Outcome
) -> None:
    with pytest.raises(kind) as caught:
        await walk_bodies(empty, {ROOT: root})
    assert caught.value.outcome is outcome


async def test_what_may_pass_is_asked_again_at_the_end(empty: Path) -> None:
    waits: list[float] = []
    bodies = service() | {f"{SENSORS}/T1": Answer(503, {"Retry-After": "4"}, b"")}
    mockup = mockup_of(empty, bodies)

    async def sleep(seconds: float) -> None:
        waits.append(seconds)
        mockup.replace[f"{SENSORS}/T1"] = resource(f"{SENSORS}/T1", "Sensor", Reading=1.0)

    async with Client(ControllerSettings(name="bmc", url=ORIGIN), transport=MockupTransport(mockup)) as client:
        going = Walk(client, clock=lambda: NOW, sleep=sleep)
        walked = await going.run()
    assert waits == [4.0]
    assert f"{SENSORS}/T1" in walked.resources
    assert not walked.defects
    assert going.passing == 0


async def test_what_does_not_pass_is_counted(empty: Path) -> None:
    waits: list[float] = []

    async def sleep(seconds: float) -> None:
        waits.append(seconds)

    bodies = service() | {f"{SENSORS}/T1": Answer(503, {"Retry-After": "86400"}, b""), f"{SENSORS}/T2": None}
    transport = MockupTransport(mockup_of(empty, bodies))
    async with Client(ControllerSettings(name="bmc", url=ORIGIN), transport=transport) as client:
        going = Walk(client, clock=lambda: NOW, sleep=sleep)
        walked = await going.run()
    assert waits == [WalkLimits().wait], "a service that asks for a day gets seconds"
    assert going.passing == 1
    assert (f"{SENSORS}/T1", "", DefectKind.HTTP_ERROR) in defects(walked)


@pytest.mark.parametrize("answers", range(5))
async def test_a_controller_that_goes_away_ends_the_walk(empty: Path, answers: int) -> None:
    """Rather than an inventory that has lost half of its parts."""
    left = answers

    def before(request: httpx.Request) -> None:
        nonlocal left
        left -= 1
        if left < 0:
            raise httpx.ConnectError("gone", request=request)

    transport = MockupTransport(mockup_of(empty, service(sensors=50)), before=before)
    with pytest.raises(Unreachable):
        await walk_through(transport)
    assert left >= -6, "and does not go on asking"


async def test_one_that_breaks_the_connection_over_some_resources_is_walked(empty: Path) -> None:
    def before(request: httpx.Request) -> None:
        if request.url.path[-1] in "13579":
            raise httpx.RemoteProtocolError("cut", request=request)
        if request.url.path.endswith("T8"):
            raise httpx.ReadTimeout("hung", request=request)
        if request.url.path[-2:] in ("T4", "T5", "T6", "T7"):
            raise httpx.ConnectError("refused", request=request)

    bodies = service(sensors=10)
    bodies[CHASSIS] = collection(CHASSIS, "Chassis", f"{CHASSIS}/A")
    bodies[f"{CHASSIS}/A"] = bodies.pop(f"{CHASSIS}/1") | link(f"{CHASSIS}/A")
    walked = await walk_through(MockupTransport(mockup_of(empty, bodies), before=before))
    assert [uri[-2:] for uri in walked.resources if "/T" in uri] == ["T0", "T2"]
    assert {defect.resource[-2:] for defect in walked.defects} == {f"T{index}" for index in (1, 3, 4, 5, 6, 7, 8, 9)}


async def test_the_deadline_is_the_callers(empty: Path) -> None:
    inner = MockupTransport(mockup_of(empty, service()))

    async def handler(request: httpx.Request) -> httpx.Response:
        if request.url.path == SENSORS:
            await asyncio.Event().wait()
        return await inner.handle_async_request(request)

    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.05):
            await walk_through(httpx.MockTransport(handler))
