"""What may go wrong between a good answer and the client, by name: the seam for faults of the wire.

A service always makes its answer as the standard has it; a :class:`Wire` then decides what of it arrives and how. It is
a script of steps that the server plays on a connection and that the in-process transport plays without one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum

from simulators.service import bombs
from simulators.service.bell import Pause
from simulators.service.http import JSON, ODATA, Reply, Request, head


class End(Enum):
    """How a script leaves the connection."""

    KEEP = "keep"
    CLOSE = "close"
    RESET = "reset"
    HANG = "hang"


Step = bytes | float | Pause | End
"""Bytes to send, seconds to wait, a wait that may end early, or the end."""


A_YEAR = 365 * 86_400.0
"""Seconds."""
BAD_CERTIFICATES = ("expired-certificate", "wrong-certificate")
"""Kinds that are in the certificate that is shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """A fault of the wire; ``Wire()`` is a clean one."""

    kind: str = "clean"
    """One of :data:`KINDS`."""
    delay: float = 0.0
    """Seconds: ``slow`` takes them for every request, one request at a time; ``drip`` between two bytes."""
    under: str = "/"
    """Only requests for paths that start with this are touched."""
    offset: float = -A_YEAR
    """``clock-off``: seconds that the controller's clock is ahead of the real one."""
    spare: int = 0
    """This many touched requests go well first; of ``login-lost``, between two losses."""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"no fault of the wire is called {self.kind!r}; there are: {', '.join(KINDS)}")
        if not (0.0 <= self.delay < float("inf") and self.spare >= 0):
            raise ValueError(f"delay ({self.delay}) and spare ({self.spare}) can't be negative or endless")

    @property
    def refuses(self) -> bool:
        """Whether nobody listens at all."""
        return self.kind == "refuse"

    def touches(self, request: Request, nth: int) -> bool:
        """Whether this request is spoilt, being the ``nth`` under :attr:`under` (from 0)."""
        return KINDS[self.kind].script is not None and nth >= self.spare and request.path.startswith(self.under)


def clean(reply: Reply, *, date: str, keep_alive: bool, body: bool = True) -> Iterator[Step]:
    """The script of an untouched reply; without its ``body`` in answer to HEAD."""
    told = head(reply, date=date, keep_alive=keep_alive, length=len(reply.body))
    yield told + reply.body if body else told
    yield End.KEEP if keep_alive else End.CLOSE


def play(wire: Wire, request: Request, reply: Reply, *, date: str, keep_alive: bool) -> Iterator[Step]:
    """The script of a reply that this wire spoils."""
    script = KINDS[wire.kind].script
    if script is None:
        return clean(reply, date=date, keep_alive=keep_alive)
    return script(Spoil(wire, request, reply, date, keep_alive))


@dataclass(frozen=True, slots=True)
class Spoil:
    """What a fault works on."""

    wire: Wire
    request: Request
    reply: Reply
    date: str
    keep_alive: bool

    def send(self, body: bytes, *, length: int | None = None, status: int | None = None) -> bytes:
        """Head and body, with a Content-Length that may lie."""
        reply = Reply(self.reply.status if status is None else status, self.reply.headers, body)
        told = len(body) if length is None else length
        return head(reply, date=self.date, keep_alive=self.keep_alive, length=told) + body

    def end(self) -> End:
        """How the connection is left after a whole answer."""
        return End.KEEP if self.keep_alive else End.CLOSE


def _hang(_: Spoil) -> Iterator[Step]:
    yield End.HANG


def _stall(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(b"", length=max(1, len(spoil.reply.body)))
    yield End.HANG


def _drip(spoil: Spoil) -> Iterator[Step]:
    for byte in spoil.send(spoil.reply.body):
        yield bytes([byte])
        yield spoil.wire.delay or 1.0
    yield spoil.end()


def _reset(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(spoil.reply.body[: len(spoil.reply.body) // 2], length=len(spoil.reply.body))
    yield End.RESET


def _truncated(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(spoil.reply.body[: len(spoil.reply.body) // 2])
    yield spoil.end()


def _html(spoil: Spoil) -> Iterator[Step]:
    page = b"<!DOCTYPE html>\n<html><head><title>Welcome</title></head><body><h1>It works</h1></body></html>\n"
    reply = Reply(200, (("Content-Type", "text/html"),), page)
    yield from clean(reply, date=spoil.date, keep_alive=spoil.keep_alive)


def _endless(spoil: Spoil) -> Iterator[Step]:
    reply = Reply(200, (JSON, ODATA, ("Transfer-Encoding", "chunked")))
    yield head(reply, date=spoil.date, keep_alive=spoil.keep_alive, length=None)
    yield b'c\r\n{"Members":[\r\n'
    item = b'{"Name":"' + b"x" * 4000 + b'"},'
    chunk = b"%x\r\n%b\r\n" % (len(item) * 16, item * 16)
    while True:
        yield chunk


_READING = re.compile(rb'("Reading(?:Celsius|Volts)?":)(-?[0-9.]+)')


def _nan(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(_READING.sub(rb"\1NaN", spoil.reply.body))
    yield spoil.end()


def _text_numbers(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(_READING.sub(rb'\1"\2"', spoil.reply.body))
    yield spoil.end()


def _page_loop(spoil: Spoil) -> Iterator[Step]:
    body = spoil.reply.body
    if b'"Members":[' in body:
        body = body[:-1] + b',"Members@odata.nextLink":"%b"}' % spoil.request.path.encode()
    yield spoil.send(body)
    yield spoil.end()


def _redirect(spoil: Spoil) -> Iterator[Step]:
    # TEST-NET-1 (RFC 5737): an address that nobody has
    reply = Reply(307, (("Location", f"https://192.0.2.1{spoil.request.path}"),))
    yield from clean(reply, date=spoil.date, keep_alive=spoil.keep_alive)


def _gzip_bomb(spoil: Spoil) -> Iterator[Step]:
    reply = Reply(200, (JSON, ODATA, ("Content-Encoding", "gzip")), bombs.gzip_bomb())
    yield from clean(reply, date=spoil.date, keep_alive=spoil.keep_alive)


def _deep(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(bombs.nested(spoil.reply.body) if spoil.reply.status == 200 else spoil.reply.body)
    yield spoil.end()


def _many_members(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(bombs.crowded(spoil.request.path, spoil.reply.body))
    yield spoil.end()


def _link_loop(spoil: Spoil) -> Iterator[Step]:
    yield spoil.send(bombs.looped(spoil.reply.body) if spoil.reply.body.startswith(b"{") else spoil.reply.body)
    yield spoil.end()


def _as_is(spoil: Spoil) -> Iterator[Step]:
    return clean(spoil.reply, date=spoil.date, keep_alive=spoil.keep_alive)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault."""

    text: str
    """What happens, one sentence for a person."""
    script: Callable[[Spoil], Iterator[Step]] | None = None
    """What goes over the wire; None where not the answer itself is changed."""


KINDS: dict[str, Kind] = {
    "clean": Kind("Nothing is wrong."),
    "refuse": Kind("Nobody listens on the port."),
    "login-lost": Kind("All sessions are forgotten, again and again, after so many good requests (spare)."),
    "slow": Kind("Every request takes so many seconds (delay), one after the other.", _as_is),
    "hang": Kind("Connections are accepted and requests never answered.", _hang),
    "stall": Kind("Nothing comes after the headers.", _stall),
    "drip": Kind("The answer comes byte by byte, with a second (delay) between two.", _drip),
    "reset": Kind("The connection is reset in the middle of the body.", _reset),
    "truncated": Kind("The body is only the first half of the JSON.", _truncated),
    "html": Kind("An HTML page comes with status 200.", _html),
    "endless": Kind("The body never ends.", _endless),
    "nan": Kind("Readings are the bare word NaN.", _nan),
    "text-numbers": Kind("Readings are strings.", _text_numbers),
    "page-loop": Kind("Every collection says that its next page is itself.", _page_loop),
    "redirect": Kind("Every request is redirected to another host.", _redirect),
    "gzip-bomb": Kind("The body is a quarter of a megabyte that unpacks to a quarter of a gigabyte.", _gzip_bomb),
    "deep-nesting": Kind("The body has 100,000 arrays within each other.", _deep),
    "many-members": Kind("Every collection lists 100,000 members, most of them not there.", _many_members),
    "link-loop": Kind("Every outermost chassis says that it is contained in what it contains.", _link_loop),
    "expired-certificate": Kind("The certificate has expired."),
    "wrong-certificate": Kind("The certificate is for another address."),
    "sessions-full": Kind("Others have taken all sessions: there is no room for one more."),
    "clock-off": Kind("The controller's clock is a year behind, or ahead by so many seconds (offset)."),
}
"""Every fault of the wire by name."""
