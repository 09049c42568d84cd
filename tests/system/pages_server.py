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

from dashboard.people import NOBODY_SIGNS_IN, load
from dashboard.serve import command, environment, sign_in_secrets


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


@contextmanager
def served(
    state_dir: Path, log: Path, people_file: Path | None = None, port: int = 0, host: str = "127.0.0.1"
) -> Iterator[str]:
    """The pages of a state directory, as ``sledkeeper dashboard`` serves them; yields their origin."""
    port = port or free_port()
    origin = f"http://127.0.0.1:{port}"
    people = NOBODY_SIGNS_IN if people_file is None else load(people_file)
    made = sign_in_secrets(people)
    with log.open("wb") as out:
        server = subprocess.Popen(
            command(state_dir, port, host, people, None if made is None else made[0]),
            env={**os.environ, **environment(people_file=people_file)},
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            pass_fds=() if made is None or made[1] is None else (made[1],),
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
