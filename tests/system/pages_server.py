"""The real server of the pages, on a free port of loopback."""

from __future__ import annotations

import os
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from dashboard.serve import command, environment


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


@contextmanager
def served(state_dir: Path, log: Path) -> Iterator[str]:
    """The pages of a state directory, as ``sledkeeper dashboard`` serves them; yields their origin."""
    port = free_port()
    origin = f"http://127.0.0.1:{port}"
    with log.open("wb") as out:
        server = subprocess.Popen(
            command(state_dir, port),
            env={**os.environ, **environment()},
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
        )
        try:
            _wait(server, origin, log)
            yield origin
        finally:
            server.terminate()
            server.wait(timeout=20)


def _wait(server: subprocess.Popen[bytes], origin: str, log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        if server.poll() is not None:
            raise AssertionError(f"the pages' server ended by itself: {log.read_text(errors='replace')}")
        try:
            if httpx.get(f"{origin}/_stcore/health", timeout=2).status_code == 200:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    raise AssertionError(f"the pages' server did not answer: {log.read_text(errors='replace')}")
