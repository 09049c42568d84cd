"""The Sessions collection, and the question whether a request may pass."""

from __future__ import annotations

import msgspec

from simulators.service import query
from simulators.service.http import JSON, NO_CACHE, ODATA, Headers, Reply, Request
from simulators.service.live import iso
from simulators.service.messages import Message, error
from simulators.service.query import Body, QueryError
from simulators.service.root import SESSION_TIMEOUT, SESSIONS
from simulators.service.sessions import Account, Accounts, Session, SessionTable, TableFull
from simulators.service.tree import Tree, described_by, link

_MEMBERS = f"{SESSIONS}/Members"
"""DSP0266 lets clients POST here too."""


class Login:
    """A service's sessions and accounts."""

    def __init__(self, tree: Tree, accounts: Accounts, max_sessions: int) -> None:
        self._tree = tree
        self.accounts = accounts
        self.sessions = SessionTable(max_sessions, SESSION_TIMEOUT)

    def owns(self, path: str) -> bool:
        """Whether the path is the Sessions collection or below it."""
        return path == SESSIONS or path.startswith(f"{SESSIONS}/")

    def opens(self, path: str, method: str) -> bool:
        """Whether a request is the login itself."""
        return method == "POST" and path in (SESSIONS, _MEMBERS)

    def who(self, request: Request) -> Account | None:
        """Whose valid session token or, without any token, whose account a request carries; None for nobody."""
        token = request.headers.get("x-auth-token")
        if token is not None:
            session = self.sessions.use(token, request.time)
            return None if session is None else self.accounts.by_name(session.user)
        authorization = request.headers.get("authorization")
        return None if authorization is None else self.accounts.by_header(authorization)

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Answer a request on the Sessions collection or one of its members."""
        if self.opens(path, method):
            return self._post(request)
        if path == SESSIONS:
            if method == "GET":
                return self._answer(path, self._collection(request.time), request, "GET, HEAD, POST")
            return error(405, Message("OperationNotAllowed"), headers=(("Allow", "GET, HEAD, POST"),))
        session = self.sessions.get(path.rpartition("/")[2], request.time)
        if session is None or path != _path(session):
            return error(404, Message("ResourceMissingAtURI", (path,)))
        if method == "GET":
            return self._answer(path, self._body(session), request, "GET, HEAD, DELETE")
        if method == "DELETE":
            self.sessions.close(session.id)
            return Reply(204, (ODATA, NO_CACHE))
        return error(405, Message("OperationNotAllowed"), headers=(("Allow", "GET, HEAD, DELETE"),))

    def _post(self, request: Request) -> Reply:
        try:
            told = msgspec.json.decode(request.body)
        except (msgspec.DecodeError, RecursionError):
            return error(400, Message("MalformedJSON"))
        if not isinstance(told, dict):
            return error(400, Message("UnrecognizedRequestBody"))
        problems = []
        for name in ("UserName", "Password"):
            if name not in told:
                problems.append(Message("PropertyMissing", (name,), name))
            elif not isinstance(told[name], str):
                problems.append(Message("PropertyValueTypeError", (str(told[name]), name), name))
        if problems:
            return error(400, *problems)
        if self.accounts.by_password(told["UserName"], told["Password"]) is None:
            return error(401, Message("AccessUnauthorized"), headers=(("WWW-Authenticate", 'Basic realm="Redfish"'),))
        try:
            session = self.sessions.open(told["UserName"], request.client, request.time)
        except TableFull:
            return error(503, Message("SessionLimitExceeded"))
        headers: Headers = (
            ODATA,
            JSON,
            NO_CACHE,
            ("Location", _path(session)),
            ("X-Auth-Token", session.token),
            described_by(f"#{self._tree.session_type}"),
        )
        return Reply(201, headers, msgspec.json.encode(self._body(session)))

    def _answer(self, path: str, body: Body, request: Request, allow: str) -> Reply:
        features = self._tree.features
        if request.query or (features.page and "Members" in body):
            now = request.time
            try:
                asked = query.parse(request.query, features)
                body = query.answer(path, body, asked, lambda member: self._lookup(member, now), features)
            except QueryError as refusal:
                return error(refusal.status, refusal.message)
        headers: Headers = (ODATA, JSON, NO_CACHE, ("Allow", allow), described_by(body["@odata.type"]))
        return Reply(200, headers, msgspec.json.encode(body))

    def _lookup(self, path: str, now: float) -> Body | None:
        session = self.sessions.get(path.rpartition("/")[2], now)
        return None if session is None or _path(session) != path else self._body(session)

    def _collection(self, now: float) -> Body:
        members = [link(_path(session)) for session in self.sessions.all(now)]
        return {
            "@odata.id": SESSIONS,
            "@odata.type": "#SessionCollection.SessionCollection",
            "Name": "Sessions",
            "Members": members,
            "Members@odata.count": len(members),
        }

    def _body(self, session: Session) -> Body:
        body: Body = {
            "@odata.id": _path(session),
            "@odata.type": f"#{self._tree.session_type}",
            "Id": session.id,
            "Name": f"Session {session.id}",
            "UserName": session.user,
        }
        if self._tree.session_type != "Session.v1_1_0.Session":
            body["SessionType"] = "Redfish"
            body["CreatedTime"] = iso(session.created)
            if session.client:
                body["ClientOriginIPAddress"] = session.client
        return body


def _path(session: Session) -> str:
    return f"{SESSIONS}/{session.id}"
