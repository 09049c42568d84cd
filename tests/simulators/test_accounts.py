"""Accounts and roles of a simulated service (DSP0266, "Security"; DSP0268, ManagerAccount)."""

from __future__ import annotations

import json
from typing import Any

import pytest

from simulators.service.accounts import ACCOUNT_SERVICE, ACCOUNTS, PRIVILEGES
from simulators.service.root import SESSIONS
from tests.conftest import standard
from tests.simulators.service_kit import ADMIN, Asker, asker, basic

NEW: dict[str, Any] = {"UserName": "guest", "Password": "a long secret", "RoleId": "ReadOnly"}


@pytest.fixture(params=["modern", "classic"])
def one(request: pytest.FixtureRequest) -> Asker:
    return asker("quad", request.param)


def make(one: Asker, **more: Any) -> str:
    reply = one.ask("POST", ACCOUNTS, NEW | more, **ADMIN)
    assert reply.status == 201, reply.body
    path = reply.header("Location")
    assert path is not None
    return path


def test_privileges_are_those_of_the_standard_s_roles() -> None:
    """DSP0266, "Roles"; the words are checked against the privilege registry of DSP8011."""
    registry = json.loads(standard("redfish", "registries", "Redfish_1.8.0_PrivilegeRegistry.json").read_text())
    known = set(registry["PrivilegesUsed"])
    assert {privilege for told in PRIVILEGES.values() for privilege in told} <= known
    assert set(PRIVILEGES["ReadOnly"]) < set(PRIVILEGES["Operator"]) < set(PRIVILEGES["Administrator"])


def test_the_roles_of_the_built_in_accounts_lead_to_their_privileges(one: Asker) -> None:
    service = one.get(ACCOUNT_SERVICE)
    roles = [one.get(member["@odata.id"]) for member in one.get(service["Roles"]["@odata.id"])["Members"]]
    assert {role["Id"]: tuple(role["AssignedPrivileges"]) for role in roles} == PRIVILEGES
    members = one.get(service["Accounts"]["@odata.id"])["Members"]
    accounts = [one.get(member["@odata.id"], **ADMIN) for member in members]
    assert {account["UserName"]: account["RoleId"] for account in accounts} == {
        "monitor": "Operator",
        "admin": "Administrator",
    }
    for account in accounts:
        assert account["Password"] is None
        assert one.get(account["Links"]["Role"]["@odata.id"])["Id"] == account["RoleId"]


def test_an_account_is_made_used_changed_and_deleted(one: Asker) -> None:
    path = make(one)
    guest = basic("guest", NEW["Password"])
    assert one.get("/redfish/v1/Chassis", **guest)["Members"]
    token = one.ask("POST", SESSIONS, {"UserName": "guest", "Password": NEW["Password"]}).header("X-Auth-Token")
    assert token is not None
    one.headers = {}
    assert one.get("/redfish/v1/Chassis", x_auth_token=token)
    assert one.ask("PATCH", path, {"Enabled": False}, **ADMIN).status == 200
    assert one.error("GET", "/redfish/v1/Chassis", x_auth_token=token) == (401, ["NoValidSession"])
    assert one.error("GET", "/redfish/v1/Chassis", **guest) == (401, ["NoValidSession"])
    assert one.ask("PATCH", path, {"Enabled": True}, **ADMIN).status == 200
    assert one.ask("GET", "/redfish/v1/Chassis", **guest).status == 200
    assert one.ask("DELETE", path, **ADMIN).status == 204
    assert one.error("GET", "/redfish/v1/Chassis", **guest) == (401, ["NoValidSession"])
    assert one.error("GET", path, **ADMIN) == (404, ["ResourceMissingAtURI"])


def test_who_only_watches_changes_no_account_but_his_own_password(one: Asker) -> None:
    path = make(one)
    guest = basic("guest", NEW["Password"])
    assert one.error("POST", ACCOUNTS, NEW, **guest) == (403, ["InsufficientPrivilege"])
    assert one.error("PATCH", path, {"RoleId": "Administrator"}, **guest) == (403, ["InsufficientPrivilege"])
    assert one.error("GET", f"{ACCOUNTS}/2", **guest) == (403, ["InsufficientPrivilege"])
    assert one.error("DELETE", path, **guest) == (403, ["InsufficientPrivilege"])
    assert one.error("PATCH", path, {"Password": "short"}, **guest) == (400, ["PropertyValueFormatError"])
    assert one.ask("PATCH", path, {"Password": "another secret"}, **guest).status == 200
    assert one.error("GET", path, **guest) == (401, ["NoValidSession"])
    assert one.get(path, **basic("guest", "another secret"))["RoleId"] == "ReadOnly"


def test_a_change_asks_for_the_newest_etag(one: Asker) -> None:
    path = make(one)
    reply = one.ask("GET", path, **ADMIN)
    tag = reply.header("ETag")
    assert tag is not None
    assert json.loads(reply.body)["@odata.etag"] == tag
    assert one.ask("GET", path, if_none_match=tag, **ADMIN).status == 304
    first = one.ask("PATCH", path, {"RoleId": "Operator"}, if_match=tag, **ADMIN)
    assert first.status == 200
    assert first.header("ETag") != tag
    again = one.error("PATCH", path, {"RoleId": "ReadOnly"}, if_match=tag, **ADMIN)
    assert again == (412, ["PreconditionFailed"])
    assert one.get(path, **ADMIN)["RoleId"] == "Operator"


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"UserName": "monitor"}, "ResourceAlreadyExists"),
        ({"UserName": "a:b"}, "PropertyValueFormatError"),
        ({"UserName": ""}, "PropertyValueFormatError"),
        ({"UserName": 1}, "PropertyValueTypeError"),
        ({"Password": "x" * 65}, "PropertyValueFormatError"),
        ({"RoleId": "King"}, "PropertyValueNotInList"),
        ({"Enabled": "yes"}, "PropertyValueTypeError"),
        ({"Colour": "red"}, "PropertyUnknown"),
    ],
)
def test_an_account_that_can_not_be_is_refused(one: Asker, change: dict[str, Any], key: str) -> None:
    assert one.error("POST", ACCOUNTS, NEW | change, **ADMIN) == (400, [key])


def test_a_password_is_never_said_again(one: Asker) -> None:
    reply = one.ask("POST", ACCOUNTS, NEW | {"Password": ["hunter two"]}, **ADMIN)
    assert reply.status == 400
    assert b"hunter" not in reply.body


def test_what_can_be_changed_is_and_the_rest_is_named(one: Asker) -> None:
    path = make(one)
    body = json.loads(one.ask("PATCH", path, {"RoleId": "Operator", "Locked": True, "Hat": 1}, **ADMIN).body)
    assert body["RoleId"] == "Operator"
    told = {info["RelatedProperties"][0]: info["MessageId"] for info in body["@Message.ExtendedInfo"]}
    assert told == {"#/Locked": "Base.1.22.PropertyNotWritable", "#/Hat": "Base.1.22.PropertyUnknown"}
    assert one.error("PATCH", path, {"Hat": 1}, **ADMIN) == (400, ["PropertyUnknown"])
    assert one.error("PATCH", path, {"@odata.id": path}, **ADMIN) == (400, ["NoOperation"])
    assert one.error("PATCH", path, {}, **ADMIN) == (400, ["EmptyJSON"])


def test_built_in_accounts_stay_and_the_number_is_bounded(one: Asker) -> None:
    assert one.error("DELETE", f"{ACCOUNTS}/1", **ADMIN) == (405, ["OperationNotAllowed"])
    for number in range(6):
        make(one, UserName=f"guest{number}")
    assert one.error("POST", ACCOUNTS, NEW, **ADMIN) == (400, ["CreateLimitReachedForResource"])


def test_accounts_of_one_service_are_not_those_of_another(one: Asker) -> None:
    other = asker()
    assert one.ask("PATCH", f"{ACCOUNTS}/1", {"Password": "another secret"}, **ADMIN).status == 200
    assert one.error("GET", "/redfish/v1/Chassis") == (401, ["NoValidSession"])
    assert other.get("/redfish/v1/Chassis")
