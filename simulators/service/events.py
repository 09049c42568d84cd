"""The event service: subscriptions, streams of server-sent events, test events (DSP0266, "Eventing")."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import msgspec

from simulators.service import query, subscribe
from simulators.service.annex import answer, done, not_allowed, read
from simulators.service.bell import Pause
from simulators.service.event_bodies import (
    EVENT_SERVICE,
    RESUME,
    STREAM,
    SUBSCRIPTIONS,
    TEST,
    message,
    newer,
    path_of,
    schema,
    subscription_body,
)
from simulators.service.eventwords import words
from simulators.service.http import NO_CACHE, ODATA, Reply, Request
from simulators.service.journal import Journal, Record
from simulators.service.messages import Message, error
from simulators.service.offers import EventStyle
from simulators.service.query import Body, QueryError
from simulators.service.subscriptions import Filter, LimitReached, Subscription, Table
from simulators.service.tree import Tree, link

KEEP_ALIVE = 15.0
"""Seconds without an event after which a stream says that it still lives."""
OPENING = b": open\n\n"
"""What a stream begins with."""
MOST = 16
"""Events in one message."""
_BASE_TAKES = (
    *("Destination", "Protocol", "Context", "HttpHeaders", "SubscriptionType", "EventFormatType", "EventTypes"),
    *("RegistryPrefixes", "MessageIds", "OriginResources", "SubordinateResources", "ResourceTypes"),
    *("DeliveryRetryPolicy", "Name"),
)
_MODERN_TAKES = (*_BASE_TAKES, "IncludeOriginOfCondition", "VerifyCertificate", "Severities")
_TEST_TYPES: dict[str, type] = {
    "EventGroupId": int,
    "EventId": str,
    "EventTimestamp": str,
    "EventType": str,
    "Message": str,
    "MessageArgs": list,
    "MessageId": str,
    "MessageSeverity": str,
    "OriginOfCondition": str,
    "Severity": str,
}


Feed: TypeAlias = Generator[bytes | Pause, None, None]


@dataclass(slots=True)
class Streaming(Reply):
    """A reply whose body has no end: a script of pieces and waits."""

    feed: Callable[[], Feed] = field(kw_only=True)


class Events:
    """A service's subscribers, and what they are told."""

    __slots__ = (
        "_entry",
        "_journal",
        "_report",
        "_style",
        "_tree",
        "far",
        "keep_alive",
        "on_pending",
        "table",
    )

    def __init__(
        self,
        tree: Tree,
        style: EventStyle,
        journal: Journal,
        entry: Callable[[Record], str | None],
        keep_alive: float,
        report: Callable[[], bytes | None] = lambda: None,
    ) -> None:
        """``entry`` gives the URI of a record's log entry; ``report``: the metric report as it is now."""
        self.table = Table(style.subscriptions, style.streams)
        self.keep_alive = keep_alive
        self.far = False
        """Whether destinations that are not this machine are taken; nothing is ever sent there."""
        self.on_pending: Callable[[Subscription], None] | None = None
        """Called when there may be something to post to a subscriber."""
        self._tree = tree
        self._style = style
        self._journal = journal
        self._entry = entry
        self._report = report
        journal.on_record = self._announce

    def _announce(self) -> None:
        for subscription in self.table.all():
            self._wake(subscription)

    def _wake(self, subscription: Subscription) -> None:
        if subscription.destination is None:
            subscription.bell.ring()
        elif subscription.suspended:
            subscription.sent = self._journal.last
        elif self.on_pending is not None:
            self.on_pending(subscription)

    def suspend(self, subscription: Subscription) -> None:
        """Tell it nothing until it is resumed; what happens meanwhile it never learns."""
        subscription.suspended = True
        subscription.sent = self._journal.last

    def owns(self, path: str) -> bool:
        """Whether it is the stream, an action, the subscriptions or one of them."""
        return path.startswith(f"{EVENT_SERVICE}/")

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Answer a request for one of those."""
        if path == STREAM and self._style.streams:
            return self._stream(request) if method == "GET" else not_allowed("GET")
        if path == SUBSCRIPTIONS or path == f"{SUBSCRIPTIONS}/Members":
            return self._collection(path, method, request)
        if path == TEST:
            return self._test(request) if method == "POST" else not_allowed("POST")
        id_, _, rest = path.removeprefix(f"{SUBSCRIPTIONS}/").partition("/")
        subscription = self.table.get(id_) if path.startswith(f"{SUBSCRIPTIONS}/") else None
        if subscription is None or (rest and rest != RESUME):
            return error(404, Message("ResourceMissingAtURI", (path,)))
        if rest:
            return self._resume(subscription, request) if method == "POST" else not_allowed("POST")
        return self._member(subscription, method, request)

    # the collection and its members

    def _collection(self, path: str, method: str, request: Request) -> Reply:
        allow = "GET, HEAD, POST"
        if method == "POST":
            return self._subscribe(request)
        if path != SUBSCRIPTIONS:
            return error(404, Message("ResourceMissingAtURI", (path,)))
        if method != "GET":
            return not_allowed(allow)
        members = [link(path_of(one)) for one in self.table.all()]
        body: Body = {
            "@odata.id": SUBSCRIPTIONS,
            "@odata.type": "#EventDestinationCollection.EventDestinationCollection",
            "Name": "Event subscriptions",
            "Members": members,
            "Members@odata.count": len(members),
        }
        return self._query(path, body, request, allow)

    def _query(self, path: str, body: Body, request: Request, allow: str) -> Reply:
        features = self._tree.features
        if request.query or (features.page and "Members" in body):
            try:
                asked = query.parse(request.query, features)
                body = query.answer(path, body, asked, self.lookup, features)
            except QueryError as refusal:
                return error(refusal.status, refusal.message)
        return answer(body, request, allow, etags=features.etags)

    def lookup(self, path: str) -> Body | None:
        """The body of a subscription; None where there is none."""
        found = self.table.get(path.removeprefix(f"{SUBSCRIPTIONS}/"))
        return None if found is None or path_of(found) != path else subscription_body(self._style, found)

    def _subscribe(self, request: Request) -> Reply:
        takes = _MODERN_TAKES if newer(self._style) else _BASE_TAKES
        reports = self._style.report_every > 0.0
        wanted = subscribe.subscription(request, self._known, takes, far=self.far, reports=reports)
        if isinstance(wanted, Reply):
            return wanted
        try:
            made = self.table.open(
                destination=wanted.destination,
                context=wanted.context,
                filter=wanted.filter,
                policy=wanted.policy,
                sent=self._journal.last,
                headers=wanted.headers,
                reports=wanted.reports,
                now=request.time,
            )
        except LimitReached:
            return error(503, Message("EventSubscriptionLimitExceeded"))
        reply = answer(
            subscription_body(self._style, made), request, "GET, HEAD, PATCH, DELETE", etags=self._tree.features.etags
        )
        return Reply(201, (*reply.headers, ("Location", path_of(made))), reply.body)

    def _known(self, path: str) -> bool:
        return path.partition("#")[0].rstrip("/") in self._tree.resources

    def _type_of(self, path: str) -> str:
        body = self._tree.body(path.partition("#")[0])
        return "" if body is None else schema(body)

    def _member(self, subscription: Subscription, method: str, request: Request) -> Reply:
        allow = "GET, HEAD, PATCH, DELETE"
        if method == "GET":
            return self._query(path_of(subscription), subscription_body(self._style, subscription), request, allow)
        if method == "DELETE":
            self.table.close(subscription)
            return done()
        if method != "PATCH":
            return not_allowed(allow)
        told = read(request)
        if isinstance(told, Reply):
            return told
        wanted = {name: value for name, value in told.items() if not name.startswith("@odata.")}
        if not wanted:
            return error(400, Message("EmptyJSON" if not told else "NoOperation"))
        problems = []
        body = subscription_body(self._style, subscription)
        for name, value in wanted.items():
            if name == "Context" and (value is None or isinstance(value, str)):
                continue
            if name == "DeliveryRetryPolicy" and subscription.destination is not None and value in subscribe.POLICIES:
                continue
            if name not in ("Context", "DeliveryRetryPolicy"):
                problems.append(Message("PropertyNotWritable" if name in body else "PropertyUnknown", (name,), name))
            else:
                problems.append(Message("PropertyValueTypeError", (str(value)[:200], name), name))
        if problems:
            return error(400, *problems)
        subscription.context = wanted.get("Context", subscription.context)
        subscription.policy = wanted.get("DeliveryRetryPolicy", subscription.policy)
        return answer(subscription_body(self._style, subscription), request, allow, etags=self._tree.features.etags)

    def _resume(self, subscription: Subscription, request: Request) -> Reply:
        told = read(request, empty=True)
        if isinstance(told, Reply):
            return told
        for name in told:
            return error(400, Message("ActionParameterUnknown", ("ResumeSubscription", name)))
        if subscription.suspended:
            subscription.suspended, subscription.failures = False, 0
        return done()

    # telling

    def message(self, subscription: Subscription, records: list[Record]) -> Body:
        """An event message of some records for a subscriber."""
        return message(self._style, subscription, records, self._entry)

    def tick(self, now: float) -> None:
        """Tell who is posted metric reports that it is time for one; to be called now and then."""
        every = self._style.report_every
        for subscription in self.table.all() if every else ():
            if subscription.reports and now - subscription.reported >= every and not subscription.suspended:
                subscription.reported = now
                if self.on_pending is not None:
                    self.on_pending(subscription)

    def report(self, subscription: Subscription) -> bytes | None:
        """The metric report for a subscriber that takes them; None for one that doesn't."""
        return self._report() if subscription.reports else None

    def due(self, subscription: Subscription) -> list[Record]:
        """What a subscriber is to be told next."""
        return subscription.due(self._journal, self._type_of, MOST)

    def _stream(self, request: Request) -> Reply:
        if request.query:
            pairs = [pair.partition("=")[0] for pair in request.query.split("&")]
            for name in pairs:
                if name.startswith(("$", "%24")):
                    return error(501, Message("QueryParameterUnsupported", (name,)))
        last = request.headers.get("last-event-id", "").strip()
        sent = min(int(last), self._journal.last) if last.isascii() and last.isdigit() and len(last) < 12 else None
        headers = (ODATA, NO_CACHE, ("Content-Type", "text/event-stream; charset=utf-8"))
        if request.method == "HEAD":
            return Reply(200, headers)
        try:
            subscription = self.table.open(
                destination=None,
                context=None,
                filter=Filter(),
                policy="RetryForever",
                sent=self._journal.last if sent is None else sent,
                now=request.time,
            )
        except LimitReached:
            return error(503, Message("EventSubscriptionLimitExceeded"))
        return Streaming(200, headers, feed=lambda: self._feed(subscription))

    def _feed(self, subscription: Subscription) -> Feed:
        try:
            yield OPENING
            while subscription.open:
                records = self.due(subscription)
                if records:
                    yield self._frame(subscription, records)
                    subscription.told(records)
                    continue
                before = self._journal.last
                yield Pause(min(self.keep_alive, self._style.report_every or self.keep_alive), subscription.bell)
                if subscription.open and self._journal.last == before:
                    report = self._report() if self._style.report_every else None
                    # without an id of its own: where the reader stands among the events stays as it was
                    yield b": still here\n\n" if report is None else b"data: %b\n\n" % report
        finally:
            # also when the reader went away
            self.table.close(subscription)

    def _frame(self, subscription: Subscription, records: list[Record]) -> bytes:
        text = msgspec.json.encode(self.message(subscription, records))
        if self._style.indent:
            text = msgspec.json.format(text, indent=1)
        lines = b"".join(b"data: " + line + b"\n" for line in text.split(b"\n"))
        return b"id: %d\n%b\n" % (records[-1].number, lines)

    def _test(self, request: Request) -> Reply:
        told = read(request, empty=True)
        if isinstance(told, Reply):
            return told
        problems = _check_test(told)
        if problems:
            return error(400, *problems)
        id_ = told.get("MessageId", "ResourceEvent.1.4.TestMessage")
        known, args = words(id_), tuple(told.get("MessageArgs", ()))
        severity = told.get("MessageSeverity", told.get("Severity", known.severity if known else "OK"))
        number = self._journal.last + 1
        record = Record(
            number=number,
            time=request.time,
            message=id_,
            args=args,
            origin=told.get("OriginOfCondition", EVENT_SERVICE),
            severity=severity,
            group=told.get("EventGroupId", number),
            text=told.get("Message", None if known else id_),
            logged=False,
        )
        self._journal.write(record)
        self._announce()
        return done()


def _check_test(told: dict[str, Any]) -> list[Message]:
    action, problems = "SubmitTestEvent", list[Message]()
    for name, value in told.items():
        wanted = _TEST_TYPES.get(name)
        if wanted is None:
            problems.append(Message("ActionParameterUnknown", (action, name)))
        elif not isinstance(value, wanted) or (name == "MessageArgs" and not _strings(value)):
            problems.append(Message("ActionParameterValueTypeError", (str(value)[:200], name, action)))
        elif name in ("Severity", "MessageSeverity") and value not in ("OK", "Warning", "Critical"):
            problems.append(Message("ActionParameterValueNotInList", (str(value), name, action)))
    return problems


def _strings(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)
