"""Methods, headers, errors, ETags and query parameters of a simulated service, as DSP0266 asks for them."""

from __future__ import annotations

import json
from typing import Any

import pytest

from simulators.service.messages import MESSAGES, REGISTRY
from tests.conftest import standard
from tests.simulators.service_kit import Asker, asker

SENSORS = "/redfish/v1/Chassis/Sled/Sensors"


@pytest.fixture
def one() -> Asker:
    return asker()


@pytest.fixture
def alone() -> Asker:
    """With a world of its own, to be changed."""
    return asker(own_world=True)


def test_messages_are_those_of_the_standard_registry() -> None:
    """Against DMTF DSP8011, Base registry."""
    registry = json.loads(standard("redfish", "registries", f"{REGISTRY}.json").read_text())
    for key, (severity, text, resolution) in MESSAGES.items():
        known = registry["Messages"][key]
        assert (severity, text, resolution) == (known["MessageSeverity"], known["Message"], known["Resolution"]), key


def test_the_root_names_its_features_and_the_older_one_has_none(one: Asker) -> None:
    features = one.get("/redfish/v1")["ProtocolFeaturesSupported"]
    assert features["ExpandQuery"] == {
        "ExpandAll": True,
        "NoLinks": True,
        "Links": True,
        "Levels": True,
        "MaxLevels": 4,
    }
    assert features["FilterQuery"] is False
    assert "ProtocolFeaturesSupported" not in asker("quad", "classic").get("/redfish/v1")


def test_version_and_service_documents(one: Asker) -> None:
    assert one.get("/redfish") == {"v1": "/redfish/v1/"}
    document = one.get("/redfish/v1/odata")
    assert document["@odata.context"] == "/redfish/v1/$metadata"
    assert {"name": "Chassis", "kind": "Singleton", "url": "/redfish/v1/Chassis"} in document["value"]
    metadata = one.ask("GET", "/redfish/v1/$metadata", accept="application/xml")
    assert (metadata.header("Content-Type") or "").startswith("application/xml")
    assert b'Namespace="Sensor.v1_' in metadata.body


def test_every_answer_carries_the_headers_that_the_standard_asks_for(one: Asker) -> None:
    reply = one.ask("GET", SENSORS)
    assert reply.header("OData-Version") == "4.0"
    assert (reply.header("Content-Type") or "").startswith("application/json")
    assert reply.header("Cache-Control")
    assert "rel=describedby" in (reply.header("Link") or "")
    assert reply.header("Allow") == "GET, HEAD"


@pytest.mark.parametrize("path", ["/", "/redfish/v1/Chassis/Nobody", "/redfish/v2/", f"{SENSORS}/..", "/%2e"])
def test_what_is_not_there_is_404(one: Asker, path: str) -> None:
    assert one.error("GET", path) == (404, ["ResourceMissingAtURI"])


def test_a_trailing_slash_names_the_same_resource(one: Asker) -> None:
    assert one.ask("GET", SENSORS + "/").body == one.ask("GET", SENSORS).body


@pytest.mark.parametrize(
    ("method", "status"), [("POST", 405), ("PUT", 405), ("DELETE", 405), ("PATCH", 405), ("BREW", 501)]
)
def test_methods_that_a_resource_has_not(one: Asker, method: str, status: int) -> None:
    assert one.error(method, SENSORS, {}) == (status, ["OperationNotAllowed"])
    if status == 405:
        assert one.ask(method, SENSORS, {}).header("Allow") == "GET, HEAD"


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"odata_version": "3.0"}, 412),
        ({"odata_version": "4.0"}, 200),
        ({"accept": "text/html"}, 406),
        ({"accept": "application/json;odata.metadata=minimal, text/html;q=0.2"}, 200),
        ({"accept": "*/*"}, 200),
    ],
)
def test_request_headers_are_obeyed(one: Asker, headers: dict[str, str], status: int) -> None:
    assert one.ask("GET", SENSORS, **headers).status == status


def test_only_json_is_taken(one: Asker) -> None:
    reply = one.ask("PATCH", "/redfish/v1/Chassis/Sled", b"<a/>", content_type="text/xml")
    assert reply.status == 415


def test_an_etag_answers_304_until_something_changes(alone: Asker) -> None:
    path = "/redfish/v1/Chassis/Sled"
    tag = alone.ask("GET", path).header("ETag") or ""
    assert tag
    again = alone.ask("GET", path, if_none_match=f'"other", {tag}')
    assert (again.status, again.body, again.header("ETag")) == (304, b"", tag)
    assert alone.ask("GET", path, if_none_match=f"W/{tag}").status == 304
    assert alone.ask("GET", path, if_none_match='"other"').status == 200
    assert alone.ask("PATCH", path, {"LocationIndicatorActive": True}, if_match='"other"').status == 412
    assert alone.ask("PATCH", path, {"LocationIndicatorActive": True}, if_match=tag).status == 200
    assert alone.ask("GET", path, if_none_match=tag).status == 200


def test_the_older_dialect_has_no_etags() -> None:
    one = asker("quad", "classic")
    assert one.ask("GET", "/redfish/v1/Chassis/Sled").header("ETag") is None
    assert one.ask("GET", "/redfish/v1/Chassis/Sled", if_none_match="*").status == 200


def test_expand_replaces_links_level_by_level(one: Asker) -> None:
    plain = one.get(SENSORS)
    assert all(list(member) == ["@odata.id"] for member in plain["Members"])
    expanded = one.get(f"{SENSORS}?$expand=.")
    assert [m["@odata.id"] for m in expanded["Members"]] == [m["@odata.id"] for m in plain["Members"]]
    for member in expanded["Members"]:
        assert member == one.get(member["@odata.id"])
    assert one.get(f"{SENSORS}?$expand=.($levels=1)") == expanded
    chassis = one.get("/redfish/v1/Chassis?$expand=.($levels=3)")
    sled = chassis["Members"][0]
    assert sled["Sensors"]["Members"] == expanded["Members"]
    assert list(sled["Links"]["Contains"][0]) == ["@odata.id"]


def test_links_are_expanded_only_when_asked_for(one: Asker) -> None:
    blade = "/redfish/v1/Chassis/Blade1"
    links = one.get(f"{blade}?$expand=~")
    assert links["Links"]["ComputerSystems"][0]["SystemType"] == "Physical"
    assert list(links["Sensors"]) == ["@odata.id"]
    everything = one.get(f"{blade}?$expand=*")
    assert everything["Links"]["ContainedBy"]["ChassisType"] == "Sled"
    assert "Members" in everything["Sensors"]


def test_a_link_back_to_what_is_being_expanded_stays_a_link(one: Asker) -> None:
    blade = one.get("/redfish/v1/Chassis/Blade1?$expand=~($levels=2)")
    assert {"@odata.id": "/redfish/v1/Chassis/Blade1"} in blade["Links"]["ContainedBy"]["Links"]["Contains"]


def test_an_answer_that_would_be_huge_is_507(one: Asker) -> None:
    assert one.error("GET", "/redfish/v1/Chassis?$expand=*($levels=4)") == (507, ["InsufficientStorage"])


@pytest.mark.parametrize(
    ("query", "status", "key"),
    [
        ("$expand=.($levels=5)", 400, "QueryParameterOutOfRange"),
        ("$expand=.($levels=0)", 400, "QueryParameterOutOfRange"),
        ("$expand=all", 400, "QueryParameterValueFormatError"),
        ("$expand=", 400, "QueryParameterValueFormatError"),
        ("$top=x", 400, "QueryParameterValueFormatError"),
        ("$skip=-1", 400, "QueryParameterValueFormatError"),
        ("$filter=Id%20eq%20'a'", 501, "QueryParameterUnsupported"),
        ("$orderby=Id", 501, "QueryParameterUnsupported"),
        ("only&$expand=.", 400, "QueryCombinationInvalid"),
        ("$top=1&$top=2", 400, "QueryCombinationInvalid"),
    ],
)
def test_bad_queries_are_refused(one: Asker, query: str, status: int, key: str) -> None:
    assert one.error("GET", f"{SENSORS}?{query}") == (status, [key])


def test_parameters_without_a_dollar_are_ignored(one: Asker) -> None:
    assert one.ask("GET", f"{SENSORS}?colour=blue").body == one.ask("GET", SENSORS).body


@pytest.mark.parametrize("query", ["$expand=.", "$select=Name", "$top=1", "$skip=1", "$filter=x"])
def test_the_older_dialect_takes_no_query(query: str) -> None:
    one = asker("duo", "classic")
    assert one.error("GET", f"/redfish/v1/Chassis?{query}") == (501, ["QueryParameterUnsupported"])
    assert one.get("/redfish/v1/Managers?only")["Members@odata.count"] == 1


def test_select_keeps_what_is_named_and_what_every_body_keeps(one: Asker) -> None:
    sled = one.get("/redfish/v1/Chassis/Sled?$select=SerialNumber,Status/Health,Location/PartLocation/ServiceLabel")
    assert set(sled) == {"@odata.id", "@odata.type", "SerialNumber", "Location", "Status"}
    assert sled["Status"] == {"Health": "OK"}
    assert sled["Location"] == {"PartLocation": {"ServiceLabel": one.sled.label}}
    members = one.get(f"{SENSORS}?$expand=.&$select=Reading")["Members"]
    assert all(set(member) == {"@odata.id", "@odata.type", "Reading"} for member in members)


def test_only_returns_the_single_member_and_leaves_larger_collections_alone(one: Asker) -> None:
    assert one.get("/redfish/v1/Managers?only")["ManagerType"] == "ManagementController"
    assert one.get(f"{SENSORS}?only") == one.get(SENSORS)
    assert one.error("GET", "/redfish/v1/Chassis/Sled?only") == (400, ["QueryNotSupportedOnResource"])


def test_pages_by_top_and_skip_bring_every_member_once(one: Asker) -> None:
    whole = one.get(SENSORS)
    seen: list[Any] = []
    target = f"{SENSORS}?$top=4"
    while target:
        page = one.get(target)
        assert page["Members@odata.count"] == whole["Members@odata.count"]
        assert len(page["Members"]) <= 4
        seen += page["Members"]
        target = page.get("Members@odata.nextLink", "")
    assert seen == whole["Members"]
    assert one.get(f"{SENSORS}?$top=0")["Members"] == []
    assert one.get(f"{SENSORS}?$skip=9999")["Members"] == []


LAMPS = [("modern", "LocationIndicatorActive", True, False), ("classic", "IndicatorLED", "Blinking", "Off")]


@pytest.mark.parametrize(("dialect", "name", "on", "off"), LAMPS)
@pytest.mark.parametrize("target", ["/redfish/v1/Chassis/Sled", "/redfish/v1/Chassis/Blade2", "drive"])
def test_a_locate_lamp_is_lit_and_put_out(dialect: str, name: str, on: Any, off: Any, target: str) -> None:
    one = asker("duo", dialect)
    if target == "drive":
        target = one.get("/redfish/v1/Chassis/Blade2")["Links"]["Drives"][3]["@odata.id"]
    assert one.ask("GET", target).header("Allow") == "GET, HEAD, PATCH"
    for value in (on, off):
        reply = one.ask("PATCH", target, {name: value})
        assert reply.status == 200
        assert json.loads(reply.body)[name] == value
        assert one.get(target)[name] == value
        lit = [path for path, part in one.world.telemetry(one.sled.name).parts.items() if part.locate]
        assert len(lit) == (value == on)


def test_a_host_is_found_by_its_blades_lamp(alone: Asker) -> None:
    alone.ask("PATCH", "/redfish/v1/Systems/Blade3", {"LocationIndicatorActive": True})
    assert alone.get("/redfish/v1/Chassis/Blade3")["LocationIndicatorActive"] is True
    assert alone.get("/redfish/v1/Chassis/Blade2")["LocationIndicatorActive"] is False


def test_what_carries_no_lamp_offers_none(one: Asker) -> None:
    drive = one.get("/redfish/v1/Chassis/Blade1")["Links"]["Drives"][0]["@odata.id"]
    assert "LocationIndicatorActive" not in one.get(drive)
    assert one.ask("PATCH", drive, {"LocationIndicatorActive": True}).status == 405


@pytest.mark.parametrize(
    ("body", "keys"),
    [
        ({"LocationIndicatorActive": "yes"}, ["PropertyValueTypeError"]),
        ({"SerialNumber": "1"}, ["PropertyNotWritable"]),
        ({"Colour": "blue"}, ["PropertyUnknown"]),
        ({"Colour": 1, "Model": 2}, ["PropertyUnknown", "PropertyNotWritable"]),
        ({}, ["EmptyJSON"]),
        ({"@odata.id": "/x"}, ["NoOperation"]),
        ([1], ["UnrecognizedRequestBody"]),
        (b"[" * 50_000, ["MalformedJSON"]),
    ],
)
def test_a_patch_of_which_nothing_can_be_done_is_refused(one: Asker, body: Any, keys: list[str]) -> None:
    assert one.error("PATCH", "/redfish/v1/Chassis/Sled", body) == (400, keys)


def test_a_patch_of_which_a_part_can_be_done_says_what_was_left_out(alone: Asker) -> None:
    body = {"LocationIndicatorActive": True, "Colour": "blue"}
    told = json.loads(alone.ask("PATCH", "/redfish/v1/Chassis/Sled", body).body)
    assert told["LocationIndicatorActive"] is True
    [info] = told["@Message.ExtendedInfo"]
    assert info["MessageId"].endswith(".PropertyUnknown")
    assert info["RelatedProperties"] == ["#/Colour"]


def test_the_older_lamp_takes_only_the_words_of_the_schema() -> None:
    one = asker("quad", "classic")
    bad = one.error("PATCH", "/redfish/v1/Chassis/Sled", {"IndicatorLED": "Purple"})
    assert bad == (400, ["PropertyValueNotInList"])
    assert one.error("PATCH", "/redfish/v1/Chassis/Sled", {"IndicatorLED": True}) == (400, ["PropertyValueTypeError"])
