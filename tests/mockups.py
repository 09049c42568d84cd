"""Serves a folder of DMTF DSP2043 example bodies as a Redfish service: in process, or over loopback HTTP.

``MockupTransport(folder)`` is an httpx transport; ``async with serve_mockup(folder) as url`` an HTTP/1.1 server. Both
take a folder or a :class:`Mockup`, which also keeps the log of requests and lets a test replace single bodies.
Behaviour follows DSP0266 1.20: 404 with a standard error body, 405 with Allow, session login, ``$expand`` where the
service root of the example declares it, 501 for query options that are not supported.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import parse_qsl, unquote, urlsplit

import httpx
from aiohttp import web

_ROOT = "/redfish/v1"
_SESSIONS = f"{_ROOT}/SessionService/Sessions"
_OPEN = {"", "/redfish", _ROOT, f"{_ROOT}/$metadata", f"{_ROOT}/odata"}  # DSP0266: no login asked for these


class Answer(NamedTuple):
    """One HTTP answer."""

    status: int
    headers: dict[str, str]
    body: bytes


class Mockup:
    """One example service and what happened to it.

    ``expand=False`` refuses ``$expand`` with 501 whatever the root declares. With ``credentials`` (user, password)
    everything but the root needs a session token or basic authentication. ``replace`` maps a path without trailing
    slash to a body (bytes as they are, anything else as JSON), an :class:`Answer`, or None for 404.
    """

    def __init__(
        self,
        folder: Path,
        *,
        expand: bool = True,
        credentials: tuple[str, str] | None = None,
        replace: Mapping[str, Any] | None = None,
    ) -> None:
        self.folder = folder
        self.expand = expand
        self.credentials = credentials
        self.replace: dict[str, Any] = dict(replace or {})
        self.requests: list[tuple[str, str]] = []
        """(method, target) of every request, in order."""
        self.sessions: dict[str, str] = {}
        """Open sessions: token -> path."""
        self._logins = 0

    def answer(self, method: str, target: str, headers: Mapping[str, str], body: bytes = b"") -> Answer:
        """What the service answers; header names are looked up in lower case."""
        self.requests.append((method, target))
        split = urlsplit(target)
        path = unquote(split.path).rstrip("/")
        if method == "POST" and path == _SESSIONS:
            return self._login(body)
        if path not in _OPEN and not self._allowed(headers):
            return _error(401, "Base.1.18.NoValidSession", "There is no valid session established.")
        if method == "DELETE" and path in self.sessions.values():
            self.sessions = {token: at for token, at in self.sessions.items() if at != path}
            return Answer(204, {}, b"")
        if method not in ("GET", "HEAD"):
            return _error(405, "Base.1.18.OperationNotAllowed", "The HTTP method is not allowed.", {"Allow": "GET"})
        told = self._read(path)
        if isinstance(told, Answer):
            return told
        if isinstance(told, dict):
            options = [
                (name, value) for name, value in parse_qsl(split.query, keep_blank_values=True) if name[:1] == "$"
            ]
            for name, value in options:
                if name != "$expand" or not self._expands():
                    return _error(501, "Base.1.18.QueryNotSupported", f"{name} is not supported.")
                if not re.fullmatch(r"[.*~](\(\$levels=1\))?", value):
                    return _error(400, "Base.1.18.QueryParameterValueFormatError", f"{value!r} is not understood.")
                told = self._expanded(told)
            told = json.dumps(told).encode()
        return Answer(200, {"Content-Type": "application/json; charset=utf-8", "OData-Version": "4.0"}, told)

    def _read(self, path: str) -> dict[str, Any] | bytes | Answer:
        if path in self.replace:
            told = self.replace[path]
            if told is None:
                return _missing(path)
            return told if isinstance(told, (bytes, Answer, dict)) else json.dumps(told).encode()
        if path == "/redfish":
            return {"v1": f"{_ROOT}/"}
        steps = path.removeprefix(_ROOT).split("/")[1:]
        if not (path + "/").startswith(_ROOT + "/") or ".." in steps:
            return _missing(path)
        folder = self.folder.joinpath(*steps)
        if (folder / "index.xml").is_file():
            return Answer(200, {"Content-Type": "application/xml"}, (folder / "index.xml").read_bytes())
        if not (folder / "index.json").is_file():
            return _missing(path)
        body: dict[str, Any] = json.loads((folder / "index.json").read_bytes())
        body.pop("@Redfish.Copyright", None)  # no part of a service's answer
        return body

    def _expands(self) -> bool:
        root = self._read(_ROOT)
        features = root.get("ProtocolFeaturesSupported", {}) if isinstance(root, dict) else {}
        return self.expand and bool(features.get("ExpandQuery", {}).get("NoLinks"))

    def _expanded(self, body: dict[str, Any]) -> dict[str, Any]:
        members = []
        for member in body.get("Members", []):
            told = self._read(str(member.get("@odata.id", "")).rstrip("/"))
            if isinstance(told, bytes):
                told = json.loads(told)
            members.append(told if isinstance(told, dict) else member)
        return {**body, "Members": members} if members else body

    def _login(self, body: bytes) -> Answer:
        try:
            told = json.loads(body)
            user, password = told["UserName"], told["Password"]
        except (ValueError, KeyError, TypeError):
            return _error(400, "Base.1.18.MalformedJSON", "The request body is malformed.")
        if self.credentials not in (None, (user, password)):
            return _error(401, "Base.1.18.ResourceAtUriUnauthorized", "The credentials were denied.")
        self._logins += 1
        token, path = f"token-{self._logins}", f"{_SESSIONS}/{self._logins}"
        self.sessions[token] = path
        session = {
            "@odata.id": path,
            "@odata.type": "#Session.v1_7_1.Session",
            "Id": str(self._logins),
            "Name": "Session",
        }
        headers = {"X-Auth-Token": token, "Location": path, "Content-Type": "application/json"}
        return Answer(201, headers, json.dumps(session).encode())

    def _allowed(self, headers: Mapping[str, str]) -> bool:
        if self.credentials is None or headers.get("x-auth-token") in self.sessions:
            return True
        basic = base64.b64encode(":".join(self.credentials).encode()).decode()
        return headers.get("authorization") == f"Basic {basic}"


def _error(status: int, message_id: str, message: str, headers: Mapping[str, str] | None = None) -> Answer:
    """DSP0266 section 'Error responses'."""
    info = {"@odata.type": "#Message.v1_2_1.Message", "MessageId": message_id, "Message": message}
    body = {"error": {"code": message_id, "message": message, "@Message.ExtendedInfo": [info]}}
    return Answer(status, {"Content-Type": "application/json", **(headers or {})}, json.dumps(body).encode())


def _missing(path: str) -> Answer:
    return _error(404, "Base.1.18.ResourceMissingAtURI", f"The resource at the URI {path} was not found.")


def _as_mockup(what: Path | Mockup) -> Mockup:
    return what if isinstance(what, Mockup) else Mockup(what)


class MockupTransport(httpx.AsyncBaseTransport):
    """Answers httpx requests from an example service, in process; the host in the URL does not matter."""

    def __init__(self, what: Path | Mockup, before: Callable[[httpx.Request], None] | None = None) -> None:
        self.mockup = _as_mockup(what)
        self._before = before

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        if self._before is not None:
            self._before(request)
        headers = {name.lower(): value for name, value in request.headers.items()}
        target = request.url.raw_path.decode("ascii")
        status, answer_headers, body = self.mockup.answer(request.method, target, headers, await request.aread())
        return httpx.Response(status, headers=answer_headers, content=body, request=request)


@asynccontextmanager
async def serve_mockup(what: Path | Mockup) -> AsyncIterator[str]:
    """An example service on a free loopback port; gives its origin, e.g. ``http://127.0.0.1:40123``."""
    mockup = _as_mockup(what)

    async def handle(request: web.Request) -> web.Response:
        headers = {name.lower(): value for name, value in request.headers.items()}
        status, answer_headers, body = mockup.answer(request.method, request.raw_path, headers, await request.read())
        return web.Response(status=status, headers=answer_headers, body=body)

    app = web.Application()
    app.router.add_route("*", "/{path:.*}", handle)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    try:
        site = web.TCPSite(runner, "127.0.0.1", 0)
        await site.start()
        yield f"http://127.0.0.1:{runner.addresses[0][1]}"
    finally:
        await runner.cleanup()
