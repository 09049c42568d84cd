"""A whole simulated fleet on loopback: services, certificates, passing time, faults, and the fleet file.

This is an edge: it reads the clock and opens sockets; what it serves is decided elsewhere.
"""

from __future__ import annotations

import asyncio
import os
import resource
import secrets
import signal
import sys
import time
from collections.abc import Callable, Iterable
from contextlib import AsyncExitStack, suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType

from simulators.service import dialects, plans
from simulators.service.accounts import ADMIN, MONITOR, ROLE_OF
from simulators.service.courier import Courier
from simulators.service.dialects import speech
from simulators.service.event_bodies import RETRY_INTERVAL
from simulators.service.events import KEEP_ALIVE
from simulators.service.fleetfile import Entry, FleetFile
from simulators.service.manners import Manner
from simulators.service.plans import Plan
from simulators.service.server import Listener
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.service.tree import Tree
from simulators.service.trust import Authority, Credentials
from simulators.service.wire import Wire
from simulators.site import Dialect, Equipment, Shelf, Site, demo_site, scaled_site
from simulators.telemetry import Mode, SledTelemetry
from simulators.world import World

_RESTART_AFTER = 0.5
"""Seconds in which a controller that is to restart still answers."""
_LOOKS = 20
"""Controllers a tick that look for changes by themselves; the others when they are asked, or have a fault."""


class _Source:
    """A sled of the world, as its service asks for it."""

    __slots__ = ("_fleet", "_name")

    def __init__(self, fleet: Fleet, name: str) -> None:
        self._fleet = fleet
        self._name = name

    def telemetry(self) -> SledTelemetry:
        return self._fleet.world.telemetry(self._name)

    def acquired(self) -> float:
        return self._fleet.acquired

    def set_locate(self, part: str, on: bool) -> None:
        self._fleet.world.set_locate(part, on)

    def set_power(self, host: str, on: bool, *, again: float | None = None) -> None:
        self._fleet.world.set_power(host, on, again=again)

    def restart(self) -> None:
        # not before this is answered: a controller that restarts drops its connections
        fault = Plan(name="controller-rebooting", part=f"{self._name}/controller", after=_RESTART_AFTER)
        self._fleet.schedule([fault])


class _Certificates:
    """What a service may show for a certificate: its own, or one that no client should take."""

    def __init__(self, authority: Authority, name: str, host: str) -> None:
        self.good = authority.issue(name, host)
        self._authority, self._name, self._host = authority, name, host

    def __call__(self, kind: str) -> Credentials:
        if kind == "expired-certificate":
            return self._authority.issue(self._name, self._host, days=-1.0)
        if kind == "wrong-certificate":
            return self._authority.issue(self._name, "192.0.2.1")  # TEST-NET-1, RFC 5737
        return self.good


class Fleet:
    """A world's controllers as services on loopback, while the context lasts.

    Entering makes a CA and certificates, takes free ports, writes ``out_dir/fleet.toml`` and lets time pass: every
    ``tick`` seconds the world advances by as much as passed, times ``time_factor``.
    """

    def __init__(
        self,
        world: World,
        out_dir: Path,
        *,
        time_factor: float = 1.0,
        tick: float = 1.0,
        host: str = "127.0.0.1",
        poll_interval: float = 30.0,
        listen: str = "127.0.0.1:0",
        max_sessions: int = 8,
        keep_alive: float = KEEP_ALIVE,
        retry_interval: float = RETRY_INTERVAL,
        power: bool = False,
    ) -> None:
        """``poll_interval`` (seconds), ``listen`` and ``power`` (whether hosts may be switched) are written into the
        fleet file for the collector.

        ``keep_alive``: seconds after which a stream of events without any says that it still lives;
        ``retry_interval``: seconds between two tries to deliver an event.

        ValueError for a time factor that is negative or a tick that is not above 0.
        """
        if time_factor < 0 or tick <= 0:
            raise ValueError(f"time can't pass {time_factor} times as fast in ticks of {tick} s")
        self.world = world
        self.out_dir = out_dir
        self.path = out_dir / "fleet.toml"
        """The fleet file."""
        self._power = power
        self.username = MONITOR
        self.password = secrets.token_hex(16)
        self.admin_password = secrets.token_hex(16)
        """Of the account that may do more than a collector should; written nowhere."""
        self.services: dict[str, Service] = {}
        """By controller name, which is the sled's."""
        self.listeners: dict[str, Listener] = {}
        self.courier = Courier(interval=retry_interval)
        """Posts events to those who subscribed to them."""
        self.acquired = 0.0
        """When the values now told were acquired, epoch seconds of the real clock."""
        self._time_factor = time_factor
        self._tick = tick
        self._host = host
        self._poll_interval = poll_interval
        self._listen = listen
        self._max_sessions = max_sessions
        self._keep_alive = keep_alive
        self._round = 0
        self._trees: dict[tuple[str, Dialect, tuple[str, ...]], Tree] = {}
        self._unwell: set[str] = set()
        self._clock: asyncio.Task[None] | None = None
        self._due: list[tuple[float, Plan]] = []
        self._stack = AsyncExitStack()

    async def __aenter__(self) -> Fleet:
        """Serve; OSError where ports, files or descriptors are lacking."""
        try:
            await self._start()
        except BaseException:
            await self._stack.aclose()
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop; raises what made time stand still, if something did."""
        await self._stack.aclose()

    async def _start(self) -> None:
        units = self.world.site.equipment
        _allow_descriptors(2 * len(units) + 256)  # a listener and a client each
        now = self.acquired = time.time()
        self._stack.push_async_callback(self.courier.aclose)
        authority = Authority("Simulated fleet CA", now)
        account = Account(self.username, self.password, ROLE_OF[MONITOR], built_in=True)
        admin = Account(ADMIN, self.admin_password, ROLE_OF[ADMIN], built_in=True)
        for unit in units:
            service = Service(
                unit,
                self._tree(unit),
                _Source(self, unit.name),
                account,
                admin=admin,
                max_sessions=self._max_sessions,
                pace=speech(unit.dialect).pace,
                keep_alive=self._keep_alive,
            )
            if service.events is not None:
                self.courier.serve(service.events)
            certificates = _Certificates(authority, unit.name, self._host)
            listener = Listener(service, self._host, certificates.good.server_context(), certificates)
            self._stack.push_async_callback(listener.stop)
            await listener.start()
            self.services[unit.name], self.listeners[unit.name] = service, listener
        FleetFile(
            entries=[
                Entry(name=unit.name, url=self.listeners[unit.name].url, place=self.world.site.place(unit.path))
                for unit in units
            ],
            ca_pem=authority.pem,
            username=self.username,
            password=self.password,
            poll_interval=self._poll_interval,
            listen=self._listen,
            power=self._power,
            site=self.world.site,
        ).write(self.out_dir)
        self._clock = asyncio.get_running_loop().create_task(self._run(), name="simulated time")
        self._stack.push_async_callback(self._stop_clock)

    def _tree(self, unit: Equipment) -> Tree:
        outlets = unit.outlets if isinstance(unit, Shelf) else ()
        key = (unit.design.name, unit.dialect, outlets)
        if key not in self._trees:
            self._trees[key] = dialects.tree(unit)
        return self._trees[key]

    async def _stop_clock(self) -> None:
        assert self._clock is not None
        self._clock.cancel()
        with suppress(asyncio.CancelledError):
            await self._clock

    async def failed(self) -> None:
        """Wait until time stands still, which it does only when something is wrong; raises that."""
        assert self._clock is not None, "enter the fleet first"
        await asyncio.shield(self._clock)

    async def _run(self) -> None:
        last = time.monotonic()
        while True:
            await asyncio.sleep(self._tick)
            now = time.monotonic()
            self.world.advance((now - last) * self._time_factor)
            self.acquired = time.time()
            last = now
            for due, plan in [pair for pair in self._due if pair[0] <= now]:
                self._due.remove((due, plan))
                self.switch_on(plan)
            self._look()

    def _look(self) -> None:
        """Let the services whose controllers may be in trouble, or were, take notice."""
        now = time.time()
        watched = self._unwell | {fault.part.partition("/")[0] for fault in self.world.active()}
        self._unwell = {name for name in watched if self.services[name].look(now) is not Mode.SERVING}
        for name in self._turn():
            self.services[name].look(now)

    def _turn(self) -> list[str]:
        """Whose turn it is to look for changes that no fault explains: some each time, so that a fleet costs little."""
        names = list(self.services)
        begin = self._round % len(names)
        self._round = begin + _LOOKS
        return names[begin : begin + _LOOKS]

    def inject(self, text: str) -> None:
        """Switch on ``NAME@PART[:ARGUMENT=VALUE…]`` now, or ``+SECONDS`` from now; FaultError where it does not fit.

        Faults of the wire are named ``wire-`` and a kind of :data:`~simulators.service.wire.KINDS`.
        """
        self.schedule([plans.parse(text, self.world.site)])

    def schedule(self, ordered: Iterable[Plan]) -> None:
        """Switch planned faults on, each after its own seconds from now."""
        now = time.monotonic()
        for plan in ordered:
            if plan.after > 0:
                self._due.append((now + plan.after, plan))
            else:
                self.switch_on(plan)

    def switch_on(self, plan: Plan) -> None:
        """Switch a planned fault on at once."""
        if plan.of_wire:
            self.services[plan.part].wire = plans.wire(plan.name, plan.arguments)
            return
        if plan.of_deeds:
            self.services[plan.part].manner = plans.manner(plan.name, plan.arguments)
            return
        self.world.inject(plan.name, plan.part, **plan.arguments)
        self._look()

    def clear(self, name: str, part: str) -> None:
        """Switch a fault off, by its name and part; FaultError for an unknown one."""
        if name.startswith(plans.WIRE):
            self.services[plans.controller(part, self.world.site)].wire = Wire()
            return
        if name.startswith(plans.DEED):
            self.services[plans.controller(part, self.world.site)].manner = Manner.WILLING
            return
        self.world.clear(name, part)
        self._look()


def _allow_descriptors(needed: int) -> None:
    """Raise this process's own limit of open files as far as it may; OSError when that is not enough."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < needed:
        most = needed if hard == resource.RLIM_INFINITY else min(needed, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))
        if most < needed:
            raise OSError(f"{needed} open files are needed and only {most} are allowed; raise 'ulimit -n'")


def with_dialect(site: Site, dialect: Dialect) -> Site:
    """The same site with every sled's controller speaking one dialect; ValueError where there is none such."""
    speech(dialect)
    rows = tuple(
        replace(
            row,
            racks=tuple(
                replace(
                    rack,
                    enclosures=tuple(
                        replace(enclosure, sleds=tuple(replace(sled, dialect=dialect) for sled in enclosure.sleds))
                        for enclosure in rack.enclosures
                    ),
                )
                for rack in row.racks
            ),
        )
        for row in site.rows
    )
    return replace(site, rows=rows)


def list_dialects() -> int:
    """Print every dialect and oddity; returns 0."""
    for line in dialects.describe():
        print(line)
    return 0


def list_faults() -> int:
    """Print every fault that can be asked for; returns 0."""
    for line in plans.describe():
        print(line)
    return 0


def run_simulate(
    out: Path,
    controllers: int | None = None,
    seconds: float | None = None,
    faults: Iterable[str] = (),
    seed: int = 1,
    time_factor: float = 1.0,
    dialect: Dialect | None = None,
    poll_interval: float = 30.0,
    listen: str = "127.0.0.1:9460",
    power: bool = False,
) -> int:
    """Serve a fleet until SIGINT, SIGTERM or ``seconds`` are over: the demo site, or a site of so many controllers.

    Prints ``ready`` once everything listens and ``out/fleet.toml`` is there. Returns an exit code: 0, or 2 with a
    message on standard error when something asked for does not exist or can't be had.
    """
    wanted = list(faults)
    if dialect == "list":
        return list_dialects()
    if "list" in wanted:
        return list_faults()
    try:
        site = demo_site() if controllers is None else scaled_site(controllers)
        site = site if dialect is None else with_dialect(site, dialect)
        ordered = [plans.parse(text, site) for text in wanted]
        # hurried time takes coarser steps, as far as readings don't show it, so that it can be kept up with
        world = World(site, seed=seed, step=min(5.0, max(1.0, time_factor / 10.0)))
        fleet = Fleet(world, out, time_factor=time_factor, poll_interval=poll_interval, listen=listen, power=power)
        with asyncio.Runner(loop_factory=_loop_factory()) as runner:
            runner.run(_serve(fleet, ordered, seconds))
    except (OSError, ValueError) as error:
        print(f"sledkeeper simulate: {error}", file=sys.stderr)
        return 2
    return 0


async def _serve(fleet: Fleet, ordered: list[Plan], seconds: float | None) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    async with fleet:
        fleet.schedule(ordered)
        print("ready", flush=True)
        waits = [loop.create_task(stop.wait()), loop.create_task(fleet.failed())]
        done, pending = await asyncio.wait(waits, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        for task in pending:
            task.cancel()
        await asyncio.gather(*pending, return_exceptions=True)
        for task in done:
            task.result()


def _loop_factory() -> Callable[[], asyncio.AbstractEventLoop] | None:
    """The faster event loop where there is one."""
    if os.name == "nt":
        return None
    import uvloop

    return uvloop.new_event_loop
