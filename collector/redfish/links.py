"""Where a link leads: pure string work, done on everything that a controller says before it is followed.

A resource's key is its path without query, fragment, dot segments or trailing slash; only the service root keeps the
slash that DSP0266 gives it. Keys compare and are stored; ``Target.path`` keeps the spelling that the service gave,
because that is what it answers to.
"""

from __future__ import annotations

import re
from urllib.parse import quote, unquote, urlsplit

from msgspec import Struct

from collector.redfish.resources import SERVICE_ROOT

_SAFE_PATH = "/:@!$&'()*+,;=-._~%"
_SAFE_QUERY = _SAFE_PATH + "?"
_LONE_PERCENT = re.compile(r"%(?![0-9A-Fa-f]{2})")
_ESCAPED = re.compile(r"%[0-9A-Fa-f]{2}")
_UNRESERVED = re.compile(r"[A-Za-z0-9._~-]")
_PLAIN_KEY = re.compile(r"(?:/[A-Za-z0-9_~-][A-Za-z0-9._~-]*)+")
_DEFAULT_PORTS = {"http": 80, "https": 443}
_BARE_ROOT = SERVICE_ROOT.rstrip("/")
MAX_LINK = 2048
"""Characters of a link that we take."""


class Target(Struct, frozen=True):
    """A place on the controller: what to ask for, and the name of the resource that it is."""

    path: str
    """Path and query as the service spelt them, safe to stand in a request line; no fragment."""
    key: str
    fragment: str = ""
    """JSON pointer behind ``#``, without the sign."""


class BadLink(ValueError):
    """A link that can't be followed; the text says why. ``foreign`` when it leads to another origin."""

    def __init__(self, reason: str, *, foreign: bool = False) -> None:
        self.foreign = foreign
        super().__init__(reason)


def target(link: object, origin: str) -> Target:
    """Where ``link`` (an ``@odata.id``, ``Members@odata.nextLink`` or Location) leads on the service at ``origin``.

    Takes an absolute path, or a URL on the same origin; raises :class:`BadLink` for anything else.
    """
    if not isinstance(link, str):
        raise BadLink(f"is {type(link).__name__}, not a string")
    if len(link) > MAX_LINK:
        raise BadLink(f"is longer than {MAX_LINK} characters")
    return _target(link, origin)


def key(link: str) -> str:
    """The key of a path, however spelt: what :class:`~collector.redfish.resources.Resource` is stored under."""
    if _PLAIN_KEY.fullmatch(link) and link != _BARE_ROOT:
        return link  # nearly all
    path = link.partition("#")[0].partition("?")[0]
    if "://" in link or link.startswith("//"):
        try:
            path = urlsplit(link).path
        except ValueError:
            return link  # no URL: a name like any other
    return _key(path)


def _key(path: str) -> str:
    steps: list[str] = []
    for step in _quoted(_decoded(path), _SAFE_PATH).split("/"):
        if step == "..":
            steps = steps[:-1]
        elif step not in ("", "."):
            steps.append(step)
    whole = "/" + "/".join(steps)
    return SERVICE_ROOT if whole == _BARE_ROOT else whole


def _decoded(path: str) -> str:
    """Escapes of unreserved characters undone, so that two spellings of one path get one key (RFC 3986 6.2.2)."""
    return path if "%" not in path else _ESCAPED.sub(_unescaped, _LONE_PERCENT.sub("%25", path))


def _unescaped(found: re.Match[str]) -> str:
    char = unquote(found.group(), errors="replace")
    return char if _UNRESERVED.fullmatch(char) else found.group().upper()


def _quoted(text: str, safe: str) -> str:
    return quote(_LONE_PERCENT.sub("%25", text), safe=safe, errors="replace")


def _target(link: str, origin: str) -> Target:
    try:
        split = urlsplit(link)
        port = split.port
    except ValueError as error:
        raise BadLink(f"is no URL: {error}") from error
    if split.scheme or split.netloc:
        home = urlsplit(origin)
        scheme = split.scheme or home.scheme
        told = (scheme, split.hostname, port or _DEFAULT_PORTS.get(scheme))
        if told != (home.scheme, home.hostname, home.port or _DEFAULT_PORTS.get(home.scheme)):
            raise BadLink("leads to another origin", foreign=True)
    if not split.path.startswith("/"):
        raise BadLink("is no absolute path")
    path = "/" + _quoted(split.path, _SAFE_PATH).lstrip("/")
    if split.query:
        path += "?" + _quoted(split.query, _SAFE_QUERY)
    return Target(path, _key(split.path), split.fragment)
