"""Time as keepers see it: the system's, or a test's."""

from __future__ import annotations

import asyncio
import contextlib
import time
from typing import Protocol

from collector.model import Seconds


class Clock(Protocol):
    """What a keeper may ask of time."""

    def now(self) -> Seconds:
        """Epoch seconds, for stamps."""

    def monotonic(self) -> float:
        """Seconds that never jump, for due times."""

    async def sleep(self, seconds: float) -> None:
        """Wait."""

    async def wait(self, seconds: float, call: asyncio.Event) -> None:
        """Wait, but no longer than until called."""


class SystemClock:
    """The machine's own time."""

    def now(self) -> Seconds:
        """Epoch seconds."""
        return time.time()

    def monotonic(self) -> float:
        """Seconds since some start."""
        return time.monotonic()

    async def sleep(self, seconds: float) -> None:
        """Wait without holding anyone up."""
        await asyncio.sleep(seconds)

    async def wait(self, seconds: float, call: asyncio.Event) -> None:
        """Wait, but no longer than until called."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await call.wait()
