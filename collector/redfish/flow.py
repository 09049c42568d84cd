"""Protocol talk without I/O: a flow is a generator that yields what to ask for and is sent what came back.

Whoever drives a flow owns the network: it authenticates, bounds and times the exchange. Any HTTP status goes into the
flow as an :class:`Answer`; what befalls the connection (a ``ControllerError``) ends the drive, and every flow here is
written so that it can be begun again from the start after that.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Generator
from typing import Any, TypeVar

from msgspec import Struct

from collector.model import Defect, DefectKind
from collector.redfish import links
from collector.redfish.bodies import decode
from collector.redfish.errors import Malformed
from collector.redfish.messages import told
from collector.redfish.wire import Reply
from collector.text import plain

T = TypeVar("T")


class Ask(Struct, frozen=True):
    """One request of a flow: a path with query on the controller, as the service spelt it."""

    method: str
    path: str
    body: dict[str, Any] | None = None
    """To be sent as JSON; None for no body."""
    etag: str = ""
    """For If-None-Match; "" for an unconditional request."""
    if_match: str = ""
    """For If-Match: the change is made only to what is still as it was read; "" for whatever stands there."""
    wait: float = 0.0
    """Seconds to let pass before it is asked."""


class Answer(Struct, frozen=True):
    """What came back, decoded."""

    status: int
    body: dict[str, Any] = {}
    """Empty where none came, or none that can be read: then ``unread`` says why."""
    etag: str = ""
    location: str = ""
    keys: tuple[str, ...] = ()
    """Message keys of an error body, without registry and version."""
    text: str = ""
    """The messages of an error body, in one line."""
    unread: tuple[DefectKind, str] | None = None
    """What is wrong with a body that can't be read."""
    retry_after: str = ""
    """The Retry-After header as told: seconds or a date (RFC 9110 10.2.3)."""

    @property
    def good(self) -> bool:
        """Whether it succeeded and its body, if any, could be read."""
        return 200 <= self.status < 300 and self.unread is None


Flow = Generator[Ask, Answer, T]


class Place(Struct, frozen=True):
    """Whose service a flow or reader deals with: the controller's name, and the origin that its links must stay on."""

    controller: str
    origin: str
    """E.g. ``https://192.0.2.17``, as in the fleet file."""

    def defect(self, resource: str, pointer: str, kind: DefectKind, detail: str) -> Defect:
        """A defect of this controller; its texts are made safe to show."""
        return Defect(
            controller=self.controller,
            resource=plain(resource, 500),
            property=plain(pointer),
            kind=kind,
            detail=plain(detail),
        )

    def target(self, link: object) -> links.Target:
        """Where a link leads; raises :class:`~collector.redfish.links.BadLink` where it can't be followed."""
        return links.target(link, self.origin)

    def linked(self, holder: object) -> links.Target | None:
        """Where ``{"@odata.id": …}`` leads; None where there is no link that can be followed."""
        if not isinstance(holder, dict):
            return None
        try:
            return self.target(holder.get("@odata.id"))
        except links.BadLink:
            return None

    def failure(self, ask: Ask, answer: Answer) -> Defect:
        """The defect that an answer without success stands for."""
        if answer.unread is not None:
            return self.defect(ask.path, "", *answer.unread)
        kind = DefectKind.DANGLING_LINK if answer.status in (404, 410) else DefectKind.HTTP_ERROR
        said = f": {answer.text}" if answer.text else ""
        return self.defect(ask.path, "", kind, f"{ask.method} was answered with status {answer.status}{said}")


def answered(ask: Ask, reply: Reply, controller: str) -> Answer:
    """A reply off the wire as an answer to a flow; a body that can't be read is told in it, not raised."""
    etag, location = reply.header(b"etag") or "", reply.header(b"location") or ""
    later = reply.header(b"retry-after") or ""
    if reply.status >= 400:
        said = told(reply.body)
        return Answer(reply.status, etag=etag, location=location, keys=said.keys, text=said.text, retry_after=later)
    if not reply.body.strip():
        missing = (DefectKind.NOT_JSON, "the answer is empty") if ask.method == "GET" and reply.status == 200 else None
        return Answer(reply.status, etag=etag, location=location, unread=missing, retry_after=later)
    try:
        body = decode(reply.body, controller, ask.path)
    except Malformed as error:
        # The answer to a POST or DELETE counts by its status; only what is asked for must be readable.
        unread = (error.defect or DefectKind.NOT_JSON, error.happened) if ask.method == "GET" else None
        return Answer(reply.status, etag=etag, location=location, unread=unread, retry_after=later)
    return Answer(reply.status, body, etag=etag, location=location, retry_after=later)


async def drive(flow: Flow[T], exchange: Callable[[Ask], Awaitable[Answer]]) -> T:
    """Runs a flow to its end; what ``exchange`` raises comes out, with the flow closed."""
    try:
        ask = next(flow)
        while True:
            ask = flow.send(await exchange(ask))
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]  # Generator[..., T] ends with a T
    finally:
        flow.close()
