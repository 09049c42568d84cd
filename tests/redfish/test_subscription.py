"""The one subscription at a controller: against an invented event service that fails in every way, and DSP2043's."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest

from collector.model import DefectKind
from collector.redfish.event_way import Way, WayKind, way
from collector.redfish.flow import Answer, Ask, answered, drive
from collector.redfish.log_places import LogPlace
from collector.redfish.subscription import Kept, Ours, bodies, context_token, end, is_ours, keep
from collector.redfish.wire import Reply
from tests.conftest import standard
from tests.redfish.flows import NOT_FOUND, PLACE, from_folder, published, run

SUBSCRIPTIONS = "/redfish/v1/EventService/Subscriptions"
OURS = Ours("https://collector.example:9461/events/n2-e1-s1", context_token(b"secret", "n2-e1-s1"))
FOREIGN = {"Destination": "https://elsewhere.example/events", "Protocol": "Redfish", "Context": "someone else"}
MODERN = {"@odata.type": "#EventService.v1_12_0.EventService", "EventFormatTypes": ["Event", "MetricReport"]}
OLD = {
    "@odata.type": "#EventService.v1_0_8.EventService",
    "EventTypesForSubscription": ["StatusChange", "Alert", "MetricReport"],
}


class Events:
    """An event service's subscriptions. ``takes`` names the properties that a POST may have."""

    def __init__(
        self, *, room: int = 20, takes: set[str] | None = None, needs: str = "", expanded: bool = False
    ) -> None:
        self.room = room
        self.takes = takes
        self.needs = needs
        self.expanded = expanded
        self.there: dict[str, dict[str, Any]] = {}
        self.made = 0
        self.asked: list[Ask] = []
        self.most_of_ours = 0
        self.location = True
        self.fail: dict[tuple[str, str], Answer] = {}

    def add(self, body: dict[str, Any]) -> str:
        self.made += 1
        path = f"{SUBSCRIPTIONS}/{self.made}"
        self.there[path] = {"@odata.id": path, "Id": str(self.made), **body}
        ours = [one for one in self.there.values() if one.get("Context") == OURS.token]
        self.most_of_ours = max(self.most_of_ours, len(ours))
        return path

    def ours(self) -> list[str]:
        return [
            path
            for path, body in self.there.items()
            if body.get("Context") == OURS.token or body.get("Destination") == OURS.destination
        ]

    def __call__(self, ask: Ask) -> Answer:
        self.asked.append(ask)
        if (ask.method, ask.path) in self.fail:
            return self.fail[ask.method, ask.path]
        if ask.path == SUBSCRIPTIONS:
            return self._collection() if ask.method == "GET" else self._post(ask.body or {})
        if ask.path.endswith("/Resume"):
            self.there[ask.path.removesuffix("/Resume")]["Status"]["State"] = "Enabled"
            return Answer(204)
        if ask.path not in self.there:
            return NOT_FOUND
        if ask.method == "DELETE":
            del self.there[ask.path]
            return Answer(204)
        return Answer(200, self.there[ask.path])

    def _collection(self) -> Answer:
        members = list(self.there.values()) if self.expanded else [{"@odata.id": path} for path in self.there]
        return Answer(200, {"Members": members})

    def _post(self, body: dict[str, Any]) -> Answer:
        if len(self.there) >= self.room:
            return Answer(503, keys=("EventSubscriptionLimitExceeded",), text="No room.")
        if self.takes is not None and not set(body) <= self.takes:
            return Answer(400, keys=("PropertyUnknown",), text="What is that?")
        if self.needs and self.needs not in body:
            return Answer(400, keys=("CreateFailedMissingReqProperties",), text=f"{self.needs} is missing.")
        path = self.add(body)
        return Answer(201, self.there[path], location=path if self.location else "")


def look(events: Events, service: dict[str, Any] = MODERN, **more: Any) -> Kept:
    return run(keep(SUBSCRIPTIONS, service, OURS, PLACE, **more), events)


def test_made_once_and_then_found() -> None:
    events = Events()
    events.add(FOREIGN)
    first = look(events)
    assert first == Kept(path=f"{SUBSCRIPTIONS}/2", made=True)
    assert look(events, held=first.path) == Kept(path=first.path)
    assert look(events) == Kept(path=first.path)  # after a restart that lost everything but the secret
    assert events.there[first.path] == {
        "@odata.id": first.path,
        "Id": "2",
        "Destination": OURS.destination,
        "Protocol": "Redfish",
        "Context": OURS.token,
        "SubscriptionType": "RedfishEvent",
        "EventFormatType": "Event",
        "DeliveryRetryPolicy": "TerminateAfterRetries",
    }


def test_ended_without_touching_others() -> None:
    events = Events()
    foreign = events.add(FOREIGN)
    look(events)
    assert run(end(SUBSCRIPTIONS, OURS, PLACE), events) == Kept(removed=1)
    assert list(events.there) == [foreign]
    assert run(end(SUBSCRIPTIONS, OURS, PLACE), events) == Kept()


def test_gone_is_made_again() -> None:
    events = Events()
    first = look(events)
    events.there.clear()  # TerminateAfterRetries, a reset, a firmware update
    again = look(events, held=first.path)
    assert again.made
    assert events.ours() == [again.path]


def test_stale_and_surplus_ones_go() -> None:
    events = Events()
    stale = {"Protocol": "Redfish"}
    events.add({**stale, "Destination": "https://old.example/events", "Context": OURS.token})
    events.add({**stale, "Destination": OURS.destination.upper().replace("/EVENTS/N2-E1-S1", "/events/n2-e1-s1/")})
    right = events.add({**stale, "Destination": OURS.destination, "Context": OURS.token})
    events.add({**stale, "Destination": OURS.destination, "Context": OURS.token})
    events.add({**stale, "Destination": OURS.destination, "Context": "sledkeeper-of-a-lost-secret"})
    events.add({**stale, "Destination": OURS.destination, "Context": OURS.token, "EventFormatType": "MetricReport"})
    foreign = events.add(FOREIGN)
    stream = events.add({"Destination": OURS.destination, "Context": OURS.token, "SubscriptionType": "SSE"})
    kept = look(events, held=right)
    assert (kept.path, kept.made, kept.removed) == (right, False, 5)
    assert list(events.there) == [right, foreign, stream]


def test_a_suspended_one_is_resumed_or_made_anew() -> None:
    # EventDestination: "The value of the `State` property within `Status` shall contain `Disabled`"
    events = Events()
    first = look(events)
    events.there[first.path]["Status"] = {"State": "Disabled"}
    target = {"#EventDestination.ResumeSubscription": {"target": first.path + "/Resume"}}
    events.there[first.path]["Actions"] = target
    assert look(events) == Kept(path=first.path, resumed=True)
    events.there[first.path]["Status"] = {"State": "Disabled"}
    events.fail["POST", first.path + "/Resume"] = Answer(500)
    again = look(events)
    assert (again.made, again.removed) == (True, 1)
    assert events.ours() == [again.path]
    assert events.most_of_ours == 1


@pytest.mark.parametrize(
    ("service", "takes", "needs", "expected"),
    [
        (
            OLD,
            {"Destination", "Protocol", "Context", "EventTypes"},
            "EventTypes",
            {"EventTypes": ["StatusChange", "Alert"]},
        ),
        (MODERN, {"Destination", "Protocol", "Context"}, "", {}),
        (
            {**MODERN, "RegistryPrefixes": ["Environmental", "Power"]},
            None,
            "RegistryPrefixes",
            {"RegistryPrefixes": ["Environmental", "Power"]},
        ),
        (MODERN, None, "MessageIds", {"MessageIds": ["Power.PowerSupplyFailed"]}),
        (
            {**MODERN, **OLD},
            {"Destination", "Protocol", "Context", "EventTypes"},
            "EventTypes",
            {"EventTypes": ["StatusChange", "Alert"]},
        ),
    ],
)
def test_services_that_take_or_need_only_some_properties(
    service: dict[str, Any], takes: set[str] | None, needs: str, expected: dict[str, Any]
) -> None:
    events = Events(takes=takes, needs=needs)
    kept = look(events, service, message_ids=["Power.PowerSupplyFailed"])
    assert kept.made
    body = events.there[kept.path]
    assert {name: body[name] for name in ("EventTypes", "RegistryPrefixes", "MessageIds") if name in body} == expected
    assert look(events, service).path == kept.path


def test_properties_sent_are_the_schema_s() -> None:
    # EventDestination CSDL; and EventTypes never beside what replaced it (deprecated in 1.5)
    text = standard("redfish", "csdl", "EventDestination_v1.xml").read_text(encoding="utf-8")
    for service in (OLD, MODERN, {**MODERN, **OLD, "RegistryPrefixes": ["Power"]}):
        for body in bodies(service, OURS, ["Power.PowerSupplyFailed"]):
            assert all(f'Property Name="{name}"' in text for name in body)
            assert not {"EventTypes", "RegistryPrefixes"} <= set(body)
            assert {"Destination", "Protocol", "Context"} <= set(body)
    assert 'Member Name="TerminateAfterRetries"' in text


def test_no_room() -> None:
    events = Events(room=1)
    events.add(FOREIGN)
    kept = look(events)
    assert (kept.path, kept.full, kept.refused) == ("", True, False)
    assert len([ask for ask in events.asked if ask.method == "POST"]) == 1


@pytest.mark.parametrize(("status", "refused"), [(400, True), (403, True), (503, False), (429, False)])
def test_refusals(status: int, refused: bool) -> None:
    events = Events()
    events.fail["POST", SUBSCRIPTIONS] = Answer(status, text="No.")
    kept = look(events)
    assert (kept.path, kept.refused) == ("", refused)
    assert "No." in kept.trouble
    assert [defect.kind for defect in kept.defects] == [DefectKind.HTTP_ERROR]


def test_what_can_t_be_seen_is_not_doubled() -> None:
    events = Events()
    path = events.add({"Destination": OURS.destination, "Context": OURS.token, "Protocol": "Redfish"})
    for failing in (("GET", SUBSCRIPTIONS), ("GET", path)):
        events.fail = {failing: Answer(503)}
        kept = look(events)
        assert kept.path == ""
        assert kept.trouble
    assert events.ours() == [path]


def test_one_that_can_t_be_deleted_is_not_doubled() -> None:
    events = Events()
    path = events.add({"Destination": OURS.destination, "Context": "old", "Protocol": "Redfish"})
    events.fail["DELETE", path] = Answer(405)
    kept = look(events)
    assert "can't be deleted" in kept.trouble
    assert events.ours() == [path]


def test_a_service_that_makes_it_and_says_it_failed() -> None:
    events = Events()
    inner = events._post

    def failing(body: dict[str, Any]) -> Answer:
        inner(body)
        return Answer(500)

    events._post = failing  # type: ignore[method-assign]
    kept = look(events)
    assert kept.made
    assert events.ours() == [kept.path]
    assert events.most_of_ours == 1


def test_no_location() -> None:
    events = Events(expanded=True)
    events.location = False
    inner = events._post
    events._post = lambda body: Answer(inner(body).status)  # type: ignore[method-assign]
    kept = look(events)
    assert events.ours() == [kept.path]


def test_a_service_that_gives_nothing_back_is_left_alone() -> None:
    events = Events()
    path = events.add({"Destination": OURS.destination, "Context": None, "Protocol": "Redfish"})
    assert look(events) == Kept(path=path)


@pytest.mark.parametrize("seed", range(10))
def test_cut_off_anywhere_never_more_than_one_and_none_left(seed: int) -> None:
    """A thousand looks with kills before and after any request, and lost answers; then a clean exit."""
    chance = random.Random(seed)
    events = Events(expanded=chance.random() < 0.5)
    foreign = events.add(FOREIGN)
    for _ in range(100):
        flow = keep(SUBSCRIPTIONS, MODERN, OURS, PLACE)
        try:
            ask = next(flow)
            while chance.random() > 0.15:
                answer = events(ask)
                if chance.random() < 0.1:
                    break  # the answer was lost
                ask = flow.send(answer)
        except StopIteration:
            assert len(events.ours()) == 1
        flow.close()
        assert len(events.ours()) <= 1
        if chance.random() < 0.1:
            events.there = {path: body for path, body in events.there.items() if body.get("Context") != OURS.token}
    assert events.most_of_ours == 1
    run(end(SUBSCRIPTIONS, OURS, PLACE), events)
    assert list(events.there) == [foreign]


def test_tokens() -> None:
    assert context_token(b"a", "x") == context_token(b"a", "x")
    assert len({context_token(b"a", "x"), context_token(b"b", "x"), context_token(b"a", "y")}) == 3
    assert is_ours(OURS.token, OURS)
    assert not is_ours(OURS.token[:-1], OURS)
    assert not is_ours(None, OURS)
    assert not is_ours("\ud800", OURS)


@pytest.mark.parametrize("folder", ["public-rackmount1", "public-iiot", "public-bladed", "public-pdu"])
def test_the_published_subscriptions_are_none_of_ours(folder: str) -> None:
    service = from_folder(standard("redfish", "mockups", folder))
    asked: list[Ask] = []
    assert run(end(SUBSCRIPTIONS, OURS, PLACE), service, asked) == Kept()
    assert {ask.method for ask in asked} == {"GET"}


# The way

ROOT = {"EventService": {"@odata.id": "/redfish/v1/EventService"}}
SERVICE = {"ServerSentEventUri": "/redfish/v1/EventService/SSE", "Subscriptions": {"@odata.id": SUBSCRIPTIONS}}
LOGS = (LogPlace("/log/Entries", "/log"),)


@pytest.mark.parametrize(
    ("root", "service", "logs", "address", "failed", "kind"),
    [
        (ROOT, SERVICE, LOGS, "https://x", (), WayKind.STREAM),
        (ROOT, SERVICE, LOGS, "https://x", (WayKind.STREAM,), WayKind.PUSH),
        (ROOT, SERVICE, LOGS, None, (WayKind.STREAM,), WayKind.LOGS),
        (ROOT, {**SERVICE, "ServerSentEventUri": None}, LOGS, "https://x", (), WayKind.PUSH),
        (ROOT, {**SERVICE, "ServerSentEventUri": "https://elsewhere.example/s"}, LOGS, "https://x", (), WayKind.PUSH),
        (ROOT, {}, LOGS, "https://x", (), WayKind.LOGS),
        (ROOT, {**SERVICE, "ServiceEnabled": False}, LOGS, "https://x", (), WayKind.LOGS),
        (ROOT, {**SERVICE, "Status": {"State": "Disabled"}}, LOGS, "https://x", (), WayKind.LOGS),
        (ROOT, None, LOGS, "https://x", (), WayKind.LOGS),
        ({}, SERVICE, LOGS, "https://x", (), WayKind.LOGS),
        ({}, None, (), None, (), WayKind.NONE),
    ],
)
def test_ways(root: Any, service: Any, logs: Any, address: str | None, failed: Any, kind: WayKind) -> None:
    found = way(root, service, logs, address, PLACE, failed=failed)
    assert found.kind is kind
    better = list(WayKind).index(kind)
    assert len(found.why) == better
    assert found.logs == logs


def test_the_ways_of_the_published_event_services() -> None:
    def kind(body: dict[str, Any]) -> Way:
        return way(ROOT, body, LOGS, "https://x", PLACE)

    found = {where: kind(body).kind for where, body in published("EventService")}
    assert found.pop("DSP2046-examples/EventService-v1-example.json") is WayKind.STREAM
    assert len(found) == 7
    assert set(found.values()) == {WayKind.PUSH}


# Flows and the wire


@pytest.mark.parametrize(
    ("method", "status", "body", "kind"),
    [
        ("GET", 200, b'{"a": 1}', None),
        ("GET", 200, b"<html>", DefectKind.NOT_JSON),
        ("GET", 200, b"", DefectKind.NOT_JSON),
        ("GET", 304, b"", None),
        ("POST", 204, b"", None),
        ("POST", 201, b"Created.", None),
        ("DELETE", 200, b"<html>", None),
        ("GET", 404, b"<html>", None),
    ],
)
def test_answers_off_the_wire(method: str, status: int, body: bytes, kind: DefectKind | None) -> None:
    reply = Reply(status, [(b"etag", b'"1"'), (b"location", b"/there")], body)
    answer = answered(Ask(method, "/x"), reply, "n2-e1-s1")
    assert (answer.status, answer.etag, answer.location) == (status, '"1"', "/there")
    assert (answer.unread[0] if answer.unread else None) is kind
    assert answer.good is (status < 300 and kind is None)


def test_error_bodies_tell_their_keys() -> None:
    info = {"MessageId": "Base.1.8.EventSubscriptionLimitExceeded", "Message": "No room."}
    body = json.dumps({"error": {"@Message.ExtendedInfo": [info]}}).encode()
    answer = answered(Ask("POST", "/x"), Reply(503, [], body), "n2-e1-s1")
    assert (answer.keys, answer.text) == (("EventSubscriptionLimitExceeded",), "No room.")


async def test_a_flow_is_driven_and_closed() -> None:
    events = Events()

    async def exchange(ask: Ask) -> Answer:
        return events(ask)

    assert (await drive(keep(SUBSCRIPTIONS, MODERN, OURS, PLACE), exchange)).made

    async def broken(ask: Ask) -> Answer:
        raise ConnectionResetError

    flow = keep(SUBSCRIPTIONS, MODERN, OURS, PLACE)
    with pytest.raises(ConnectionResetError):
        await drive(flow, broken)
    assert flow.gi_frame is None  # type: ignore[attr-defined]
