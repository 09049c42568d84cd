"""``sledkeeper demo``: simulator, collector and pages together, each a process of its own, as in life."""

from __future__ import annotations

import argparse
import contextlib
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import webbrowser
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from collector.cli.simulate import add_fault_options
from collector.store.errors import StoreError
from collector.store.reader import Reader
from collector.text import plain

DEMO_FAULTS = (
    "fan-seized@r01-e1-s2/fan1+5",
    "drive-failure-predicted@r02-e1-s1/blade1/drive2+5",
    "blade-power-lost@r03-e1-s1/blade2+10",
    "drive-wearing@r02-e1-s2/blade1/drive0:left=95:per_day=432+10",
)
POLL_INTERVAL = 5.0
TIME_FACTOR = 10.0


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "demo",
        help="run an invented site: simulator, collector and pages",
        description="Run an invented site on this machine: simulated controllers, the collector and the pages. "
        "Needs no server; listens on loopback only; stops all of it on Ctrl-C.",
    )
    parser.add_argument("--headless", action="store_true", help="open no browser")
    parser.add_argument("--seconds", type=float, metavar="N", help="stop after so long (default: until interrupted)")
    parser.add_argument(
        "--port", type=int, default=8460, help="of the pages; a free one if taken (default: %(default)s)"
    )
    parser.add_argument(
        "--state", type=Path, metavar="DIR", help="keep the state here (default: a folder that is deleted)"
    )
    add_fault_options(parser)
    parser.set_defaults(run=run, time_factor=TIME_FACTOR)


@dataclass
class _Children:
    """The demo's processes, stopped in the reverse of the order in which they were started."""

    running: list[tuple[str, subprocess.Popen[str]]] = field(default_factory=list)

    def start(self, name: str, *argv: str, quiet: bool = True) -> subprocess.Popen[str]:
        child = subprocess.Popen(  # noqa: S603 - our own commands, no shell
            [sys.executable, "-m", "collector.cli.main", name, *argv],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL if quiet else subprocess.PIPE,
            text=True,
            start_new_session=True,  # Ctrl-C reaches us alone; we stop the others in order
        )
        self.running.append((name, child))
        return child

    def ended(self) -> str | None:
        """The name of a process that ended by itself, with its exit code."""
        return next(
            (f"{name} (exit code {child.returncode})" for name, child in self.running if child.poll() is not None), None
        )

    def stop(self) -> None:
        for _, child in reversed(self.running):
            if child.poll() is None:
                child.send_signal(signal.SIGTERM)
            try:
                child.wait(timeout=10)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()


def run(arguments: argparse.Namespace) -> int:
    """Run until interrupted, the time is up (0), or a part of it fails (1)."""
    if "list" in arguments.fault:
        from simulators.serve import list_faults

        return list_faults()
    faults = arguments.fault or list(DEMO_FAULTS)
    with _folder(arguments.state) as (work, state), _terminated():
        children = _Children()
        try:
            return _run(arguments, faults, work, state, children)
        except KeyboardInterrupt:
            print("stopping", flush=True)
            return 0
        finally:
            children.stop()


def _run(arguments: argparse.Namespace, faults: list[str], work: Path, state: Path, children: _Children) -> int:
    started = time.monotonic()
    options = [option for fault in faults for option in ("--fault", fault)]
    simulator = children.start(
        "simulate",
        *("--out", str(work / "fleet")),
        *("--poll-interval", str(POLL_INTERVAL)),
        *("--time-factor", str(arguments.time_factor)),
        *("--listen", f"127.0.0.1:{_free_port(9460)}"),
        *options,
        *(["--allow-power"] if arguments.allow_power else []),
        quiet=False,
    )
    assert simulator.stdout is not None
    if simulator.stdout.readline().strip() != "ready":
        print("sledkeeper demo: the simulator did not start; its message stands above", file=sys.stderr)
        return 1
    children.start("collect", "--config", str(work / "fleet" / "fleet.toml"), "--state", str(state))
    port = _free_port(arguments.port)
    children.start("dashboard", "--state", str(state), "--port", str(port))
    address = f"http://127.0.0.1:{port}/"
    if not _wait_for(port, children):
        print(f"sledkeeper demo: stopped by itself: {children.ended()}", file=sys.stderr)
        return 1
    print(f"demo is up after {time.monotonic() - started:.1f} s: {address}", flush=True)
    print(f"faults switched on: {', '.join(faults)}", flush=True)
    power = "and hosts may be switched" if arguments.allow_power else "hosts may not be switched (--allow-power)"
    print(f"locate lamps may be lit, {power}", flush=True)
    print(f"state: {state}   stop with Ctrl-C", flush=True)
    if not arguments.headless:
        webbrowser.open(address)
    until = None if arguments.seconds is None else started + arguments.seconds
    while until is None or time.monotonic() < until:
        if (ended := children.ended()) is not None:
            print(f"sledkeeper demo: stopped by itself: {ended}", file=sys.stderr)
            return 1
        time.sleep(0.5)
    _summary(state)
    return 0


def _summary(state: Path) -> None:
    """Say what the collector found, for those who ran it without looking at the pages."""
    try:
        reader = Reader(state)
        controllers, conditions = reader.controllers(), reader.conditions()
        readings = sum(reading.value is not None for reading in reader.readings())
        places = {part.id: part.location.text for part in reader.parts()}
        orders = reader.answers.orders()
    except StoreError as error:
        print(f"nothing was stored: {error}", file=sys.stderr)
        return
    print(f"{len(controllers)} controllers, {readings} readings, {len(conditions)} open conditions:")
    for condition in conditions:
        print(
            f"  {condition.severity.word:8}  {places.get(condition.part or '', condition.controller)}  {condition.text}"
        )
    print(f"{len(orders)} work orders:")
    for order in orders:
        print(f"  {order.urgency.value:10}  {plain(order.task)}")


@contextlib.contextmanager
def _terminated() -> Iterator[None]:
    """Within, a SIGTERM ends us as Ctrl-C does, so that the children are stopped."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextlib.contextmanager
def _folder(state: Path | None) -> Iterator[tuple[Path, Path]]:
    """A folder to work in and the state directory: both temporary unless the user names one to keep."""
    work = Path(tempfile.mkdtemp(prefix="sledkeeper-demo-"))
    try:
        yield work, state if state is not None else work / "state"
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _free_port(wanted: int) -> int:
    """The wanted port if nobody listens on it, else any free one."""
    for port in (wanted, 0):
        with contextlib.suppress(OSError), socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", port))
            return int(probe.getsockname()[1])
    raise OSError("no free port on 127.0.0.1")


def _wait_for(port: int, children: _Children) -> bool:
    """Wait until the pages answer, unless a process ends first; no limit of our own, Ctrl-C is at hand."""
    while children.ended() is None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return True
        time.sleep(0.1)
    return False
