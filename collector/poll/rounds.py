"""One round of one controller: the plan's GETs under one deadline, and what became of them.

What was read counts, whatever befell the rest: a resource that hangs costs half of the time that is left, not the
round, and is asked last the next time. Only a connection that fails twice in a row ends a round early. GETs that bring
nothing but what seldom changes take turns (:mod:`collector.poll.turns`). A metric report that came by itself is read in
place of its GET (:mod:`collector.poll.streamed`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping

from msgspec import Struct

from collector.model import Defect, DefectKind, Outcome, Round, Seconds
from collector.normalise.inventory import Normalised
from collector.normalise.set_points import Limits
from collector.poll.clock import Clock
from collector.poll.interpret import Interpreted
from collector.poll.streamed import Streamed
from collector.poll.turns import Turns
from collector.redfish import service_clock
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError, HttpStatus, LoginRefused, TimedOut, Unreachable, Untrusted
from collector.redfish.messages import seconds_to_wait
from collector.redfish.resources import SERVICE_ROOT, ClockRead

_LOST = (Unreachable, TimedOut, Untrusted, LoginRefused)
_REFUSED = frozenset({400, 405, 413, 501, 507})
"""What a service answers to a query that it does not do, or finds too big (DSP0266 'Query parameters')."""
_PATIENCE = 2
_LEAST_SECONDS = 2.0
"""That one GET gets, if the round has as much left."""
_NOBODY = -2
"""Stands for the GET that tells the clock where none does."""
_PING = -1
"""Stands for the GET of the service root where a plan has nothing to fetch."""


class Done(Struct, frozen=True, kw_only=True):
    """A round and what the schedule must know of it."""

    round: Round
    failure: ControllerError | None = None
    """Why nothing at all was read; None where something was."""
    retry_after: float | None = None
    """Seconds that the service asked us to wait."""
    walk_wanted: bool = False
    """Whether the tree is not any more what was walked."""


class Rounds:
    """The rounds that follow one walk."""

    def __init__(
        self, client: Client, interpreted: Interpreted, clock: Clock, streamed: Streamed | None = None
    ) -> None:
        """``streamed``: metric reports that come by themselves, taken where one is there, in place of a GET."""
        self._client = client
        self._clock = clock
        self._fetches = interpreted.fetches
        self._decoder = interpreted.decoder
        self._turns = Turns(interpreted.inventory, interpreted.fetches, interpreted.decoder)
        self._decoder.remember(self._turns.indexes)
        self._streamed = streamed
        reports = interpreted.inventory.recipe.reports if isinstance(interpreted.inventory, Normalised) else ()
        paths = {fetch.brings: index for index, fetch in enumerate(interpreted.fetches)}
        self._reports = {paths[report.uri,]: report.uri for report in reports if (report.uri,) in paths}
        if streamed is not None:
            streamed.expect(report for report in reports if (report.uri,) in paths)
        self._limits = Limits(interpreted.inventory.settings, tuple(interpreted.fetches))
        self._limit_moved = False
        self._order = self._turns.ordered(range(len(interpreted.fetches))) or [_PING]
        self._whole = False
        self._skipped: set[int] = set()
        """What the round under way leaves out: it is not its turn."""
        self._failed: frozenset[int] = frozenset()
        """What the round before asked for in vain, and states of parts whose readings went missing in it: their turn
        comes at once."""
        self._told: set[tuple[str, DefectKind]] = set()
        self._service_clock = interpreted.clock
        self._tells_time = _tells_time(interpreted)
        self._read_clock: ClockRead | None = None
        """The service's clock as this round found it."""
        self._clock_told = service_clock.defect(client.settings.name, interpreted.clock) is not None
        """Whether a clock that is wrong has been named since the walk."""

    async def run(self, deadline: float, late: float = 0.0, *, whole: bool = False) -> Done:
        """One round of at most ``deadline`` seconds. Raises nothing that a controller could cause.

        ``whole``: every GET of the plan, whether or not it is its turn.
        """
        started = self._clock.now()
        requests, received = self._client.requests, self._client.bytes_received
        errors: dict[int, ControllerError] = {}
        taken: set[int] = set()
        self._decoder.begin()
        self._limits.begin()
        self._limit_moved = False
        self._read_clock = None
        self._whole = whole
        self._skipped.clear()
        try:
            async with asyncio.timeout(deadline) as limit:
                await self._client.connect()
                await self._fetch_all(taken, errors, limit)
        except TimeoutError:
            self._leave_out(taken, errors)
            asked = [index for index in self._order if index not in self._skipped]
            undone = (index for index in asked if index not in taken and index not in errors)
            missing = next(undone, self._order[-1])
            count = len(asked) - len(taken)
            detail = f"{count} of {len(asked)} requests not done within the round's {deadline:g} s"
            errors[missing] = TimedOut(self._client.settings.name, self._path(missing), detail)
        except ControllerError as error:
            errors[self._order[0]] = error  # the login
        else:
            self._leave_out(taken, errors)
        self._ask_last([index for index, error in errors.items() if isinstance(error, TimedOut)])
        self._failed = frozenset(errors)
        self._turns.end()
        return self._done(
            taken,
            list(errors.items()),
            started=started,
            late=late,
            requests=self._client.requests - requests,
            bytes_received=self._client.bytes_received - received,
        )

    async def _fetch_all(self, taken: set[int], errors: dict[int, ControllerError], limit: asyncio.Timeout) -> None:
        waiting = iter(self._order)
        if self._client.in_flight == 1:
            await self._fetch_some(waiting, taken, errors, limit)
            return
        async with asyncio.TaskGroup() as group:
            for _ in range(min(self._client.in_flight, len(self._order))):
                group.create_task(self._fetch_some(waiting, taken, errors, limit))

    async def _fetch_some(
        self, waiting: Iterator[int], taken: set[int], errors: dict[int, ControllerError], limit: asyncio.Timeout
    ) -> None:
        """Work through the plan, beside others that do the same."""
        loop, ends = asyncio.get_running_loop(), limit.when() or 0.0
        lost = 0
        for index in waiting:
            if not self._turns.due(index, taken, whole=self._whole or index in self._failed):
                self._skipped.add(index)
                self._decoder.keep(index)
                continue
            if index in self._reports and self._take_streamed(index):
                taken.add(index)
                continue
            left, asked = ends - loop.time(), self._clock.now()
            try:
                reply = await self._client.get(self._path(index), timeout=min(left, max(left / 2, _LEAST_SECONDS)))
            except ControllerError as error:
                errors[index] = error
                lost = lost + 1 if isinstance(error, _LOST) else 0
                if lost >= _PATIENCE:
                    return
                continue
            lost = 0
            taken.add(index)
            received = self._clock.now()
            if self._service_clock is not None and self._tells_time in (index, None) and self._read_clock is None:
                self._read_clock = service_clock.read_again(self._service_clock, reply, asked, received)
            if index != _PING:
                self._decoder.take(index, reply.body, received)
                self._limit_moved = self._limit_moved or self._limits.moved(index, reply.body)

    def _take_streamed(self, index: int) -> bool:
        """Reads what has come of a report by itself; not in a round that something heard has called for."""
        bodies = [] if self._streamed is None else self._streamed.take(self._reports[index], self._clock.now())
        if self._whole:
            return False
        for body, received in bodies:
            self._decoder.take(index, body, received)
        return bool(bodies)

    def _leave_out(self, taken: set[int], errors: Mapping[int, ControllerError]) -> None:
        """Of what a round that ended early did not come to, that for which it was not the turn."""
        for index in self._order:
            done = index in taken or index in errors or index in self._skipped
            if not done and not self._turns.due(index, taken, whole=self._whole or index in self._failed):
                self._skipped.add(index)
                self._decoder.keep(index)

    def _path(self, index: int) -> str:
        return SERVICE_ROOT if index == _PING else self._fetches[index].path

    def _ask_last(self, slow: list[int]) -> None:
        if slow:
            self._order = [index for index in self._order if index not in slow] + slow

    def _done(
        self,
        taken: set[int],
        errors: list[tuple[int, ControllerError]],
        *,
        started: Seconds,
        late: float,
        requests: int,
        bytes_received: int,
    ) -> Done:
        now = self._clock.now()
        decoded = self._decoder.finish(now) if taken else None
        if decoded is not None and not errors:
            self._failed = self._turns.lost(decoded.frame)
        outcome, error = _verdict(len(taken), len(self._order), [error for _, error in errors])
        if not error and (crowded := self._client.crowded) is not None:
            error = f"{crowded.resource}: {crowded.detail}"  # all was read, and yet there is something to do
        waits = [seconds_to_wait(e.retry_after, now) for _, e in errors if isinstance(e, HttpStatus)]
        return Done(
            round=Round(
                controller=self._client.settings.name,
                started=started,
                finished=now,
                outcome=outcome,
                error=error,
                late=late,
                frame=decoded.frame if decoded is not None else None,
                statuses=decoded.statuses if decoded is not None else {},
                defects=(
                    *self._new_defects(errors),
                    *self._wrong_clock(),
                    *self._no_room(),
                    *(decoded.defects if decoded is not None else ()),
                ),
                requests=requests,
                bytes_received=bytes_received,
                clock_offset=None if self._read_clock is None else self._read_clock.offset,
            ),
            failure=errors[0][1] if errors and not taken else None,
            retry_after=max((wait for wait in waits if wait is not None), default=None),
            walk_wanted=any(self._outdated(index, error) for index, error in errors)
            or (decoded is not None and decoded.shape_changed)
            or self._limit_moved,
        )

    def _no_room(self) -> Iterator[Defect]:
        """A session table that is full, once a walk."""
        crowded = self._client.crowded
        if crowded is not None and (crowded.resource, crowded.kind) not in self._told:
            self._told.add((crowded.resource, crowded.kind))
            yield crowded

    def _wrong_clock(self) -> Iterator[Defect]:
        """The service's clock, once a walk where it has gone wrong."""
        wrong = None if self._clock_told else service_clock.defect(self._client.settings.name, self._read_clock)
        if wrong is not None:
            self._clock_told = True
            yield wrong

    def _outdated(self, index: int, error: ControllerError) -> bool:
        """Whether it shows that the plan is: a resource that is gone, or a query that worked and does no more."""
        refused = isinstance(error, HttpStatus) and error.status in _REFUSED and "?" in self._path(index)
        return error.defect is DefectKind.DANGLING_LINK or refused

    def _new_defects(self, errors: list[tuple[int, ControllerError]]) -> Iterator[Defect]:
        """Of resources that failed by themselves, each once a walk."""
        for index, error in errors:
            if error.defect is not None and (self._path(index), error.defect) not in self._told:
                self._told.add((self._path(index), error.defect))
                yield Defect(
                    controller=error.controller,
                    resource=self._path(index),
                    property="",
                    kind=error.defect,
                    detail=error.happened,
                )


def _tells_time(interpreted: Interpreted) -> int | None:
    """Which GET tells the service's clock: any (None) by its header, else the one that brings its manager."""
    clock = interpreted.clock
    if clock is None or clock.source == service_clock.DATE_HEADER:
        return None
    indexes = (index for index, fetch in enumerate(interpreted.fetches) if clock.source in fetch.brings)
    return next(indexes, _NOBODY)


def _verdict(taken: int, planned: int, errors: list[ControllerError]) -> tuple[Outcome, str]:
    """How a round ended, and the line that says why."""
    if not errors:
        return Outcome.OK, ""
    error = errors[0].line
    if len(errors) > 1:
        error += f" (and {len(errors) - 1} more)"
    return (Outcome.PARTIAL if taken else errors[0].outcome), error
