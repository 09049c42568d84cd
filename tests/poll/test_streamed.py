"""Metric reports that come by themselves: a round takes them in place of its GET, and asks as ever where none came."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest

from collector.model import Location, Outcome, Update
from collector.normalise.reports import Report
from collector.poll.fleet import Fleet as Collector
from collector.poll.interpret import Interpreted, interpret
from collector.poll.rounds import Rounds
from collector.poll.streamed import MAX_BODY, MOST, Streamed
from collector.redfish.client import Client
from collector.settings import ControllerSettings, load
from simulators.serve import Fleet
from simulators.service.http import Reply, Request
from simulators.service.reports import REPORT
from simulators.service.service import Service
from simulators.service.wire import Wire
from simulators.site import scaled_site
from simulators.world import World
from tests.mockups import Mockup, MockupTransport
from tests.normalise.test_reports import REPORT as ALL
from tests.normalise.test_reports import service, stamp, three
from tests.normalise.walks import TIME, walk_of
from tests.poll.doubles import QuickClock
from tests.poll.test_leaks import spoken

WHOLE = Report(uri=ALL, metrics=(), limit=30.0)
PARTIAL = Report(uri=ALL, metrics=(), limit=30.0, suppressed=True, heartbeat=60.0)


def told(number: int) -> tuple[dict[str, Any], bytes]:
    body = three(str(number), "21", "22", at=stamp(number))
    return body, msgspec.json.encode(body)


def test_of_whole_reports_the_newest_waits_of_partial_ones_all() -> None:
    for report, kept in ((WHOLE, [3]), (PARTIAL, [1, 2, 3])):
        streamed = Streamed()
        streamed.expect([report])
        for number in (1, 2, 3):
            assert streamed.put(*told(number), received=100.0 + number)
        assert streamed.take(ALL, 105.0) == [(told(number)[1], 100.0 + number) for number in kept]
        assert streamed.take(ALL, 106.0) == [], "each round takes what is new"


def test_too_many_partial_ones_old_ones_and_strange_ones_make_a_round_ask() -> None:
    streamed = Streamed()
    assert not streamed.put(*told(1), received=0.0), "no round reads it"
    streamed.expect([PARTIAL])
    for number in range(MOST + 1):
        streamed.put(*told(number), received=float(number))
    assert streamed.take(ALL, 20.0) == []
    streamed.put(*told(1), received=20.0)
    assert streamed.take(ALL, 90.0) == [], "what a long pause left is not what is now"
    assert not streamed.put({"@odata.id": "/redfish/v1/Other", "Id": "All"}, b"{}", 0.0)
    assert not streamed.put({"Id": "Another"}, b"{}", 0.0)
    assert not streamed.put(told(1)[0], b" " * (MAX_BODY + 1), 0.0)
    assert streamed.put({"Id": "All"}, b"{}", 0.0), "known by its Id where it does not name itself"
    streamed.expect([])
    assert streamed.take(ALL, 1.0) == []


def connected(tmp_path: Path) -> tuple[Client, Mockup, Interpreted, QuickClock]:
    """A sled whose sensors are read by a report, walked."""
    for key, body in service(three("20", "21", "22")).items():
        folder = tmp_path.joinpath(*key.removeprefix("/redfish/v1").split("/")[1:])
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "index.json").write_text(json.dumps(body))
    mockup, clock = Mockup(tmp_path), QuickClock(TIME)
    client = Client(ControllerSettings(name="bmc", url="https://192.0.2.17"), transport=MockupTransport(mockup))
    read = interpret(walk_of(service(three("20", "21", "22")), "bmc"), Location())
    assert any(fetch.path == ALL for fetch in read.fetches)
    return client, mockup, read, clock


async def test_a_round_reads_what_was_streamed_and_does_not_ask(tmp_path: Path) -> None:
    client, mockup, read, clock = connected(tmp_path)
    streamed = Streamed()
    async with client:
        rounds = Rounds(client, read, clock, streamed)

        async def values(*, whole: bool = False) -> tuple[list[float], bool]:
            """Of a round, and whether it asked for the report."""
            mockup.requests.clear()
            clock.time += 10.0
            done = (await rounds.run(60.0, whole=whole)).round
            assert (done.outcome, done.defects) == (Outcome.OK, ())
            assert done.frame is not None
            return list(done.frame.values), any(path.startswith(ALL) for _, path in mockup.requests)

        assert await values() == ([20.0, 21.0, 22.0], True), "nothing has come yet"
        body = three("30", "31", "32", at=stamp(15))
        streamed.put(body, msgspec.json.encode(body), clock.now())
        assert await values() == ([30.0, 31.0, 32.0], False)
        assert await values() == ([20.0, 21.0, 22.0], True), "the stream has stopped"
        streamed.put(body, msgspec.json.encode(body), clock.now())
        assert (await values(whole=True))[1], "a round that something heard has called for asks: what came is older"
        assert streamed.used == 2


async def test_streamed_rubbish_is_a_named_defect_and_no_reading(tmp_path: Path) -> None:
    client, _, read, clock = connected(tmp_path)
    streamed = Streamed()
    async with client:
        rounds = Rounds(client, read, clock, streamed)
        streamed.put({"@odata.id": ALL}, b'{"MetricValues": 7}', clock.now())
        done = (await rounds.run(60.0)).round
    assert done.frame is None or all(value != value for value in done.frame.values)


class Counted:
    """How often the report of a service is asked for."""

    def __init__(self, one: Service) -> None:
        self.count = 0
        self._get = one._get
        one._get = self  # type: ignore[method-assign, assignment]

    def __call__(self, path: str, request: Request) -> Reply:
        self.count += path == REPORT
        return self._get(path, request)


@pytest.mark.slow
async def test_a_live_stream_saves_the_gets_until_it_stops(tmp_path: Path) -> None:
    world = World(spoken(scaled_site(1), "reports"), seed=1)
    world.advance(300)
    frames, changed = 0, asyncio.Event()

    async def tell(update: Update) -> None:
        nonlocal frames
        if update.round is not None and update.round.frame is not None:
            assert not update.round.defects
            frames += 1
            changed.set()

    async def until(count: int) -> None:
        async with asyncio.timeout(120):
            while frames < count:
                await changed.wait()
                changed.clear()

    async with Fleet(world, tmp_path, poll_interval=1.0, time_factor=1.0, tick=0.2) as fleet:
        (one,) = fleet.services.values()
        assert one.events is not None
        one.events._style = replace(one.events._style, report_every=0.3)
        asked = Counted(one)
        collector = Collector(load(fleet.path), tell)
        task = asyncio.create_task(collector.run())
        try:
            (keeper,) = collector.keepers
            async with asyncio.timeout(120):
                while keeper._streamed.used < 3:
                    await changed.wait()
                    changed.clear()
            before, count = asked.count, frames
            await until(count + 6)
            assert asked.count - before <= 2, "most rounds read what was streamed"
            for subscription in one.events.table.all():
                one.events.table.close(subscription)
            one.wire = Wire(kind="reset", under="/redfish/v1/EventService/SSE")
            await until(frames + 2)
            before, count = asked.count, frames
            await until(count + 4)
            assert asked.count - before >= 4, "without a stream every round asks again"
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
