"""The ``sledkeeper`` command as a user runs it: processes on loopback, stopped by the tests that start them."""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")
PATIENCE = 120.0
"""Seconds; far beyond what anything takes here, so that a busy machine fails no test."""
COMMAND = [sys.executable, "-m", "collector.cli.main"]


def sledkeeper(*argv: str | Path, timeout: float = 120) -> subprocess.CompletedProcess[str]:
    """Run one command to its end."""
    return subprocess.run([*COMMAND, *map(str, argv)], capture_output=True, text=True, timeout=timeout, check=False)


def read(reader: str, state: Path, *argv: str) -> list[dict[str, Any]]:
    """The rows of one of the readers."""
    done = sledkeeper(reader, "--state", state, "--format", "json", *argv)
    assert done.returncode == 0, done.stderr
    rows: list[dict[str, Any]] = json.loads(done.stdout)
    return rows


@contextlib.contextmanager
def running(*argv: str | Path, output: int | None = None) -> Iterator[subprocess.Popen[str]]:
    """A command that runs while the test does; ended with SIGTERM, which every command obeys in order."""
    child = subprocess.Popen([*COMMAND, *map(str, argv)], stdout=output, stderr=None, text=True)
    try:
        yield child
    finally:
        if child.poll() is None:
            child.send_signal(signal.SIGTERM)
        child.wait(timeout=60)
        if child.stdout is not None:
            child.stdout.close()


@contextlib.contextmanager
def simulated(folder: Path, *argv: str) -> Iterator[Path]:
    """A simulated fleet, ready; gives the path of its fleet file."""
    with running("simulate", "--out", folder, "--listen", "127.0.0.1:0", *argv, output=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        yield folder / "fleet.toml"


def until(fact: Callable[[], T | None]) -> T:
    """Wait until something is there, and give it."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if found := fact():
            return found
        time.sleep(0.2)
    raise AssertionError("it did not happen")
