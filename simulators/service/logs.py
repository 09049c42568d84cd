"""Log services: the journal as collections of log entries, with each dialect's own paging and order."""

from __future__ import annotations

import re
from collections.abc import Sequence
from urllib.parse import unquote_plus

from simulators.service import live, query
from simulators.service.annex import answer, done, not_allowed, read
from simulators.service.http import Reply, Request
from simulators.service.journal import Journal, Record
from simulators.service.live import iso
from simulators.service.messages import Message, error
from simulators.service.offers import Log, LogStyle
from simulators.service.places import MANAGER, Plan, host
from simulators.service.query import Body, Features, QueryError
from simulators.service.shelf import ShelfPlan
from simulators.service.tree import Tree, link
from simulators.service.watcher import Watcher

_MARK = "from"
"""Parameter of a nextLink: the number of the entry that the next page begins with. Opaque to clients."""
_CLEAR = "Actions/LogService.ClearLog"


def logs_of(plan: Plan | ShelfPlan, style: LogStyle) -> tuple[Log, ...]:
    """The logs of a design's controllers."""
    found = [Log(f"{MANAGER}/LogServices/Events", "Event log", "")]
    if style.hosts:
        found += [Log(f"{host(n)}/LogServices/Host", f"Host log of blade {n}", f"blade{n}") for n in plan.blades]
    return tuple(found)


def add(tree: Tree, logs: Sequence[Log], style: LogStyle) -> None:
    """Add the log services to a tree, and the links to them."""
    for log in logs:
        body: Body = {
            "ServiceEnabled": True,
            "MaxNumberOfRecords": style.capacity,
            "OverWritePolicy": "WrapsWhenFull",
            "DateTime": live.clock(),
            "DateTimeLocalOffset": "+00:00",
            **({} if style.service == "LogService.v1_0_0.LogService" else {"LogEntryType": "Event"}),
            "Status": {"State": "Enabled", "Health": "OK"},
            "Entries": link(log.entries),
            "Actions": {"#LogService.ClearLog": {"target": f"{log.path}/{_CLEAR}"}},
        }
        tree.add(log.path, style.service, log.name, body)
        services = log.path.rpartition("/")[0]
        tree.collect(services, "LogService", "Log services", [log.path])
        tree.resources[services.rpartition("/")[0]].body["LogServices"] = link(services)


class Logs:
    """The entries of a service's logs."""

    __slots__ = ("_cleared", "_features", "_journal", "_logs", "_style", "_watcher")

    def __init__(
        self, logs: Sequence[Log], style: LogStyle, features: Features, journal: Journal, watcher: Watcher
    ) -> None:
        self._logs = logs
        self._style = style
        self._features = features
        self._journal = journal
        self._watcher = watcher
        self._cleared: dict[str, int] = {}

    def owns(self, path: str) -> bool:
        """Whether it is a log's entries, one of them, or its action."""
        return "/LogServices/" in path and self._log(path) is not None

    def _log(self, path: str) -> Log | None:
        return next((log for log in self._logs if path.startswith(log.path)), None)

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Answer a request for one of those."""
        log = self._log(path)
        assert log is not None, "the caller has asked whether it is ours"
        if path == log.entries:
            return self._collection(log, request) if method == "GET" else not_allowed("GET, HEAD")
        if path == f"{log.path}/{_CLEAR}":
            return self._clear(log, request) if method == "POST" else not_allowed("POST")
        record = self._find(log, path)
        if record is None:
            return error(404, Message("ResourceMissingAtURI", (path,)))
        if method != "GET":
            return not_allowed("GET, HEAD")
        body = self._entry(log, record)
        if request.query:
            try:
                body = query.answer(path, body, query.parse(request.query, self._features), _nothing, self._features)
            except QueryError as refusal:
                return error(refusal.status, refusal.message)
        return answer(body, request, "GET, HEAD", etags=self._features.etags)

    def _records(self, log: Log) -> list[Record]:
        """What a log has, in its order."""
        least = self._cleared.get(log.path, 0)
        found = [
            record
            for record in self._journal
            if record.logged and record.number > least and (not log.under or _within(record.part, log.under))
        ]
        if self._style.newest_first:
            found.reverse()
        return found

    def _find(self, log: Log, path: str) -> Record | None:
        id_ = path.removeprefix(f"{log.entries}/")
        if not re.fullmatch(r"[1-9][0-9]{0,9}", id_):
            return None
        return next((record for record in self._records(log) if record.number == int(id_)), None)

    def _collection(self, log: Log, request: Request) -> Reply:
        pairs = [pair for pair in request.query.split("&") if pair]
        tokens = [unquote_plus(pair.partition("=")[2]) for pair in pairs if pair.partition("=")[0] == _MARK]
        rest = "&".join(pair for pair in pairs if pair.partition("=")[0] != _MARK)
        try:
            asked = query.parse(rest, self._features)
        except QueryError as refusal:
            return error(refusal.status, refusal.message)
        if len(tokens) > 1 or not all(re.fullmatch(r"[0-9]{1,10}", token) for token in tokens):
            return error(400, Message("QueryParameterValueFormatError", (",".join(tokens), _MARK)))
        records = self._records(log)
        begin = asked.skip
        if tokens:
            start, down = int(tokens[0]), self._style.newest_first
            begin = sum(1 for record in records if (record.number > start if down else record.number < start))
        size = self._style.page if asked.top is None else min(self._style.page, asked.top)
        page = records[begin : begin + size]
        body: Body = {
            "@odata.id": log.entries,
            "@odata.type": "#LogEntryCollection.LogEntryCollection",
            "Name": f"Entries of the {log.name[0].lower()}{log.name[1:]}",
            "Members": [self._entry(log, record) for record in page],
            "Members@odata.count": len(records),
        }
        if asked.only and len(page) == 1:
            body = body["Members"][0]
        elif begin + size < len(records) and size:
            follow = [f"$select={','.join(asked.select)}"] if asked.select else []
            if asked.top is None:
                follow.append(f"{_MARK}={records[begin + size].number}")
            else:
                follow += [f"$skip={begin + size}", f"$top={asked.top}"]
            body["Members@odata.nextLink"] = f"{log.entries}?{'&'.join(follow)}"
        if asked.select:
            link_ = body.get("Members@odata.nextLink")
            body = query.select(body, asked.select)
            if link_ is not None:
                body["Members@odata.nextLink"] = link_
        return answer(body, request, "GET, HEAD", etags=self._features.etags)

    def _entry(self, log: Log, record: Record) -> Body:
        told: Body = {
            "@odata.id": f"{log.entries}/{record.number}",
            "@odata.type": f"#{self._style.entry}",
            "Id": str(record.number),
            "Name": f"Entry {record.number}",
            "EntryType": "Event",
            "Severity": record.severity,
            "Created": iso(record.time),
            "MessageId": record.message,
            "MessageArgs": list(record.args),
            "Message": record.told,
        }
        if self._style.entry != "LogEntry.v1_3_0.LogEntry":
            told |= {
                "EventId": str(record.number),
                "EventTimestamp": iso(record.time),
                "EventGroupId": record.group,
                "Resolution": record.resolution,
            }
        if record.origin is not None:
            told["Links"] = {"OriginOfCondition": link(record.origin)}
        return told

    def uri(self, record: Record) -> str | None:
        """The entry of a record in the controller's own log; None where no log keeps it."""
        log = self._logs[0]
        if not record.logged or record.number <= self._cleared.get(log.path, 0):
            return None
        return f"{log.entries}/{record.number}"

    def _clear(self, log: Log, request: Request) -> Reply:
        if request.role != "Administrator":
            return error(403, Message("InsufficientPrivilege"))  # it takes ConfigureManager
        told = read(request, empty=True)
        if isinstance(told, Reply):
            return told
        for name in told:
            return error(400, Message("ActionParameterUnknown", ("ClearLog", name)))
        self._cleared[log.path] = self._journal.last
        self._watcher.cleared(log.name, log.path, request.time)
        return done()


def _within(part: str, under: str) -> bool:
    return part == under or part.startswith(f"{under}/")


def _nothing(path: str) -> Body | None:
    return None
