"""What the parts of a service that come and go share: who answers for a path, and how an answer is made."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from typing import Any, Protocol

import msgspec

from simulators.service.http import JSON, NO_CACHE, ODATA, Headers, Reply, Request
from simulators.service.messages import Message, error
from simulators.service.query import Body
from simulators.service.tree import described_by


class Annex(Protocol):
    """Resources that a service makes as they come and go, beside the tree that is written once a design."""

    def owns(self, path: str) -> bool:
        """Whether requests for this path are for it."""

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Answer one; ``method`` has GET for HEAD."""


def etag(body: bytes) -> str:
    """A strong entity tag: it changes when a byte of the body does."""
    return f'"{zlib.crc32(body):08x}{len(body):x}"'


def matches(header: str | None, tag: str) -> bool:
    """Whether a list of entity tags, or ``*``, has this one; weak comparison (RFC 9110)."""
    if header is None:
        return False
    return any(item.strip().removeprefix("W/") in (tag, "*") for item in header.split(","))


def answer(body: Body, request: Request, allow: str, *, etags: bool) -> Reply:
    """A body as the answer to a GET."""
    text = msgspec.json.encode(body)
    headers: Headers = (ODATA, JSON, NO_CACHE, ("Allow", allow), described_by(body["@odata.type"]))
    if not etags:
        return Reply(200, headers, text)
    tag = etag(text)
    headers = (*headers, ("ETag", tag))
    return Reply(304, headers) if matches(request.headers.get("if-none-match"), tag) else Reply(200, headers, text)


def annotate(body: bytes, refused: Sequence[Message]) -> bytes:
    """A resource with messages about the properties that a PATCH could not change (DSP0266, "PATCH")."""
    if not refused:
        return body
    extra = msgspec.json.encode({"@Message.ExtendedInfo": [message.body() for message in refused]})
    return body[:-1] + b"," + extra[1:]


def not_allowed(allow: str) -> Reply:
    """The method is none for that path."""
    return error(405, Message("OperationNotAllowed"), headers=(("Allow", allow),))


def done() -> Reply:
    """An action or a deletion went well and has nothing to say."""
    return Reply(204, (ODATA, NO_CACHE))


def read(request: Request, *, empty: bool = False) -> dict[str, Any] | Reply:
    """The JSON object of a request; an error reply where it is none. ``empty``: no body at all will do."""
    if empty and not request.body:
        return {}
    try:
        told = msgspec.json.decode(request.body)
    except (msgspec.DecodeError, RecursionError):
        return error(400, Message("MalformedJSON"))
    return told if isinstance(told, dict) else error(400, Message("UnrecognizedRequestBody"))
