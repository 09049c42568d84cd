"""The accounts of one service as resources that come and go: made, changed and deleted by who may."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simulators.service import query
from simulators.service.accounts import ACCOUNTS, MAX_PASSWORD, MIN_PASSWORD, PRIVILEGES, ROLES
from simulators.service.annex import annotate, answer, done, matches, not_allowed, read
from simulators.service.http import Headers, Reply, Request
from simulators.service.messages import Message, error
from simulators.service.offers import Offer
from simulators.service.query import Body, Features, QueryError
from simulators.service.sessions import Account, Accounts
from simulators.service.tree import link

_TYPES: dict[str, type] = {"UserName": str, "Password": str, "RoleId": str, "Enabled": bool}
_MOST = 8
"""Accounts of a service."""


class AccountTable:
    """Answers for the accounts. Everyone sees and changes the password of his own; the rest takes ConfigureUsers."""

    __slots__ = ("_accounts", "_end_sessions", "_features", "_offer")

    def __init__(
        self, accounts: Accounts, offer: Offer, features: Features, end_sessions: Callable[[str], None]
    ) -> None:
        """``end_sessions`` is called with the name of a user who may no longer log in."""
        self._accounts = accounts
        self._offer = offer
        self._features = features
        self._end_sessions = end_sessions

    def owns(self, path: str) -> bool:
        """Whether it is the accounts or one of them."""
        return path == ACCOUNTS or path.startswith(f"{ACCOUNTS}/")

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Answer a request for one of those."""
        if path == ACCOUNTS:
            if method == "GET":
                return self._query(path, self._collection(), request, "GET, HEAD, POST")
            return self._post(request) if method == "POST" else not_allowed("GET, HEAD, POST")
        id_ = path.removeprefix(f"{ACCOUNTS}/")
        account = self._accounts.get(id_)
        if account is None:
            return error(404, Message("ResourceMissingAtURI", (path,)))
        if not _manages(request) and account.user != request.user:
            return error(403, Message("InsufficientPrivilege"))
        allow = "GET, HEAD, PATCH" if account.built_in else "GET, HEAD, PATCH, DELETE"
        if method == "GET":
            return self._answer(id_, account, request, allow)
        if method == "PATCH":
            return self._patch(id_, account, request, allow)
        if method == "DELETE" and not account.built_in:
            return self._delete(id_, account, request)
        return not_allowed(allow)

    def _collection(self) -> Body:
        members = [link(f"{ACCOUNTS}/{id_}") for id_ in self._accounts.ids()]
        return {
            "@odata.id": ACCOUNTS,
            "@odata.type": "#ManagerAccountCollection.ManagerAccountCollection",
            "Name": "Accounts",
            "Members": members,
            "Members@odata.count": len(members),
        }

    def _query(self, path: str, body: Body, request: Request, allow: str) -> Reply:
        if request.query or (self._features.page and "Members" in body):
            try:
                asked = query.parse(request.query, self._features)
                body = query.answer(path, body, asked, self._lookup, self._features)
            except QueryError as refusal:
                return error(refusal.status, refusal.message)
        return answer(body, request, allow, etags=self._features.etags)

    def _lookup(self, path: str) -> Body | None:
        id_ = path.removeprefix(f"{ACCOUNTS}/")
        account = self._accounts.get(id_)
        return None if account is None else self._body(id_, account)

    def _answer(self, id_: str, account: Account, request: Request, allow: str) -> Reply:
        path, body = f"{ACCOUNTS}/{id_}", self._body(id_, account)
        if request.query:
            return self._query(path, body, request, allow)
        # DSP0266 asks for ETags of accounts even where a service has no others
        reply = answer(body, request, allow, etags=False)
        headers: Headers = (*reply.headers, ("ETag", _tag(account)))
        if matches(request.headers.get("if-none-match"), _tag(account)):
            return Reply(304, headers)
        return Reply(200, headers, reply.body)

    def _body(self, id_: str, account: Account) -> Body:
        return {
            "@odata.id": f"{ACCOUNTS}/{id_}",
            "@odata.type": f"#{self._offer.account}",
            "@odata.etag": _tag(account),
            "Id": id_,
            "Name": f"Account {account.user}",
            "UserName": account.user,
            "Password": None,
            "RoleId": account.role,
            "Enabled": account.enabled,
            "Locked": False,
            **({"AccountTypes": ["Redfish"]} if self._offer.newer else {}),
            "Links": {"Role": link(f"{ROLES}/{account.role}")},
        }

    def _post(self, request: Request) -> Reply:
        if not _manages(request):
            return error(403, Message("InsufficientPrivilege"))
        told = read(request)
        if isinstance(told, Reply):
            return told
        problems = [
            Message("PropertyMissing", (name,), name) for name in ("UserName", "Password", "RoleId") if name not in told
        ]
        for name, value in told.items():
            if name != "AccountTypes":
                problem = self._problem(name, value, known=name in _TYPES)
                problems += [problem] if problem else []
        if problems:
            return error(400, *problems)
        if len(self._accounts.ids()) >= _MOST:
            return error(400, Message("CreateLimitReachedForResource"))
        made = Account(told["UserName"], told["Password"], told["RoleId"], enabled=told.get("Enabled", True))
        id_ = self._accounts.add(made)
        reply = self._answer(id_, made, Request("GET", f"{ACCOUNTS}/{id_}"), "GET, HEAD, PATCH, DELETE")
        return Reply(201, (*reply.headers, ("Location", f"{ACCOUNTS}/{id_}")), reply.body)

    def _problem(self, name: str, value: Any, *, known: bool) -> Message | None:
        """What is wrong with a property's new value; ``known``: it can be written."""
        if not known:
            return Message("PropertyUnknown", (name,), name)
        fits = isinstance(value, _TYPES[name])
        if not fits:
            # a password is not said again
            return Message("PropertyValueTypeError", ("the value" if name == "Password" else str(value), name), name)
        if name == "RoleId" and value not in PRIVILEGES:
            return Message("PropertyValueNotInList", (value, name), name)
        if name == "UserName" and not (0 < len(value) <= 64 and value.isprintable() and ":" not in value):
            return Message("PropertyValueFormatError", (value[:64], name), name)
        if name == "UserName" and self._accounts.by_name(value) is not None:
            return Message("ResourceAlreadyExists", ("ManagerAccount", name, value), name)
        if name == "Password" and not MIN_PASSWORD <= len(value) <= MAX_PASSWORD:
            return Message("PropertyValueFormatError", ("the value", name), name)
        return None

    def _patch(self, id_: str, account: Account, request: Request, allow: str) -> Reply:
        wanted = request.headers.get("if-match")
        if wanted is not None and not matches(wanted, _tag(account)):
            return error(412, Message("PreconditionFailed"))
        told = read(request)
        if isinstance(told, Reply):
            return told
        if not told:
            return error(400, Message("EmptyJSON"))
        changes = {name: value for name, value in told.items() if not name.startswith("@odata.")}
        if not changes:
            return error(400, Message("NoOperation"))
        if not _manages(request) and set(changes) != {"Password"}:
            return error(403, Message("InsufficientPrivilege"))
        refused: list[Message] = []
        body = self._body(id_, account)
        for name, value in changes.items():
            if name in body and name not in _TYPES:
                refused.append(Message("PropertyNotWritable", (name,), name))
            elif name != "UserName" or value != account.user:
                problem = self._problem(name, value, known=name in _TYPES)
                refused += [problem] if problem else []
        bad = {message.property for message in refused}
        good = {name: value for name, value in changes.items() if name not in bad}
        if not good:
            return error(400, *refused)
        changed = account.changed(
            user=good.get("UserName"),
            password=good.get("Password"),
            role=good.get("RoleId"),
            enabled=good.get("Enabled"),
        )
        self._accounts.replace(id_, changed)
        if changed.user != account.user or not changed.enabled:
            self._end_sessions(account.user)
        reply = self._answer(id_, changed, Request("GET", request.path), allow)
        return Reply(200, reply.headers, annotate(reply.body, refused))

    def _delete(self, id_: str, account: Account, request: Request) -> Reply:
        if not _manages(request):
            return error(403, Message("InsufficientPrivilege"))
        wanted = request.headers.get("if-match")
        if wanted is not None and not matches(wanted, _tag(account)):
            return error(412, Message("PreconditionFailed"))
        self._accounts.remove(id_)
        self._end_sessions(account.user)
        return done()


def _manages(request: Request) -> bool:
    return "ConfigureUsers" in PRIVILEGES.get(request.role, ())


def _tag(account: Account) -> str:
    return f'"{account.user.encode().hex()[:16]}-{account.revision}"'
