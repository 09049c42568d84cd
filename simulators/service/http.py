"""One HTTP exchange as values: what came in, what goes out. No I/O."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus

Headers = tuple[tuple[str, str], ...]


@dataclass(slots=True)
class Request:
    """What a client asks."""

    method: str
    path: str
    """As sent, without query and fragment, not percent-decoded."""
    query: str = ""
    """As sent, without the question mark."""
    headers: Mapping[str, str] = field(default_factory=dict)
    """By lower-case name."""
    body: bytes = b""
    time: float = 0.0
    """Epoch seconds at which it came."""
    client: str = ""
    """The client's address, where known."""
    user: str = ""
    """Name of who asks, once the service knows it."""
    role: str = ""
    """And his role."""


@dataclass(slots=True)
class Reply:
    """What the service answers, before anything on the wire may spoil it."""

    status: int
    headers: Headers = ()
    """Without Content-Length, Date and Connection, which belong to the connection."""
    body: bytes = b""

    def header(self, name: str) -> str | None:
        """A header's first value, whatever its case; None when not there."""
        name = name.lower()
        return next((value for key, value in self.headers if key.lower() == name), None)


JSON = ("Content-Type", "application/json; charset=utf-8")
XML = ("Content-Type", "application/xml; charset=utf-8")
ODATA = ("OData-Version", "4.0")
NO_CACHE = ("Cache-Control", "no-cache")

REASON = {status.value: status.phrase for status in HTTPStatus}


def head(reply: Reply, *, date: str, keep_alive: bool, length: int | None) -> bytes:
    """Status line and headers as they go over the wire; ``length`` None leaves Content-Length out."""
    lines = [f"HTTP/1.1 {reply.status} {REASON.get(reply.status, '')}\r\n"]
    lines += [f"{name}: {value}\r\n" for name, value in reply.headers]
    lines.append(f"Date: {date}\r\n")
    if length is not None and reply.status not in (204, 304):
        lines.append(f"Content-Length: {length}\r\n")
    if not keep_alive:
        lines.append("Connection: close\r\n")
    lines.append("\r\n")
    return "".join(lines).encode("latin-1", "replace")
