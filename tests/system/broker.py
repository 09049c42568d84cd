"""Debian's mosquitto on a free port of loopback, forgetting everything when it ends; and a second client to look in."""

from __future__ import annotations

import asyncio
import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import uuid
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import aiomqtt
import pytest
from paho.mqtt.subscribeoptions import SubscribeOptions

LIMIT = 30.0
"""Seconds after which a fact that was waited for is taken not to come: a failed test, not a measure."""


def mosquitto() -> str:
    """The broker's program; skips the test, naming the package, where there is none."""
    found = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")
    if found is None:
        pytest.skip("the Debian package mosquitto is missing: no mosquitto in /usr/sbin or /usr/bin")
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Broker:
    """One broker address; the process behind it comes and goes."""

    folder: Path
    port: int = field(default_factory=free_port)
    extra: str = ""
    anonymous: bool = True
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and wait until it takes connections."""
        config = self.folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} 127.0.0.1\npersistence false\nallow_anonymous {str(self.anonymous).lower()}\n"
            f"log_dest none\nuser {pwd.getpwuid(os.geteuid()).pw_name}\n{self.extra}"
        )
        with (self.folder / "mosquitto.stderr").open("wb") as stderr:
            self.process = subprocess.Popen([mosquitto(), "-c", str(config)], stderr=stderr)
        while True:
            said = (self.folder / "mosquitto.stderr").read_text()
            assert self.process.poll() is None, f"mosquitto ended with {self.process.returncode}: {said}"
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=1):
                return

    def kill(self) -> None:
        """End it without a chance to save or say anything."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None


@contextmanager
def broker(folder: Path, extra: str = "", *, anonymous: bool = True) -> Iterator[Broker]:
    """A running broker, ended afterwards by its process id."""
    one = Broker(folder, extra=extra, anonymous=anonymous)
    one.start()
    try:
        yield one
    finally:
        one.kill()


@asynccontextmanager
async def looking(port: int) -> AsyncIterator[aiomqtt.Client]:
    """A client of the test's own."""
    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5, timeout=LIMIT) as client:
        yield client


async def retained(port: int, under: str = "sledkeeper/#") -> dict[str, bytes]:
    """All that the broker retains: what comes on subscribing, until an echo of our own comes behind it."""
    echo = f"test/{uuid.uuid4().hex}"
    found: dict[str, bytes] = {}
    async with asyncio.timeout(LIMIT), looking(port) as client:
        await client.subscribe(under, options=SubscribeOptions(qos=0))
        await client.subscribe(echo, options=SubscribeOptions(qos=0))
        await client.publish(echo, b"")
        async for message in client.messages:
            if str(message.topic) == echo:
                break
            if message.retain:
                assert isinstance(message.payload, bytes)
                found[str(message.topic)] = message.payload
    return found


async def until(fact: Callable[[], bool]) -> None:
    """Wait until something holds."""
    async with asyncio.timeout(LIMIT):
        while not fact():
            await asyncio.sleep(0.01)
