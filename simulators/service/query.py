"""Query parameters of DSP0266 ("Query parameters"), on a tree of bodies: $expand, $select, only, $top, $skip.

Everything here works on the bodies as written, with their holes (:class:`~simulators.service.template.Live`) in
place, so that an answer to a query is compiled once a design and not once a request.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote_plus

import msgspec

from simulators.service.messages import Message
from simulators.service.template import Live

Body = dict[str, Any]
Lookup = Callable[[str], "Body | None"]


class QueryError(Exception):
    """The query can't be obeyed; carries the HTTP status and the message for the error body."""

    def __init__(self, status: int, message: Message) -> None:
        self.status = status
        self.message = message
        super().__init__(message.body()["Message"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Features:
    """What a service says in ``ProtocolFeaturesSupported``, and keeps."""

    expand: str = ""
    """The $expand words it knows, of ``.~*``."""
    max_levels: int = 1
    select: bool = False
    only: bool = False
    top_skip: bool = False
    etags: bool = False
    page: int = 0
    """Members of a collection in one answer, the rest by nextLink; 0: all at once."""
    max_expanded: int = 2_000
    """Resources in one answer above which the service says 507 instead."""

    def body(self) -> Body:
        """As the ``ProtocolFeaturesSupported`` object of the service root."""
        return {
            "ExpandQuery": {
                "ExpandAll": "*" in self.expand,
                "NoLinks": "." in self.expand,
                "Links": "~" in self.expand,
                "Levels": bool(self.expand),
                **({"MaxLevels": self.max_levels} if self.expand else {}),
            },
            "SelectQuery": self.select,
            "OnlyMemberQuery": self.only,
            "TopSkipQuery": self.top_skip,
            "FilterQuery": False,
            "ExcerptQuery": False,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """What is asked, checked against what the service can."""

    expand: str = ""
    """``.``, ``~`` or ``*``; empty for none."""
    levels: int = 1
    select: tuple[str, ...] = ()
    only: bool = False
    top: int | None = None
    skip: int = 0
    token: int = 0
    """Members that earlier pages brought: ``$skiptoken``, which the service puts into its nextLinks."""


_EXPAND = re.compile(r"([.~*])(?:\(\$levels=(\d{1,9})\))?")
_SELECT = re.compile(r"[A-Za-z0-9_@.#*/,-]+")


def parse(text: str, features: Features) -> Query:
    """Read a query string. Unknown parameters are ignored unless they start with ``$``: those are refused (DSP0266).

    Raises :class:`QueryError`.
    """
    told: dict[str, str] = {}
    for pair in text.split("&"):
        name, _, value = pair.partition("=")
        name = unquote_plus(name)
        if name in told:
            raise QueryError(400, Message("QueryCombinationInvalid"))
        if name:
            told[name] = unquote_plus(value)

    levels, expand = 1, ""
    top: int | None = None
    skip = token = 0
    select: tuple[str, ...] = ()
    for name, value in told.items():
        if name == "$expand" and features.expand:
            expand, levels = _expand(value, features)
        elif name == "$select" and features.select:
            if not _SELECT.fullmatch(value):
                raise QueryError(400, Message("QueryParameterValueFormatError", (value, name)))
            select = tuple(value.split(","))
        elif name == "$top" and features.top_skip:
            top = _count(name, value)
        elif name == "$skip" and features.top_skip:
            skip = _count(name, value)
        elif name == "$skiptoken" and features.page:
            token = _count(name, value)
        elif name.startswith("$"):
            raise QueryError(501, Message("QueryParameterUnsupported", (name,)))
    only = features.only and "only" in told
    if only and (told["only"] or len(told) > 1):
        # DSP0266: `only` takes no value and can't be combined with another query parameter
        raise QueryError(400, Message("QueryCombinationInvalid"))
    return Query(expand=expand, levels=levels, select=select, only=only, top=top, skip=skip, token=token)


def _expand(value: str, features: Features) -> tuple[str, int]:
    found = _EXPAND.fullmatch(value)
    if found is None:
        raise QueryError(400, Message("QueryParameterValueFormatError", (value, "$expand")))
    if found[1] not in features.expand:
        raise QueryError(501, Message("QueryParameterUnsupported", ("$expand",)))
    levels = 1 if found[2] is None else int(found[2])
    if not 1 <= levels <= features.max_levels:
        raise QueryError(400, Message("QueryParameterOutOfRange", (str(levels), "$levels", f"1-{features.max_levels}")))
    return found[1], levels


def _count(name: str, value: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", value):
        raise QueryError(400, Message("QueryParameterValueFormatError", (value, name)))
    return int(value)


def answer(path: str, body: Body, query: Query, lookup: Lookup, features: Features) -> Body:
    """The body that answers a query on a resource. Raises :class:`QueryError`."""
    collection = "Members" in body
    if query.only:
        if not collection:
            raise QueryError(400, Message("QueryNotSupportedOnResource"))
        if len(body["Members"]) != 1:
            return body
        path = body["Members"][0]["@odata.id"]
        member = lookup(path)
        return body if member is None else member
    if query.top is not None or query.skip:
        if not collection:
            raise QueryError(400, Message("QueryNotSupportedOnResource"))
        body = _page(path, body, query)
    if collection and features.page:
        body = _turn(path, body, query, features.page)
    if query.expand:
        body = _Expander(query, lookup, features.max_expanded).expand(body, query.levels, (path,))
    if query.select:
        body = select(body, query.select)
    return body


def _page(path: str, body: Body, query: Query) -> Body:
    members = body["Members"]
    end = len(members) if query.top is None else query.skip + query.top
    page = {**body, "Members": members[query.skip : end]}
    if end < len(members) and query.top:
        page["Members@odata.nextLink"] = f"{path}?$skip={end}&$top={query.top}"
    return page


def _turn(path: str, body: Body, query: Query, size: int) -> Body:
    """One page of a service that turns pages by itself (DSP0266, "Resource collection responses")."""
    members = body["Members"]
    end = query.token + size
    page = {**body, "Members": members[query.token : end]}
    if end < len(members):
        told = [f"$expand={query.expand}($levels={query.levels})"] if query.expand else []
        told += [f"$select={','.join(query.select)}"] if query.select else []
        page["Members@odata.nextLink"] = f"{path}?{'&'.join([*told, f'$skiptoken={end}'])}"
    return page


class _Expander:
    """Puts the linked resources in place of their links, level by level."""

    def __init__(self, query: Query, lookup: Lookup, budget: int) -> None:
        self._budget = budget
        self._in_links = query.expand in "~*"
        self._outside = query.expand in ".*"
        self._lookup = lookup

    def expand(self, body: Body, levels: int, trail: tuple[str, ...]) -> Body:
        return {
            key: self._value(value, levels, trail, self._in_links if key == "Links" else self._outside)
            for key, value in body.items()
        }

    def _value(self, value: Any, levels: int, trail: tuple[str, ...], wanted: bool) -> Any:
        if isinstance(value, list):
            return [self._value(item, levels, trail, wanted) for item in value]
        if not isinstance(value, dict):
            return value
        path = value.get("@odata.id")
        if len(value) == 1 and isinstance(path, str):
            # a resource inside its own expansion stays a link, else links in both directions never end
            target = None if not wanted or path in trail else self._lookup(path)
            if target is None:
                return value
            self._budget -= 1
            if self._budget < 0:
                raise QueryError(507, Message("InsufficientStorage"))
            return target if levels == 1 else self.expand(target, levels - 1, (*trail, path))
        return {
            key: self._value(item, levels, trail, self._in_links if key == "Links" else wanted)
            for key, item in value.items()
        }


_ALWAYS = ("@odata.id", "@odata.type", "@odata.context", "@odata.etag")


def select(body: Body, names: tuple[str, ...]) -> Body:
    """Only the named properties (paths with ``/``), besides the annotations that every body keeps.

    On a collection the names are looked for in the members, as DSP0266 has it for expanded ones, and in itself.
    """
    if "*" in names:
        return body
    wanted: dict[str, Any] = {}
    for name in names:
        node = wanted
        for step in name.split("/"):
            node = node.setdefault(step, {})
    chosen = _choose(body, wanted)
    if "Members" in body:
        for key in ("Members@odata.count", "Members@odata.nextLink"):
            if key in body:
                chosen[key] = body[key]
        chosen["Members"] = [
            member if len(member) == 1 else _choose(member, wanted) if isinstance(member, dict) else member
            for member in body["Members"]
        ]
    return chosen


def _choose(body: Mapping[str, Any], wanted: Mapping[str, Any]) -> Body:
    chosen: Body = {}
    for key, value in body.items():
        if key in _ALWAYS:
            chosen[key] = value
        elif key in wanted:
            chosen[key] = _narrow(value, wanted[key])
        elif key.partition("@")[0] in wanted and "@" in key[1:]:
            chosen[key] = value  # an annotation of a property that was asked for
    return chosen


def _narrow(value: Any, wanted: Mapping[str, Any]) -> Any:
    if not wanted:
        return value
    if isinstance(value, Live):
        fill = value.fill

        def narrower(now: Any) -> bytes:
            text = fill(now)
            return msgspec.json.encode(_narrow(msgspec.json.decode(text), wanted)) if text else text

        return type(value)(narrower)
    if isinstance(value, list):
        return [_narrow(item, wanted) for item in value]
    return _choose(value, wanted) if isinstance(value, dict) else value
