"""Time that passes at once, and a keeper's surroundings, for tests that wait for nothing."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
from pydantic import SecretStr

from collector.assess.watch import Watch
from collector.model import Update
from collector.poll.events import Listening
from collector.poll.interpret import interpret
from collector.poll.keeper import Keeper
from collector.redfish.wire import Limits
from collector.settings import CollectorSettings, ControllerSettings, Credential
from tests.mockups import Answer, Mockup, MockupTransport

NOON = 1_764_072_000.0
SENSORS = "/redfish/v1/Chassis/1U/Sensors"
CREDENTIAL = Credential(username="ops", password=SecretStr("secret"))


def gaps(times: Sequence[float]) -> list[float]:
    """Seconds from each to the next."""
    return [later - earlier for earlier, later in pairwise(times)]


class QuickClock:
    """A clock on which sleeping is what makes time pass; ``slept`` keeps every wait."""

    def __init__(self, now: float = NOON) -> None:
        self.time = now
        self.slept: list[float] = []

    def now(self) -> float:
        return self.time

    def monotonic(self) -> float:
        return self.time - NOON + 1000.0

    async def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.time += seconds
        await asyncio.sleep(0)

    async def wait(self, seconds: float, call: asyncio.Event) -> None:
        await asyncio.sleep(0)
        if not call.is_set():
            await self.sleep(seconds)


class Enough(Exception):
    """Enough updates have come."""


class Kept:
    """One keeper over an example service, and what it told. Start it with :meth:`run`."""

    def __init__(
        self,
        what: Path | Mockup | httpx.AsyncBaseTransport,
        *,
        chance: Callable[[], float] = lambda: 0.5,
        credential: Credential | None = None,
        watch: Any = None,
        max_walks: int = 4,
        limits: Limits | None = None,
        interpret: Any = interpret,
        listening: Listening | None = None,
        remember: Any = None,
        on_update: Callable[[Update], Awaitable[object] | None] = lambda update: None,
        **collector: Any,
    ) -> None:
        transport = what if isinstance(what, httpx.AsyncBaseTransport) else MockupTransport(what)
        self.clock = QuickClock()
        self.updates: list[Update] = []
        self.times: list[float] = []
        self.walks = asyncio.Semaphore(max_walks)
        self.on_update = on_update
        self.enough = 0
        settings = ControllerSettings(name="bmc", url="https://192.0.2.17", credential=credential)
        self.collector = CollectorSettings(**{"poll_interval": 30.0, **collector})
        self.keeper = Keeper(
            settings,
            self.collector,
            watch or Watch("bmc", self.collector.poll_interval),
            self._tell,
            walks=self.walks,
            clock=self.clock,
            chance=chance,
            transport=transport,
            limits=limits,
            interpret=interpret,
            listening=listening,
            remember=remember,
        )

    async def _tell(self, update: Update) -> None:
        self.updates.append(update)
        self.times.append(self.clock.now())
        if (hook := self.on_update(update)) is not None:
            await hook
        if len(self.updates) >= self.enough:
            raise Enough

    async def run(self, updates: int) -> list[Update]:
        """Run until so many updates have come; the keeper closes then."""
        self.enough = updates
        try:
            async with asyncio.timeout(20):
                await self.keeper.run()
        except Enough:
            return self.updates
        raise AssertionError("a keeper never ends by itself")

    def when(self, letter: str) -> list[float]:
        """When updates of one kind came; see :attr:`shape`."""
        return [time for time, other in zip(self.times, self.shape, strict=True) if other == letter]

    @property
    def rounds(self) -> list[Any]:
        return [update.round for update in self.updates if update.round is not None]

    @property
    def shape(self) -> str:
        """The updates in one word: w for a walk, the outcome's first letter for a round."""
        return "".join("w" if update.round is None else update.round.outcome.name[0] for update in self.updates)


UNAVAILABLE = Answer(503, {"Retry-After": "100"}, b"")
