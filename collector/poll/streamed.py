"""Metric reports that come by themselves, by stream or push: kept for the next round, which then need not ask for them.

A round takes what has come since the one before in place of its own GET of the report; where nothing came (the stream
has stopped, or tells more seldom than rounds are made), it asks as ever. So readings have one shape however they come,
each with the time at which the service took it, and a stream that stops costs a request, not a reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from collector.model import Seconds
from collector.normalise.reports import MAX_PERIOD, Report
from collector.redfish import links

MOST = 16
"""Bodies of one report that wait for a round. Beyond that those that leave out what has not changed are of no use."""
MAX_BODY = 4 * 1024 * 1024
"""Bytes of one that is kept."""


def is_report(body: Mapping[str, Any]) -> bool:
    """Whether a body that came as an event is a metric report."""
    kind = body.get("@odata.type")
    return isinstance(kind, str) and kind.startswith("#MetricReport.")


class Streamed:
    """What has come of one controller's reports since its last round. Only what its rounds read is kept."""

    def __init__(self) -> None:
        self._wanted: dict[str, Report] = {}
        self._waiting: dict[str, list[tuple[bytes, Seconds]]] = {}
        self._overrun: set[str] = set()
        """Reports of which a body was let go that a round would have needed."""
        self.used = 0
        """Bodies that rounds have read."""

    def expect(self, reports: Iterable[Report]) -> None:
        """Rounds read these reports from now on; what waits of others is let go."""
        self._wanted = {report.uri: report for report in reports}
        self._waiting = {uri: bodies for uri, bodies in self._waiting.items() if uri in self._wanted}
        self._overrun &= self._wanted.keys()

    def put(self, told: Mapping[str, Any], body: bytes, received: Seconds) -> bool:
        """Keep a body, decoded as ``told``; whether a round will read it."""
        uri = self._named(told)
        if uri is None or len(body) > MAX_BODY:
            return False
        waiting = self._waiting.setdefault(uri, [])
        waiting.append((body, received))
        if not self._wanted[uri].suppressed:
            del waiting[:-1]  # each tells all
        elif len(waiting) > MOST:
            waiting.clear()
            self._overrun.add(uri)
        return True

    def take(self, uri: str, now: Seconds) -> list[tuple[bytes, Seconds]]:
        """What has come of a report since the last call, oldest first; nothing where the service must be asked."""
        bodies = self._waiting.pop(uri, [])
        stale = bool(bodies) and now - bodies[0][1] > MAX_PERIOD
        if uri in self._overrun or stale:
            self._overrun.discard(uri)
            return []
        self.used += len(bodies)
        return bodies

    def _named(self, told: Mapping[str, Any]) -> str | None:
        """The report that a body is: by its own name, else by its Id, where only one of ours has that."""
        own = told.get("@odata.id")
        if isinstance(own, str):
            key = links.key(own)
            return key if key in self._wanted else None
        named = [uri for uri in self._wanted if uri.rpartition("/")[2] == told.get("Id")]
        return named[0] if len(named) == 1 else None
