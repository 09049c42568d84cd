"""Who may do what: by sign-in, by machine, and by what the people file says."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from collector.model import Verb
from dashboard.people import NEEDED, NOBODY_SIGNS_IN, People, PeopleError, Role, SignIn, Viewer, load, who_looks

NOW = 1_800_000_000.0
SIGN_IN = SignIn(
    metadata_url="https://id.example/.well-known/openid-configuration",
    client_id="pages",
    client_secret_file=Path("client"),
    cookie_secret_file=Path("cookie"),
    redirect_uri="https://racks.example/oauth2callback",
)
SIGNED_IN = People(
    sign_in=SIGN_IN,
    roles={
        Role.VIEWER: ("*",),
        Role.TECHNICIAN: ("rack hands", "tamsin@site.example"),
        Role.OPERATOR: ("operators", "ida@site.example"),
    },
)
HERE = {"Host": "127.0.0.1:8460"}


def user(**claims: Any) -> dict[str, Any]:
    return {"sub": "1", "name": "Ida Brandt", "iat": NOW - 60.0} | claims


# Without signing in


@pytest.mark.parametrize(
    ("address", "headers"),
    [
        (None, HERE),
        ("127.0.0.1", {"Host": "localhost:8460"}),
        ("::1", {"host": "[::1]:8460"}),
        ("127.8.9.1", HERE),
        (None, {}),
    ],
)
def test_who_sits_at_the_machine_may_everything_under_a_typed_name(
    address: str | None, headers: Mapping[str, str]
) -> None:
    viewer = who_looks(NOBODY_SIGNS_IN, address, headers, None, NOW)
    assert (viewer.role, viewer.name) == (Role.OPERATOR, "")
    assert all(viewer.may(verb) for verb in NEEDED)


@pytest.mark.parametrize(
    ("address", "headers", "said"),
    [
        ("192.0.2.7", HERE, "own machine"),
        ("not an address", HERE, "own machine"),
        (None, {"Host": "racks.example"}, "own machine"),
        (None, {"Host": "127.0.0.1.racks.example"}, "own machine"),
        (None, {**HERE, "X-Forwarded-For": "127.0.0.1"}, "through a proxy"),
        (None, {**HERE, "forwarded": "for=127.0.0.1"}, "through a proxy"),
        ("127.0.0.1", {**HERE, "X-Real-IP": "127.0.0.1"}, "through a proxy"),
    ],
)
def test_everybody_else_only_looks(address: str | None, headers: Mapping[str, str], said: str) -> None:
    viewer = who_looks(NOBODY_SIGNS_IN, address, headers, None, NOW)
    assert viewer.role is Role.VIEWER
    for verb in NEEDED:
        why = viewer.refusal(verb)
        assert why is not None
        assert said in why


def test_a_proxy_that_is_expected_still_makes_nobody_local() -> None:
    viewer = who_looks(People(behind_proxy=True), None, {**HERE, "X-Forwarded-For": "127.0.0.1"}, None, NOW)
    assert viewer.role is Role.VIEWER


def test_claims_count_for_nothing_where_nobody_signs_in() -> None:
    viewer = who_looks(NOBODY_SIGNS_IN, "192.0.2.7", HERE, user(groups=["operators"]), NOW)
    assert viewer.role is Role.VIEWER


# Signed in


@pytest.mark.parametrize(
    ("claims", "role"),
    [
        ({}, Role.VIEWER),
        ({"groups": ["rack hands"]}, Role.TECHNICIAN),
        ({"groups": ["rack hands", "operators"]}, Role.OPERATOR),
        ({"groups": "operators"}, Role.OPERATOR),
        ({"email": "Ida@Site.Example", "email_verified": True}, Role.OPERATOR),
        ({"email": "ida@site.example", "email_verified": False}, Role.VIEWER),
        ({"email": "ida@site.example"}, Role.VIEWER),
        ({"email": "ida@site.example", "email_verified": "true"}, Role.VIEWER),
        ({"groups": ["ida@site.example"]}, Role.VIEWER),
        ({"groups": ["*"]}, Role.VIEWER),
        ({"groups": [["operators"], {"operators": 1}, None, 7]}, Role.VIEWER),
        ({"groups": {"operators": True}}, Role.VIEWER),
    ],
)
def test_roles_follow_from_claims_and_verified_addresses(claims: dict[str, Any], role: Role) -> None:
    viewer = who_looks(SIGNED_IN, "192.0.2.7", {}, user(**claims), NOW)
    assert (viewer.role, viewer.name) == (role, "Ida Brandt")


@pytest.mark.parametrize(
    ("role", "may", "may_not"),
    [
        (Role.STRANGER, (), (Verb.LOCATE, Verb.POWER, Verb.OBSERVE)),
        (Role.VIEWER, (), (Verb.LOCATE, Verb.POWER, Verb.OBSERVE, Verb.TAKE, Verb.ACKNOWLEDGE)),
        (Role.TECHNICIAN, (Verb.LOCATE, Verb.OBSERVE, Verb.TAKE, Verb.FINISH, Verb.ACKNOWLEDGE), (Verb.POWER,)),
        (Role.OPERATOR, tuple(Verb), ()),
    ],
)
def test_what_each_role_may(role: Role, may: tuple[Verb, ...], may_not: tuple[Verb, ...]) -> None:
    viewer = Viewer(role=role, name="Ida Brandt")
    assert all(viewer.may(verb) for verb in may)
    for verb in may_not:
        why = viewer.refusal(verb)
        assert why is not None
        assert role.word in why
    assert viewer.refusal("explode") is not None, "a verb that nobody thought of is nobody's"


def test_every_verb_has_its_role() -> None:
    assert set(NEEDED) == {verb.value for verb in Verb}


def test_nobody_without_signing_in_and_nobody_for_ever() -> None:
    assert who_looks(SIGNED_IN, None, HERE, None, NOW).role is Role.STRANGER
    for iat in (NOW - 13 * 3600.0, None, "now", True):
        stale = who_looks(SIGNED_IN, None, HERE, user(iat=iat, groups=["operators"]), NOW)
        assert (stale.role, "too long ago" in stale.why_not) == (Role.STRANGER, True)
    nameless = who_looks(SIGNED_IN, None, HERE, {"iat": NOW, "groups": ["operators"]}, NOW)
    assert nameless.role is Role.STRANGER


def test_names_are_made_safe_and_bounded() -> None:
    viewer = who_looks(SIGNED_IN, None, HERE, user(name="\u202eIda\x1b[31m" + "x" * 999), NOW)
    assert "\u202e" not in viewer.name
    assert "\x1b" not in viewer.name
    assert len(viewer.name) <= 100


# The file


def written(folder: Path, more: str = "", **changed: str | None) -> Path:
    (folder / "client").write_text("client secret\n")
    (folder / "cookie").write_text("c" * 40 + "\n")
    told: dict[str, str | None] = {
        "metadata_url": "https://id.example/.well-known/openid-configuration",
        "client_id": "pages",
        "client_secret_file": "client",
        "cookie_secret_file": "cookie",
        "redirect_uri": "https://racks.example/oauth2callback",
    } | changed
    lines = [f'{key} = "{value}"' for key, value in told.items() if value is not None]
    path = folder / "people.toml"
    path.write_text("\n".join(["[people]", *lines, more]))
    return path


ROLES = '[people.roles]\nviewer = ["*"]\noperator = ["Ida@Site.Example"]'


def test_a_people_file(tmp_path: Path) -> None:
    people = load(written(tmp_path, ROLES))
    assert people.sign_in is not None
    assert people.sign_in.client_secret_file == tmp_path / "client"
    assert people.roles == {Role.VIEWER: ("*",), Role.OPERATOR: ("ida@site.example",)}
    assert "client secret" not in repr(people)


def test_a_people_file_without_signing_in(tmp_path: Path) -> None:
    path = tmp_path / "people.toml"
    path.write_text("[people]\nbehind_proxy = true\n")
    assert load(path) == People(behind_proxy=True)


@pytest.mark.parametrize(
    ("more", "changed", "said"),
    [
        ("", {}, "gives nobody a role"),
        ('[people.roles]\noperator = ["*"]', {}, "for viewers only"),
        ('[people.roles]\nking = ["me"]', {}, "no such role"),
        ('[people.roles]\nviewer = "me"', {}, "list of texts"),
        (ROLES, {"client_id": None}, "people.client_id: is missing"),
        (ROLES, {"metadata_url": "http://id.example/x"}, "must be https"),
        (ROLES, {"redirect_uri": "https://racks.example/"}, "/oauth2callback"),
        (ROLES, {"client_secret_file": "nowhere"}, "people.client_secret_file: can't be read"),
        (ROLES, {"cookie_secret_file": "client"}, "must hold 32 or more"),
        (f"hours = 0\n{ROLES}", {}, "people.hours"),
        (f"hours = true\n{ROLES}", {}, "people.hours: has the wrong type"),
        (f"colour = 1\n{ROLES}", {}, "unknown key"),
    ],
)
def test_what_is_wrong_with_a_people_file(tmp_path: Path, more: str, changed: dict[str, str | None], said: str) -> None:
    with pytest.raises(PeopleError, match=said):
        load(written(tmp_path, more, **changed))


def test_what_is_no_people_file(tmp_path: Path) -> None:
    with pytest.raises(PeopleError, match="can't be read"):
        load(tmp_path / "people.toml")
    for text, said in (("x =", "not TOML"), ("[other]\n", "one section"), ("people = 1\n", "one section")):
        (tmp_path / "people.toml").write_text(text)
        with pytest.raises(PeopleError, match=said):
            load(tmp_path / "people.toml")
