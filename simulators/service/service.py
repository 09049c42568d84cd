"""One management controller's Redfish service: a request in, a reply out. No I/O, no clock.

What DSP0266 asks of a service towards its clients is here: authentication, methods, query parameters, ETags, errors.
What stands in the bodies is the tree's affair; what becomes of the answer on its way is the wire's.
"""

from __future__ import annotations

import weakref
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Protocol

from simulators.service import wire as wires
from simulators.service.account_table import AccountTable
from simulators.service.annex import Annex, etag, matches
from simulators.service.controls import Controls, Hands
from simulators.service.events import KEEP_ALIVE, OPENING, Events, Streaming
from simulators.service.http import Reply, Request, head
from simulators.service.journal import Journal
from simulators.service.live import Moment, full, iso
from simulators.service.login import Login
from simulators.service.logs import Logs
from simulators.service.manners import Manner
from simulators.service.messages import Message, error
from simulators.service.patch import patch
from simulators.service.query import QueryError
from simulators.service.refusals import refused_headers
from simulators.service.reports import REPORT
from simulators.service.sessions import Account, Accounts
from simulators.service.settings import Kept
from simulators.service.tree import ROOT, Tree
from simulators.service.watcher import Watcher
from simulators.service.wire import End, Step, Wire
from simulators.site import Equipment
from simulators.telemetry import Mode, PartPoint, SledTelemetry

METHODS = frozenset({"GET", "HEAD", "POST", "PATCH", "PUT", "DELETE", "OPTIONS"})
LAG = 8.0
"""Seconds for which the bodies that lag keep telling the same."""
_UP_DAYS = 60.0
"""Days for which a controller has been up, at most and about, when it is first asked."""
WARM_UP = 3.0
"""Seconds after a reboot in which the service answers 503 with Retry-After."""


class Source(Hands, Protocol):
    """The sled behind a service."""

    def telemetry(self) -> SledTelemetry:
        """What the sled's controller sees now; the same object until something changes."""

    def acquired(self) -> float:
        """When that was acquired, epoch seconds of the real clock."""

    def set_locate(self, part: str, on: bool) -> None:
        """Switch the locate lamp of a part, by its path on the site."""


class Service:
    """A sled's service. Not safe for threads."""

    def __init__(
        self,
        sled: Equipment,
        tree: Tree,
        source: Source,
        account: Account,
        *,
        admin: Account | None = None,
        max_sessions: int = 8,
        pace: tuple[float, float] | None = None,
        keep_alive: float = KEEP_ALIVE,
    ) -> None:
        """``account``: who watches; ``admin``: who may also do what changes the controller itself.

        ``pace``: least and most seconds that each request takes, one after the other; None: no time of its own.

        ``keep_alive``: seconds after which a stream without events says that it still lives.
        """
        self.sled = sled
        self.tree = tree
        self.login = Login(tree, Accounts(account) if admin is None else Accounts(account, admin), max_sessions)
        self.on_change: Callable[[], None] | None = None
        """Called when whether the service listens may have changed."""
        self.requests = 0
        """Requests answered."""
        self._source = source
        self._wire = Wire()
        self._touched = 0
        self._pace = pace
        self._before: Moment | None = None
        self._kept: Kept = {}
        self._controls: Controls | None = None
        self._manner = Manner.WILLING
        self.journal: Journal | None = None
        """What happened in the sled; None in a dialect that tells no events."""
        self.events: Events | None = None
        """Who is told of it at once; None in a dialect that tells nobody."""
        self._watcher: Watcher | None = None
        self._annexes: tuple[Annex, ...] = ()
        self._seen: weakref.ref[SledTelemetry] | None = None
        self._surround(keep_alive)
        self._since: dict[tuple[str, str], float] = {}
        self._down = False
        self.cut_off = False
        """Whether no packet reaches the controller: whoever connects hears nothing."""
        self._restarted: float | None = None
        self._booted: float | None = None
        self._ready_at = 0.0
        self._busy_until = 0.0

    def _surround(self, keep_alive: float) -> None:
        around = self.tree.around
        if around is None:
            return
        offer = around.offer
        self.journal = Journal(offer.logs.capacity)
        self._watcher = Watcher(self.sled, around.telling, self.journal)
        logs = Logs(around.logs, offer.logs, self.tree.features, self.journal, self._watcher)
        accounts = AccountTable(self.login.accounts, offer, self.tree.features, self.login.sessions.end)
        self._annexes = (logs, accounts)
        if offer.events is not None:
            self.events = Events(self.tree, offer.events, self.journal, logs.uri, keep_alive, self._report)
            self._annexes = (logs, self.events, accounts)
        if around.controls:
            task = offer.resets.task if offer.resets is not None else 0.0
            self._controls = Controls(around.controls, self.sled, self._source, self._kept, task)
            self._annexes = (*self._annexes, self._controls)

    @property
    def name(self) -> str:
        """The sled's or shelf's, and so the controller's, name."""
        return self.sled.name

    @property
    def wire(self) -> Wire:
        """What the wire does to the answers."""
        return self._wire

    @wire.setter
    def wire(self, wire: Wire) -> None:
        if self._wire.kind == "sessions-full":
            self.login.sessions.disperse()
        self._wire = wire
        self._touched = 0
        if self.on_change is not None:
            self.on_change()

    @property
    def manner(self) -> Manner:
        """How it takes what it is asked to change."""
        return self._manner

    @manner.setter
    def manner(self, manner: Manner) -> None:
        self._manner = manner
        if self._controls is not None:
            self._controls.manner = manner

    @property
    def listening(self) -> bool:
        """Whether a connection is accepted at all: not while the controller reboots or is cut off, or the wire refuses.

        A loopback port can't be without a route, so there one that is cut off refuses.
        """
        return not (self._down or self.cut_off or self._wire.refuses)

    def observe(self, now: float) -> Mode:
        """Take notice of how the controller does; to be called now and then, and before every exchange.

        A reboot forgets all sessions; after it the service says 503 for :data:`WARM_UP` seconds.
        """
        telemetry = self._source.telemetry()
        controller = telemetry.controller
        mode = controller.mode
        down = mode is Mode.REBOOTING
        if self._booted is None:
            self._booted = now - _UP_DAYS * 86_400.0 * (0.2 + self._chance())
        if controller.restarted is not None and controller.restarted != self._restarted:
            self._restarted = controller.restarted
            self._booted = now - (telemetry.time - controller.restarted)
        if controller.cut_off != self.cut_off:
            self.cut_off = controller.cut_off
            if self.on_change is not None:
                self.on_change()
        if down != self._down:
            self._down = down
            if down:
                self.login.sessions.forget()
            else:
                self._ready_at = now + WARM_UP
                if self._watcher is not None:
                    self._watcher.reset(now)
            if self.on_change is not None:
                self.on_change()
        return mode

    def exchange(self, request: Request, *, date: str, keep_alive: bool) -> Iterator[Step]:
        """The script of what goes over the connection in answer to a request."""
        mode = self.observe(request.time)
        if mode is not Mode.SERVING:
            yield End.RESET if mode is Mode.REBOOTING else End.HANG
            return
        takes = self.takes()
        if takes > 0.0:
            yield self._queued(request.time, takes)
        wire, nth = self._wire, self._touched
        if wire.kind != "clean" and request.path.startswith(wire.under):
            self._touched += 1
            if wire.kind == "slow":
                yield self._queued(request.time, wire.delay)
            elif wire.kind == "login-lost" and nth >= wire.spare:
                self.login.sessions.forget()
                self._touched = 0
            elif wire.kind == "sessions-full":
                self.login.sessions.crowd(request.time)
        reply = self.respond(request)
        if isinstance(reply, Streaming):
            yield from self._streamed(reply, request, wire if wire.touches(request, nth) else Wire(), date)
        elif wire.touches(request, nth):
            yield from wires.play(wire, request, reply, date=date, keep_alive=keep_alive)
        else:
            yield from wires.clean(reply, date=date, keep_alive=keep_alive, body=request.method != "HEAD")

    def _streamed(self, reply: Streaming, request: Request, wire: Wire, date: str) -> Iterator[Step]:
        """The script of an answer without end; what it holds on to is let go when the script is closed."""
        feed = reply.feed()
        try:
            if wire.kind not in ("clean", "slow"):
                begin = Reply(reply.status, reply.headers, OPENING)
                next(feed)
                yield from wires.play(wire, request, begin, date=date, keep_alive=False)
                return
            headers = (*reply.headers, ("Transfer-Encoding", "chunked"))
            yield head(Reply(reply.status, headers), date=date, keep_alive=False, length=None)
            for piece in feed:
                while self._source.telemetry().controller.mode is Mode.HUNG:
                    yield 1.0
                yield b"%x\r\n%b\r\n" % (len(piece), piece) if isinstance(piece, bytes) else piece
            yield b"0\r\n\r\n"
            yield End.CLOSE
        finally:
            feed.close()

    def takes(self) -> float:
        """Seconds that the controller takes for the next answer: its dialect's pace, and more where it is ill."""
        least, most = self._pace or (0.0, 0.0)
        slow = self._source.telemetry().controller.slow
        return least + (most - least) * self._chance() + slow

    @property
    def clock_ahead(self) -> float:
        """Seconds that the controller's clock is ahead."""
        wire = self._wire.offset if self._wire.kind == "clock-off" else 0.0
        return wire + self._source.telemetry().controller.clock

    def ready(self, now: float) -> bool:
        """Whether it serves again after a reboot."""
        return now >= self._ready_at

    def bodies(self, targets: Iterable[str], now: float) -> dict[str, bytes]:
        """The bodies of some targets, paths with their queries, all of one moment; one that is not there is left out.

        Without HTTP and login: for who only wants to read, and often.
        """
        moment, told = self.moment(now), {}
        for target in targets:
            path, _, text = target.partition("?")
            answer = self.tree.answer(path, text)
            if answer is not None:
                told[target] = answer.template.render(moment)
        return told

    def _queued(self, came: float, takes: float) -> float:
        """Seconds until a request is done: one after the other, as the single thread of a small controller has it."""
        self._busy_until = max(came, self._busy_until) + takes
        return self._busy_until - came

    def _chance(self) -> float:
        """From 0 to 1, another for each request, the same in every run."""
        return zlib.crc32(f"{self.name} {self.requests}".encode()) / 2**32

    def respond(self, request: Request) -> Reply:
        """The answer that the standard asks for."""
        self.requests += 1
        if request.time < self._ready_at:
            wait = str(max(1, round(self._ready_at - request.time)))
            busy = Message("ServiceTemporarilyUnavailable", (wait,))
            return error(503, busy, headers=(("Retry-After", wait),))
        refused = refused_headers(request)
        if refused is not None:
            return refused
        path = canonical(request.path)
        method = "GET" if request.method == "HEAD" else request.method
        if method not in METHODS:
            return error(501, Message("OperationNotAllowed"))
        open_ = method == "GET" and (path == ROOT or path in self.tree.documents)
        if not open_ and not self.login.opens(path, method):
            who = self.login.who(request)
            if who is None:
                return error(401, Message("NoValidSession"), headers=(("WWW-Authenticate", 'Basic realm="Redfish"'),))
            request.user, request.role = who.user, who.role
        if self.login.owns(path):
            return self.login.respond(path, method, request)
        if path in self.tree.documents:
            return self._document(path, method)
        if path not in self.tree.resources:
            for annex in self._annexes:
                if annex.owns(path):
                    self.moment(request.time)  # what is told of events must not be older than what is told of readings
                    return annex.respond(path, method, request)
            return error(404, Message("ResourceMissingAtURI", (path,)))
        if method == "GET":
            return self._get(path, request)
        allow = self.tree.resources[path].allow
        if method == "PATCH" and "PATCH" in allow:
            return self._patch(path, request)
        return error(405, Message("OperationNotAllowed"), headers=(("Allow", allow),))

    @property
    def restless(self) -> bool:
        """Whether something is amiss in the sled, or somebody waits to be told of events."""
        waits = self.events is not None and len(self.events.table) > 0
        return waits or (self._watcher is not None and not self._watcher.idle)

    def look(self, now: float) -> Mode:
        """Take notice of the controller and, while it serves, of what changed in its sled."""
        mode = self.observe(now)
        if mode is Mode.SERVING:
            self._notice(self._source.telemetry(), self._source.acquired())
            if self.events is not None:
                self.events.tick(now)
        return mode

    def _report(self) -> bytes | None:
        """The metric report of all sensors as it is now; None in a dialect without it."""
        return self.bodies((REPORT,), self._source.acquired()).get(REPORT)

    def moment(self, now: float) -> Moment:
        """What fills the bodies at a time."""
        # not kept: thousands of services would each hold on to a report that the world itself keeps only for a while
        ahead, telemetry = self.clock_ahead, self._source.telemetry()
        acquired, now = self._source.acquired() + ahead, now + ahead
        moment = Moment(self.sled, telemetry, f'"{iso(acquired)}"'.encode(), self._notice(telemetry, acquired), now)
        moment.settings = self._kept
        moment.booted = None if self._booted is None else self._booted + ahead
        if self.tree.lags:
            if self._before is None or not 0.0 <= now - self._before.now < LAG:
                self._before = moment
            return replace(moment, before=self._before)
        return moment

    def _notice(self, telemetry: SledTelemetry, now: float) -> dict[tuple[str, str], float]:
        """Keep since when each reason stands, and write down what changed."""
        # weakly, for the reason that moment() gives
        if self._seen is not None and self._seen() is telemetry:
            return self._since
        self._seen = weakref.ref(telemetry)
        troubled = [part for part in telemetry.parts.values() if part.reasons]
        if self._watcher is not None:
            quiet = not troubled and not any(map(_unusual, telemetry.parts.values()))
            self._watcher.look(telemetry, now, quiet=quiet)
        if troubled or self._since:
            keys = [(part.path, reason) for part in troubled for reason in part.reasons]
            self._since = {key: self._since.get(key, now) for key in keys}
        return self._since

    def _document(self, path: str, method: str) -> Reply:
        headers, body = self.tree.documents[path]
        if method != "GET":
            return error(405, Message("OperationNotAllowed"), headers=(("Allow", "GET, HEAD"),))
        return Reply(200, headers, body)

    def _get(self, path: str, request: Request) -> Reply:
        try:
            answer = self.tree.answer(path, request.query)
        except QueryError as refusal:
            return error(refusal.status, refusal.message)
        assert answer is not None, "the caller has seen that the resource is there"
        body = answer.template.render(self.moment(request.time))
        if not self.tree.features.etags:
            return Reply(200, answer.headers, body)
        tag = etag(body)
        headers = (*answer.headers, ("ETag", tag))
        if matches(request.headers.get("if-none-match"), tag):
            return Reply(304, headers)
        return Reply(200, headers, body)

    def _patch(self, path: str, request: Request) -> Reply:
        if request.query:
            return error(400, Message("QueryNotSupportedOnOperation"))
        before = self._get(path, Request("GET", path, time=request.time))
        tag = before.header("etag")
        wanted = request.headers.get("if-match")
        if wanted is not None and tag is not None and not matches(wanted, tag):
            return error(412, Message("PreconditionFailed"))
        resource = self.tree.resources[path]
        result = patch(resource, request, path, self._kept)
        if isinstance(result, Reply):
            return result
        if self._manner is Manner.REFUSED:
            return error(503, Message("ServiceTemporarilyUnavailable", ("30",)), headers=(("Retry-After", "30"),))
        self._kept.update(result.settings)
        for part, on in result.lamps.items() if self._manner is not Manner.IGNORED else ():
            self._source.set_locate(full(self.sled, part), on)
        after = self._get(path, Request("GET", path, time=request.time))
        return Reply(after.status, after.headers, result.annotate(after.body))


def _unusual(part: PartPoint) -> bool:
    """Whether there may be something to say about a part that has no trouble."""
    return bool(part.locate) or part.state != "Enabled" or part.replacement is not None


def canonical(path: str) -> str:
    """The path under which a resource is kept: without a trailing slash, but for the service root (DSP0266)."""
    path = path.rstrip("/") or "/"
    return ROOT if path == ROOT.rstrip("/") else path
