"""Who looks at a page, and what they may ask for. Pure, but for :func:`load`; Streamlit's part is in ``entry``.

Without a people file whoever sits at this machine may do everything under a typed name, and everybody else only looks.
With one, people sign in with the site's own OpenID provider, and their roles follow from its claims.
"""

from __future__ import annotations

import ipaddress
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from collector.model import CARE_VERBS, ORDER_VERBS, Verb
from collector.text import plain

PEOPLE = "SLEDKEEPER_PEOPLE"
"""Environment variable with the path of the people file that the pages were started with."""
_FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "x-client-ip", "via")
"""Headers that a proxy in between leaves (RFC 7239, RFC 9110 7.6.3, and common practice)."""
_LEAST_SECRET = 32
"""Characters that a cookie secret must have: it is a key of HMAC-SHA256 (RFC 2104: not shorter than the hash)."""
LONGEST_NAME = 100


class Role(IntEnum):
    """What a person is here, each holding what those before it may."""

    STRANGER = 0
    """Sees nothing: is to sign in."""
    VIEWER = 1
    TECHNICIAN = 2
    """Locates, observes, works on orders, acknowledges."""
    OPERATOR = 3
    """Switches power as well."""

    @property
    def word(self) -> str:
        """For people."""
        return self.name.lower()


NEEDED: Mapping[str, Role] = {
    **{verb.value: Role.TECHNICIAN for verb in (*CARE_VERBS, *ORDER_VERBS, Verb.LOCATE, Verb.OBSERVE)},
    Verb.POWER.value: Role.OPERATOR,
}
"""The least role for each verb; a verb that is not here is nobody's."""


@dataclass(frozen=True, kw_only=True)
class Viewer:
    """Who looks."""

    role: Role
    name: str = ""
    """As signed in; "" where it has to be typed."""
    why_not: str = ""
    """Why they may not do more, one sentence; "" where that is just their role."""

    def refusal(self, verb: str) -> str | None:
        """Why this person may not ask for this; None where they may."""
        needed = NEEDED.get(verb)
        if needed is not None and self.role >= needed:
            return None
        if self.why_not:
            return self.why_not
        if needed is None:
            return f"nobody can ask for {verb} here"
        return f"this takes the role {needed.word}; {self.name or 'you'} signed in as {self.role.word}"

    def may(self, verb: str) -> bool:
        """Whether this person may ask for this."""
        return self.refusal(verb) is None


@dataclass(frozen=True, kw_only=True)
class SignIn:
    """How people sign in."""

    metadata_url: str
    client_id: str
    client_secret_file: Path
    cookie_secret_file: Path
    redirect_uri: str


@dataclass(frozen=True, kw_only=True)
class People:
    """The people file. ``sign_in`` None: nobody signs in, and only who sits at this machine may act."""

    sign_in: SignIn | None = None
    behind_proxy: bool = False
    """Whether a proxy stands before the pages, so that its headers are expected."""
    hours: float = 12.0
    """After which somebody has to sign in again."""
    role_claim: str = "groups"
    name_claim: str = "name"
    roles: Mapping[Role, tuple[str, ...]] = field(default_factory=dict)
    """By role: values of the role claim, e-mail addresses, or ``*`` for everybody who can sign in."""


NOBODY_SIGNS_IN = People()


class PeopleError(Exception):
    """The people file is wrong: one line a problem."""

    def __init__(self, path: Path, problems: list[str]) -> None:
        super().__init__("; ".join(f"{path}: {problem}" for problem in problems))
        self.path = path
        self.problems = problems


# Who it is


def who_looks(
    people: People, address: str | None, headers: Mapping[str, str], user: Mapping[str, Any] | None, now: float
) -> Viewer:
    """Who looks, and what they may.

    ``address``: of the connection, None for this machine; ``headers``: of its request; ``user``: the claims of who is
    signed in, None for nobody.
    """
    if people.sign_in is not None:
        return _signed_in(people, user, now)
    forwarded = [name for name in headers if name.lower() in _FORWARDED]
    if forwarded and not people.behind_proxy:
        why = "these pages are read through a proxy, so nobody knows who asks: set up signing in to act from here"
        return Viewer(role=Role.VIEWER, why_not=why)
    if forwarded or not _is_here(address, headers):
        why = "without signing in, only who sits at the collector's own machine may act: set up signing in"
        return Viewer(role=Role.VIEWER, why_not=why)
    return Viewer(role=Role.OPERATOR)


def _is_here(address: str | None, headers: Mapping[str, str]) -> bool:
    """Whether the connection comes from this machine and is meant for it (a name that leads here by chance is not)."""
    if address is not None:
        try:
            if not ipaddress.ip_address(address).is_loopback:
                return False
        except ValueError:
            return False
    host = next((value for name, value in headers.items() if name.lower() == "host"), None)
    if host is None:
        return True  # no browser leaves it out
    name = (urlsplit(f"//{host}").hostname or "").rstrip(".")
    try:
        return name == "localhost" or ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _signed_in(people: People, user: Mapping[str, Any] | None, now: float) -> Viewer:
    if user is None:
        return Viewer(role=Role.STRANGER, why_not="sign in first")
    name = next(
        (
            plain(value.strip(), LONGEST_NAME)
            for claim in (people.name_claim, "preferred_username", "email", "sub")
            if isinstance(value := user.get(claim), str) and value.strip()
        ),
        "",
    )
    since = user.get("iat")
    if not isinstance(since, int | float) or isinstance(since, bool) or now - since > 3600.0 * people.hours:
        return Viewer(role=Role.STRANGER, name=name, why_not="you signed in too long ago: sign in again")
    if not name:
        return Viewer(role=Role.STRANGER, why_not="the provider that you signed in with does not tell your name")
    marks = _marks(people, user)
    role = max((role for role, wanted in people.roles.items() if marks.intersection(wanted)), default=Role.STRANGER)
    why = f"{name} has no role here: whoever keeps the people file can give one" if role is Role.STRANGER else ""
    return Viewer(role=role, name=name, why_not=why)


def _marks(people: People, user: Mapping[str, Any]) -> set[str]:
    """What roles are given by. An e-mail address that the provider has not verified proves nothing."""
    told = user.get(people.role_claim)
    values = told if isinstance(told, list | tuple) else [told]
    marks = {value for value in values if isinstance(value, str) and "@" not in value and value != "*"} | {"*"}
    email = user.get("email")
    if isinstance(email, str) and user.get("email_verified") is True:
        marks.add(email.casefold())
    return marks


# The file

_KEYS = {
    "metadata_url",
    "client_id",
    "client_secret_file",
    "cookie_secret_file",
    "redirect_uri",
    "behind_proxy",
    "hours",
    "role_claim",
    "name_claim",
    "roles",
}
_SIGN_IN = ("metadata_url", "client_id", "client_secret_file", "cookie_secret_file", "redirect_uri")
_ROLES = {role.word: role for role in (Role.VIEWER, Role.TECHNICIAN, Role.OPERATOR)}


def load(path: Path) -> People:
    """Read and check a people file; relative paths count from its folder. Raises :class:`PeopleError`."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise PeopleError(path, [f"can't be read: {error}"]) from error
    except tomllib.TOMLDecodeError as error:
        raise PeopleError(path, [f"is not TOML: {error}"]) from error
    told = raw.get("people")
    if set(raw) != {"people"} or not isinstance(told, dict):
        raise PeopleError(path, ["needs one section, [people], and no other"])
    problems = [f"people.{key}: unknown key" for key in sorted(set(told) - _KEYS)]
    people = People(
        sign_in=_sign_in(path.parent, told, problems),
        behind_proxy=_typed(told, "behind_proxy", bool, False, problems),
        hours=float(_typed(told, "hours", (int, float), 12.0, problems)),
        role_claim=_typed(told, "role_claim", str, "groups", problems),
        name_claim=_typed(told, "name_claim", str, "name", problems),
        roles=_roles(told.get("roles", {}), problems),
    )
    if people.hours <= 0:
        problems.append("people.hours: must be above 0")
    if people.sign_in is not None and not people.roles:
        problems.append("people.roles: gives nobody a role, so nobody would see anything")
    if people.sign_in is None and people.roles:
        problems.append("people.roles: means nothing without signing in; metadata_url and the rest are missing")
    if problems:
        raise PeopleError(path, problems)
    return people


def _sign_in(home: Path, told: Mapping[str, Any], problems: list[str]) -> SignIn | None:
    given = [key for key in _SIGN_IN if key in told]
    if not given:
        return None
    values = {key: _typed(told, key, str, "", problems) for key in _SIGN_IN}
    problems += [f"people.{key}: is missing" for key in _SIGN_IN if not values[key]]
    for key in ("metadata_url", "redirect_uri"):
        parts = urlsplit(values[key])
        if values[key] and (parts.scheme not in ("http", "https") or not parts.hostname):
            problems.append(f"people.{key}: must be a URL")
        elif parts.scheme == "http" and not _is_here(None, {"host": parts.netloc}):
            problems.append(f"people.{key}: must be https, but for this machine itself")
    if values["redirect_uri"] and not values["redirect_uri"].endswith("/oauth2callback"):
        problems.append("people.redirect_uri: must end with /oauth2callback, where the pages take people back")
    files = {key: home / values[key] for key in ("client_secret_file", "cookie_secret_file") if values[key]}
    for key, file in files.items():
        try:
            secret = secret_in(file)
        except (OSError, UnicodeDecodeError) as error:
            problems.append(f"people.{key}: can't be read: {error}")
            continue
        least = _LEAST_SECRET if key == "cookie_secret_file" else 1
        if len(secret) < least:
            problems.append(f"people.{key}: holds {len(secret)} characters, and must hold {least} or more")
    if problems:
        return None
    return SignIn(
        metadata_url=values["metadata_url"],
        client_id=values["client_id"],
        client_secret_file=files["client_secret_file"],
        cookie_secret_file=files["cookie_secret_file"],
        redirect_uri=values["redirect_uri"],
    )


def secret_in(file: Path) -> str:
    """The secret that a file holds, without its trailing newline."""
    return file.read_text(encoding="utf-8").rstrip("\r\n")


def _roles(told: object, problems: list[str]) -> dict[Role, tuple[str, ...]]:
    if not isinstance(told, dict):
        problems.append("people.roles: must be a section with viewer, technician and operator")
        return {}
    roles: dict[Role, tuple[str, ...]] = {}
    for word, who in told.items():
        role = _ROLES.get(word)
        if role is None:
            problems.append(f"people.roles.{word}: no such role; there are {', '.join(_ROLES)}")
        elif not isinstance(who, list) or not all(isinstance(each, str) and each.strip() for each in who):
            problems.append(f"people.roles.{word}: must be a list of texts")
        elif "*" in who and role is not Role.VIEWER:
            problems.append(f"people.roles.{word}: * is for viewers only: whoever can sign in would have the role")
        else:
            roles[role] = tuple(each.casefold() if "@" in each else each for each in who)
    return roles


def _typed(told: Mapping[str, Any], key: str, kind: Any, otherwise: Any, problems: list[str]) -> Any:
    value = told.get(key, otherwise)
    if not isinstance(value, kind) or (kind is not bool and isinstance(value, bool)):
        problems.append(f"people.{key}: has the wrong type")
        return otherwise
    return value
