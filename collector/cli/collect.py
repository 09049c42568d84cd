"""``sledkeeper collect``: poll a fleet, keep what it tells, publish it."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import logging
import sys
import time
from collections import defaultdict
from collections.abc import AsyncIterator
from importlib.metadata import version
from pathlib import Path

from prometheus_client import CollectorRegistry, ProcessCollector

from collector.assess.care import Cares
from collector.assess.orders.handling import Handlings
from collector.assess.sightings import Sightings
from collector.cli.deeds import Deeds
from collector.cli.errands import Errands
from collector.cli.holding import Holding
from collector.cli.leftovers import Leftovers
from collector.cli.places import add_state, state_of
from collector.cli.running import run_to_end
from collector.cli.tending import Tending
from collector.model import Condition, Handling, Lit, Outcome, Permits, Sighting, Update
from collector.poll.fleet import Fleet
from collector.poll.memory import Memory
from collector.poll.report import Report
from collector.poll.side import first_of
from collector.publish.http import HttpServer
from collector.publish.metrics import SelfReport
from collector.publish.mqtt import MqttPublisher
from collector.settings import Settings, load
from collector.store.feed import Feed
from collector.store.live import Live
from collector.store.reader import Reader
from collector.store.writer import Writer

DAY = 86400.0
_GOODBYE_SECONDS = 5.0
"""That the broker gets to hear that the collector stops in order."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "collect",
        help="poll a fleet, keep what it tells, publish it",
        description="Poll the controllers of a fleet file until interrupted. With --once: try each once, show "
        "progress, end with a line a controller; exit code 1 when one of them was not read in full.",
    )
    parser.add_argument("--config", type=Path, required=True, metavar="FILE", help="the fleet file")
    add_state(parser)
    parser.add_argument("--once", action="store_true", help="one walk and one round of every controller, then stop")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Collect until interrupted, or once."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s", stream=sys.stderr)
    settings = load(arguments.config)
    state = state_of(arguments)
    work = _once(settings, state) if arguments.once else _until_stopped(settings, state)
    return run_to_end(work)


class _Keeping:
    """The store's side of the collector: each update goes to the live state, the writer, the feed, in this order."""

    def __init__(self, settings: Settings, state: Path) -> None:
        self.live = Live(settings.controllers)
        self.feed = Feed()
        self.writer = Writer(state, settings.store, now=time.time)
        self.memory = Memory(state)  # after the writer, which holds the directory against a second collector
        self.mqtt: MqttPublisher | None = None
        self.errands: Errands | None = None
        self.tending: Tending | None = None
        self.leftovers: Leftovers | None = None
        self._started = time.time()
        self._state = state
        self._settings = settings

    async def __aenter__(self) -> _Keeping:
        self.writer.controllers(self._settings.controllers)
        for note in self.writer.statistics().notes:
            logging.warning("%s", note)
        return self

    async def __aexit__(self, *_: object) -> None:
        self.feed.close()
        try:
            await self.writer.aclose()
        finally:
            self.memory.close()

    def announce(self, listen: str) -> None:
        """Make the collector known to the readers of the store."""
        interval = self._settings.collector.poll_interval
        permits = permits_of(self._settings)
        self.writer.announce(version=version("sledkeeper"), poll_interval=interval, listen=listen, permits=permits)

    def fleet(self, *, polled: bool = True) -> Fleet:
        """The controllers, going on from where an earlier run left them: conditions, parts, events, sessions.

        ``polled``: whether they will be for a while, so that something can be done to them.
        """
        with Reader(self._state) as reader:
            conditions, stays, heard = reader.conditions(), reader.stays.all(), reader.heard()
            standing, troubles, orders = reader.asked.care(), reader.answers.troubles(), reader.answers.orders()
            learnt = reader.learnt()
            handled, seen = reader.asked.held(Handling), reader.asked.held(Sighting)
            holding = Holding([*reader.asked.held(Lit), *handled, *seen])
        self.live.restore(conditions, troubles, orders)
        self.leftovers = Leftovers(troubles, orders, self.live, self.tell, time.time)
        by_controller: dict[str, list[Condition]] = defaultdict(list)
        for condition in conditions:
            by_controller[condition.controller].append(condition)
        limits = self._settings.conditions
        cares = Cares(standing, limits.longest_shelf_days * DAY, limits.longest_maintenance_days * DAY)
        handlings = Handlings(handled, self._settings.actions.watch_rounds)
        sightings = Sightings(seen, self._settings.actions.sighting_hours)
        fleet = Fleet(
            self._settings,
            self.tell,
            open_conditions=by_controller,
            stays=stays,
            memory=self.memory,
            heard=heard,
            learnt=learnt,
            cares=cares,
            handlings=handlings,
            sightings=sightings,
        )
        self.tending = Tending(handlings, sightings, fleet.diagnosis, fleet.watches, holding, self.tell)
        deeds = Deeds(self._state, self._settings, fleet.watches, fleet.hands, holding) if polled else None
        self.errands = Errands(
            self._state,
            self.writer,
            cares,
            fleet.watches,
            self.tell,
            time.time,
            handlers=self.tending.handlers,
            deeds=deeds,
            holding=holding,
            tend=self.tending.tend,
            followed=self.tending.followed,
        )
        return fleet

    def store_problem(self) -> str | None:
        """Why the store keeps nothing just now; None while it does."""
        told = self.writer.statistics()
        return told.last_error or told.upkeep_error

    def report(self) -> SelfReport:
        """What the collector tells of itself at a scrape."""
        return SelfReport(
            version=version("sledkeeper"),
            started=self._started,
            writer=self.writer.statistics(),
            feed=self.feed.statistics(),
            mqtt=self.mqtt.statistics() if self.mqtt is not None else None,
        )

    async def tell(self, update: Update) -> None:
        """Take an update in; waits while the store's queue is full."""
        self.live.apply(update)
        await self.writer.put(update)
        self.feed.publish(update)
        if self.tending is not None:
            self.tending.hear(update, time.time())


def permits_of(settings: Settings) -> Permits:
    """What the fleet file lets people have done, for the store."""
    return Permits(
        locate=settings.actions.locate,
        locate_minutes=settings.actions.locate_minutes,
        power=settings.actions.power,
        besides={each.name: each.power for each in settings.controllers if each.power is not None},
    )


async def _once(settings: Settings, state: Path) -> int:
    async with _Keeping(settings, state) as keeping:
        keeping.announce(listen="")
        fleet = keeping.fleet(polled=False)
        total, done = len(settings.controllers), 0

        def progress(report: Report) -> None:
            nonlocal done
            done += 1
            print(f"[{done}/{total}] {report.controller} {report.outcome.value}", file=sys.stderr, flush=True)

        reports = await fleet.once(progress)
        if keeping.errands is not None:
            await keeping.errands.once()
        if keeping.leftovers is not None:
            read = (Outcome.OK, Outcome.PARTIAL)
            await keeping.leftovers.close_all({report.controller for report in reports if report.outcome in read})
        await keeping.writer.seal()  # which writes first; a collector that only ever runs once seals here or never
    for line in _summary(reports, state):
        print(line)
    return 0 if all(report.outcome is Outcome.OK for report in reports) else 1


def _summary(reports: tuple[Report, ...], state: Path) -> list[str]:
    """A line a controller, one for all, and where the defects are named if there are any."""
    width = max((len(report.controller) for report in reports), default=0)
    lines = [f"{report.controller:{width}}  {_told(report)}" for report in reports]
    good = sum(report.outcome is Outcome.OK for report in reports)
    readings = sum(report.readings for report in reports)
    lines.append(f"{good} of {len(reports)} controllers answered every request, {readings} readings")
    if defects := sum(report.defects for report in reports):
        lines.append(f"{defects} defects; 'sledkeeper defects --state {state}' names each")
    return lines


def _told(report: Report) -> str:
    what = (
        f"{report.parts} parts, {report.readings} of {report.sensors} readings, {report.defects} defects, "
        f"{report.requests} requests, {report.bytes_received / 1000:.0f} kB, {report.seconds:.2f} s"
    )
    return f"{report.outcome.value}: {what}" + (f"; {report.error}" if report.error else "")


async def _until_stopped(settings: Settings, state: Path) -> int:
    async with _Keeping(settings, state) as keeping:
        try:
            await _publish_and_poll(settings, keeping)
        except asyncio.CancelledError:
            logging.info("stopping: sessions deleted, state written")
    return 0


async def _publish_and_poll(settings: Settings, keeping: _Keeping) -> None:
    fleet = keeping.fleet()
    registry = CollectorRegistry()
    ProcessCollector(registry=registry)
    server = HttpServer(keeping.live, report=keeping.report, checks={"store": keeping.store_problem}, registry=registry)
    async with server, _broker_told(settings, keeping):
        host, port = await server.start(*settings.collector.listen_address)
        keeping.announce(listen=f"{host}:{port}")
        logging.info("metrics and health on http://%s:%d/", host, port)
        logging.info("polling %d controllers every %g s", len(fleet.keepers), settings.collector.poll_interval)
        await first_of(fleet.run(), _at_service(keeping, settings.collector.poll_interval))


async def _at_service(keeping: _Keeping, interval: float) -> None:
    """Close what an earlier run left, and carry out what people ask for."""
    async with asyncio.TaskGroup() as group:
        if keeping.leftovers is not None:
            group.create_task(keeping.leftovers.run(interval), name="leftovers")
        group.create_task(_carried_out(keeping), name="errands")


async def _carried_out(keeping: _Keeping) -> None:
    """Carry out what people ask for; a bug in that is told in the log, and polling goes on."""
    while keeping.errands is not None:
        try:
            await keeping.errands.run()
        except Exception:
            logging.exception("carrying out requests has stumbled over an internal error; it goes on in a minute")
            await asyncio.sleep(60.0)


@contextlib.asynccontextmanager
async def _broker_told(settings: Settings, keeping: _Keeping) -> AsyncIterator[None]:
    """Within, the broker of the fleet file, if there is one, follows the feed; at the end it is told good-bye."""
    if settings.mqtt is None:
        yield
        return
    publisher = MqttPublisher(
        settings.mqtt, settings.mqtt_password, keeping.live, keeping.feed, version=version("sledkeeper")
    )
    keeping.mqtt = publisher
    task = asyncio.create_task(_followed(publisher), name="mqtt")
    try:
        yield
    finally:
        keeping.feed.close()
        await asyncio.wait([task], timeout=_GOODBYE_SECONDS)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _followed(publisher: MqttPublisher) -> None:
    """A publisher that breaks is told in the log and in /metrics; polling goes on without it."""
    try:
        await publisher.run()
    except Exception:
        logging.exception("MQTT publishing has ended by an internal error; polling goes on; restart to publish again")
