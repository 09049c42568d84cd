"""Who may ask a simulated service: sessions and basic authentication, as DSP0266 ("Authentication") has them."""

from __future__ import annotations

import base64
import json
from typing import Any

import pytest

from simulators.service.http import Reply
from simulators.service.root import SESSION_TIMEOUT, SESSIONS
from tests.simulators.service_kit import PASSWORD, USER, Asker, asker

LOGIN = {"UserName": USER, "Password": PASSWORD}


def log_in(one: Asker) -> Reply:
    reply = one.ask("POST", SESSIONS, LOGIN)
    assert reply.status == 201
    return reply


def stranger(**options: Any) -> Asker:
    one = asker(**options)
    one.headers = {}
    return one


@pytest.mark.parametrize(
    "path", ["/redfish", "/redfish/v1", "/redfish/v1/", "/redfish/v1/odata", "/redfish/v1/$metadata"]
)
def test_what_a_client_reads_before_it_logs_in_is_open(path: str) -> None:
    assert stranger().ask("GET", path).status == 200


@pytest.mark.parametrize("path", ["/redfish/v1/Chassis", "/redfish/v1/SessionService", SESSIONS, "/nowhere"])
def test_all_else_asks_for_a_login(path: str) -> None:
    one = stranger()
    reply = one.ask("GET", path)
    assert reply.status == 401
    assert (reply.header("WWW-Authenticate") or "").startswith("Basic ")
    assert one.error("GET", path) == (401, ["NoValidSession"])


def test_a_session_opens_is_used_and_closes() -> None:
    one = stranger()
    reply = log_in(one)
    where, token = reply.header("Location"), reply.header("X-Auth-Token")
    assert where
    assert token
    body = json.loads(reply.body)
    assert body["@odata.id"] == where
    assert body["UserName"] == USER
    assert PASSWORD not in reply.body.decode()
    one.headers = {"x-auth-token": token}
    assert one.get(SESSIONS)["Members"] == [{"@odata.id": where}]
    assert one.get(where)["Id"] == body["Id"]
    assert token not in json.dumps(one.get(where))
    assert one.ask("DELETE", where).status == 204
    assert one.error("GET", "/redfish/v1/Chassis") == (401, ["NoValidSession"])


def test_a_session_ends_after_its_idle_time_and_not_before() -> None:
    one = stranger()
    one.headers = {"x-auth-token": log_in(one).header("X-Auth-Token") or ""}
    assert one.get("/redfish/v1/SessionService")["SessionTimeout"] == SESSION_TIMEOUT
    for _ in range(3):
        one.now += SESSION_TIMEOUT - 1
        one.get("/redfish/v1/Chassis")
    one.now += SESSION_TIMEOUT + 1
    assert one.ask("GET", "/redfish/v1/Chassis").status == 401


def test_the_session_table_is_bounded_and_frees_what_is_over() -> None:
    one = stranger(max_sessions=2)
    log_in(one), log_in(one)
    assert one.error("POST", SESSIONS, LOGIN) == (503, ["SessionLimitExceeded"])
    one.now += SESSION_TIMEOUT + 1
    log_in(one)


def test_wrong_and_half_credentials_open_nothing() -> None:
    one = stranger()
    assert one.error("POST", SESSIONS, {"UserName": USER, "Password": "guess"}) == (401, ["AccessUnauthorized"])
    assert one.error("POST", SESSIONS, {"UserName": USER}) == (400, ["PropertyMissing"])
    assert one.error("POST", SESSIONS, {}) == (400, ["PropertyMissing", "PropertyMissing"])
    assert one.error("POST", SESSIONS, {"UserName": 1, "Password": []})[1] == ["PropertyValueTypeError"] * 2
    assert one.error("POST", SESSIONS, b"{") == (400, ["MalformedJSON"])
    assert one.error("POST", SESSIONS, []) == (400, ["UnrecognizedRequestBody"])
    assert len(one.service.login.sessions) == 0


@pytest.mark.parametrize(
    "header", ["Basic", "Basic !!!", "Basic " + base64.b64encode(b"monitor:").decode(), "Bearer x", ""]
)
def test_bad_basic_authentication_is_refused(header: str) -> None:
    one = asker()
    one.headers = {"authorization": header}
    assert one.ask("GET", "/redfish/v1/Chassis").status == 401


def test_a_stale_token_is_refused_even_beside_good_basic_credentials() -> None:
    assert asker().ask("GET", "/redfish/v1/Chassis", x_auth_token="gone").status == 401
    assert asker().ask("GET", "/redfish/v1/Chassis").status == 200


def test_the_members_form_of_the_login_address_works_too() -> None:
    assert stranger().ask("POST", f"{SESSIONS}/Members", LOGIN).status == 201


def test_sessions_expand_where_the_dialect_expands() -> None:
    one = asker()
    log_in(one)
    member = one.get(f"{SESSIONS}?$expand=.")["Members"][0]
    assert member["UserName"] == USER
    assert one.ask("PATCH", SESSIONS, {}).status == 405
    assert one.ask("POST", f"{SESSIONS}/99").status == 404


def test_a_reboot_forgets_sessions_and_comes_back_by_way_of_503() -> None:
    one = asker(own_world=True)
    session = log_in(one).header("X-Auth-Token") or ""
    one.world.inject("controller-rebooting", f"{one.sled.name}/controller", seconds=60.0)
    one.service.observe(one.now)
    assert not one.service.listening
    one.world.advance(61.0)
    one.service.observe(one.now)
    assert one.service.listening
    assert one.error("GET", "/redfish/v1/")[1] == ["ServiceTemporarilyUnavailable"]
    reply = one.ask("GET", "/redfish/v1/")
    assert reply.status == 503
    one.now += float(reply.header("Retry-After") or "nan")
    assert one.get("/redfish/v1/")["Id"] == "RootService"
    assert one.ask("GET", "/redfish/v1/Chassis", x_auth_token=session).status == 401
