"""Subscriptions of a simulated event service: made, read, changed, bounded, and who is told what."""

from __future__ import annotations

from typing import Any

import pytest

from simulators.service.events import Events
from simulators.service.journal import Journal, Record
from simulators.service.subscribe import is_loopback
from simulators.service.subscriptions import Filter, Subscription
from tests.simulators.event_kit import STREAM, SUBSCRIPTIONS, TEST_EVENT, scene
from tests.simulators.service_kit import NOW, Asker

GOOD: dict[str, Any] = {"Destination": "https://127.0.0.1:9/events", "Protocol": "Redfish"}


def subscribe(one: Asker, **more: Any) -> Subscription:
    reply = one.ask("POST", SUBSCRIPTIONS, GOOD | more)
    assert reply.status == 201, reply.body
    found = events(one).table.get((reply.header("Location") or "").rpartition("/")[2])
    assert found is not None
    return found


def events(one: Asker) -> Events:
    assert one.service.events is not None
    return one.service.events


def told(one: Asker, subscription: Subscription) -> list[str]:
    """Keys of what a subscriber is told next, which then counts as told."""
    records = events(one).due(subscription)
    if records:
        subscription.told(records)
    return [record.message.rpartition(".")[2] for record in records]


@pytest.mark.parametrize("dialect", ["modern", "push", "reports"])
def test_a_subscription_is_made_read_changed_and_deleted(dialect: str) -> None:
    one, _ = scene(dialect)
    reply = one.ask("POST", SUBSCRIPTIONS, GOOD | {"Context": "rack 1", "RegistryPrefixes": ["SensorEvent"]})
    assert reply.status == 201
    path = reply.header("Location")
    assert path == f"{SUBSCRIPTIONS}/1"
    body = one.get(path)
    assert (body["Destination"], body["Context"]) == (GOOD["Destination"], "rack 1")
    assert body["RegistryPrefixes"] == ["SensorEvent"]
    assert body["SubscriptionType"] == "RedfishEvent"
    assert body["DeliveryRetryPolicy"] == "TerminateAfterRetries"
    assert [member["@odata.id"] for member in one.get(SUBSCRIPTIONS)["Members"]] == [path]
    changed = one.ask("PATCH", path, {"Context": "rack 2", "DeliveryRetryPolicy": "RetryForever"})
    assert changed.status == 200
    assert one.get(path)["Context"] == "rack 2"
    assert one.error("PATCH", path, {"Destination": "https://127.0.0.1/"}) == (400, ["PropertyNotWritable"])
    assert one.error("PATCH", path, {"Context": 7}) == (400, ["PropertyValueTypeError"])
    assert one.ask("DELETE", path).status == 204
    assert one.get(SUBSCRIPTIONS)["Members"] == []
    assert one.error("GET", path) == (404, ["ResourceMissingAtURI"])


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"Protocol": "FTP"}, "PropertyValueNotInList"),
        ({"Protocol": None}, "PropertyValueTypeError"),
        ({"Destination": 5}, "PropertyValueTypeError"),
        ({"Destination": "nowhere"}, "PropertyValueFormatError"),
        ({"Destination": "ftp://127.0.0.1/"}, "PropertyValueFormatError"),
        ({"Destination": "https://127.0.0.1:99999/"}, "PropertyValueFormatError"),
        ({"Destination": "https://192.0.2.7/events"}, "CouldNotEstablishConnection"),
        ({"Destination": "https://127.0.0.1.example.net/"}, "CouldNotEstablishConnection"),
        ({"Destination": "https://127.0.0.1@192.0.2.7/"}, "CouldNotEstablishConnection"),
        ({"SubscriptionType": "SSE"}, "PropertyValueNotInList"),
        ({"EventFormatType": "MetricReport"}, "PropertyValueNotInList"),
        ({"RegistryPrefixes": ["Nobody"]}, "PropertyValueNotInList"),
        ({"RegistryPrefixes": "SensorEvent"}, "PropertyValueTypeError"),
        ({"MessageIds": ["Nobody.1.0.Knows"]}, "PropertyValueNotInList"),
        ({"OriginResources": [{"@odata.id": "/redfish/v1/Nowhere"}]}, "ResourceMissingAtURI"),
        ({"OriginResources": ["/redfish/v1/Chassis"]}, "PropertyValueTypeError"),
        ({"HttpHeaders": [{"X-Key": "a\r\nX-Other: b"}]}, "PropertyValueFormatError"),
        ({"VerifyCertificate": True}, "PropertyValueNotInList"),
        ({"IncludeOriginOfCondition": True}, "PropertyValueNotInList"),
        ({"Colour": "red"}, "PropertyUnknown"),
    ],
)
def test_a_subscription_that_can_not_be_kept_is_refused(change: dict[str, Any], key: str) -> None:
    one, _ = scene()
    assert one.error("POST", SUBSCRIPTIONS, GOOD | change) == (400, [key])
    assert one.get(SUBSCRIPTIONS)["Members"] == []


def test_what_is_missing_is_named() -> None:
    one, _ = scene()
    assert one.error("POST", SUBSCRIPTIONS, {}) == (400, ["PropertyMissing", "PropertyMissing"])
    assert one.error("POST", SUBSCRIPTIONS, b"{") == (400, ["MalformedJSON"])
    assert one.error("POST", SUBSCRIPTIONS, b"[]") == (400, ["UnrecognizedRequestBody"])


@pytest.mark.parametrize(("dialect", "most"), [("modern", 8), ("push", 4)])
def test_the_number_of_subscriptions_is_bounded(dialect: str, most: int) -> None:
    one, _ = scene(dialect)
    for _ in range(most):
        last = subscribe(one)
    assert one.error("POST", SUBSCRIPTIONS, GOOD) == (503, ["EventSubscriptionLimitExceeded"])
    assert one.ask("DELETE", f"{SUBSCRIPTIONS}/{last.id}").status == 204
    subscribe(one)


def test_headers_of_a_subscriber_are_never_told_again() -> None:
    one, _ = scene()
    made = subscribe(one, HttpHeaders=[{"X-Key": "open sesame"}])
    assert made.headers == (("X-Key", "open sesame"),)
    assert b"open sesame" not in one.ask("GET", f"{SUBSCRIPTIONS}/{made.id}").body


def test_a_dialect_with_logs_only_has_no_event_service_and_one_by_push_only_no_stream() -> None:
    logs_only, _ = scene("classic")
    assert "EventService" not in logs_only.get("/redfish/v1/")
    assert logs_only.error("POST", SUBSCRIPTIONS, GOOD) == (404, ["ResourceMissingAtURI"])
    push_only, _ = scene("push")
    assert "ServerSentEventUri" not in push_only.get("/redfish/v1/EventService")
    assert push_only.error("GET", STREAM) == (404, ["ResourceMissingAtURI"])
    assert scene("modern")[0].get("/redfish/v1/EventService")["ServerSentEventUri"] == STREAM


def test_a_subscriber_is_told_what_happens_from_now_on() -> None:
    one, source = scene()
    source.ill("fan1", "Warning")
    one.service.look(NOW)
    made = subscribe(one)
    assert told(one, made) == []
    source.ill("fan1", "Critical")
    one.service.look(NOW)
    assert told(one, made) == ["FanFailed"]
    assert told(one, made) == []


@pytest.mark.parametrize(
    ("wants", "gets"),
    [
        ({}, ["ReadingAboveUpperCriticalThreshold", "FanFailed", "ResourceStatusChangedWarning"]),
        ({"RegistryPrefixes": ["Environmental"]}, ["FanFailed"]),
        ({"RegistryPrefixes": ["Environmental", "ResourceEvent"]}, ["FanFailed", "ResourceStatusChangedWarning"]),
        ({"MessageIds": ["Environmental.1.0.FanFailed"]}, ["FanFailed"]),
        ({"MessageIds": ["Environmental.FanFailed"]}, ["FanFailed"]),
        ({"MessageIds": ["Environmental.1.0.FanRestored"]}, []),
        ({"ResourceTypes": ["Sensor"]}, ["ReadingAboveUpperCriticalThreshold"]),
        ({"ResourceTypes": ["Fan.v1_0_0.Fan"]}, ["FanFailed"]),
        ({"OriginResources": [{"@odata.id": "/redfish/v1/Chassis/Blade2"}]}, ["ResourceStatusChangedWarning"]),
        ({"OriginResources": [{"@odata.id": "/redfish/v1/Chassis/Sled"}]}, []),
        (
            {"OriginResources": [{"@odata.id": "/redfish/v1/Chassis/Sled"}], "SubordinateResources": True},
            ["ReadingAboveUpperCriticalThreshold", "FanFailed"],
        ),
        ({"Severities": ["Warning"]}, ["ResourceStatusChangedWarning"]),
    ],
)
def test_a_subscriber_is_told_what_it_asked_for(wants: dict[str, Any], gets: list[str]) -> None:
    one, source = scene()
    made = subscribe(one, **wants)
    limit = source.telemetry().sensors["SledInlet"].spec.thresholds.upper_critical
    assert limit is not None
    source.sensor("SledInlet", limit + 1)
    source.ill("fan1", "Critical")
    source.ill("blade2", "Warning")
    one.service.look(NOW)
    assert told(one, made) == gets


def test_a_slow_subscriber_loses_the_oldest_and_knows_how_many() -> None:
    journal = Journal(10)
    slow = Subscription(id="1", destination=None, context=None, filter=Filter(), policy="RetryForever", sent=0)
    for number in range(1, 26):
        journal.write(Record(number=number, time=NOW, message="ResourceEvent.1.4.TestMessage"))
    assert [record.number for record in slow.due(journal, lambda _: "", 4)] == [16, 17, 18, 19]
    assert slow.lost == 15


def test_a_test_event_reaches_subscribers_and_no_log() -> None:
    one, _ = scene()
    made = subscribe(one, Context="here")
    before = one.get("/redfish/v1/Managers/Controller/LogServices/Events/Entries")["Members@odata.count"]
    body = {"MessageId": "ResourceEvent.1.4.TestMessage", "MessageArgs": [], "Severity": "Warning"}
    assert one.ask("POST", TEST_EVENT, body).status == 204
    [record] = events(one).due(made)
    message = events(one).message(made, [record])
    assert message["Context"] == "here"
    [event] = message["Events"]
    assert (event["MessageId"], event["MessageSeverity"]) == ("ResourceEvent.1.4.TestMessage", "Warning")
    assert event["EventTimestamp"] == "2027-01-15T08:00:00.000Z"
    after = one.get("/redfish/v1/Managers/Controller/LogServices/Events/Entries")["Members@odata.count"]
    assert before == after
    assert one.error("POST", TEST_EVENT, {"Colour": 1}) == (400, ["ActionParameterUnknown"])
    assert one.error("POST", TEST_EVENT, {"MessageArgs": [1]}) == (400, ["ActionParameterValueTypeError"])
    assert one.error("POST", TEST_EVENT, {"Severity": "Bad"}) == (400, ["ActionParameterValueNotInList"])
    assert one.error("GET", TEST_EVENT) == (405, ["OperationNotAllowed"])


def test_events_of_one_cause_share_a_group_and_name_their_log_entry() -> None:
    one, source = scene()
    made = subscribe(one)
    source.sensor("Fan1Tach", 0.0)
    source.ill("fan1", "Critical")
    source.ill("blade1", "Warning")
    one.service.look(NOW)
    message = events(one).message(made, events(one).due(made))
    groups = [event["EventGroupId"] for event in message["Events"]]
    assert groups[0] == groups[1] != groups[2]
    for event in message["Events"]:
        entry = one.get(event["LogEntry"]["@odata.id"])
        assert (entry["MessageId"], entry["EventId"]) == (event["MessageId"], event["EventId"])
        assert entry["Links"]["OriginOfCondition"] == event["OriginOfCondition"]
    assert message["Id"] == message["Events"][-1]["EventId"]


def test_only_names_and_addresses_of_this_machine_are_loopback() -> None:
    """127.0.0.0/8 and ::1: RFC 1122 section 3.2.1.3, RFC 4291 section 2.5.3."""
    assert all(is_loopback(host) for host in ("127.0.0.1", "127.9.8.7", "::1", "localhost"))
    assert not any(is_loopback(host) for host in ("128.0.0.1", "::2", "localhost.example.net", "0.0.0.0", ""))
