"""Getting a service's own message registries, as they turn out to be needed: each once."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

from collector.model import Defect
from collector.poll.hearing import Hearing
from collector.redfish.errors import ControllerError
from collector.redfish.flow import Answer, Ask, Place, drive
from collector.redfish.registry_files import fetch_registries

log = logging.getLogger(__name__)

TRIES = 2
"""Times that a registry is asked for in the life of a keeper."""
SECONDS = 30.0
"""That getting some registries may take at once."""
MAX_DEFECTS = 32
"""Defects of registries that are remembered."""


class Learning:
    """The registries of one controller; ``hearing`` takes them in."""

    def __init__(self, place: Place, hearing: Hearing, exchange: Callable[[Ask], Awaitable[Answer]]) -> None:
        self.path: str | None = None
        """Of the service's collection of registries; None where it has none."""
        self.defects: tuple[Defect, ...] = ()
        """Of all registries that were fetched: they are told again after each walk, since the fetching is not."""
        self._place = place
        self._hearing = hearing
        self._exchange = exchange
        self._tried: dict[str, int] = {}
        """By prefix."""
        self._turn = asyncio.Lock()

    async def learn(self, bodies: Sequence[Mapping[str, Any]]) -> tuple[Defect, ...]:
        """Get what is needed to read these bodies; gives what is wrong with it.

        Raises nothing that a controller could cause: without registries the literal texts must do.
        """
        if self.path is None or not self._untried(bodies):
            return ()
        async with self._turn:
            wanted = self._untried(bodies)
            if not wanted:
                return ()
            for prefix in wanted:
                self._tried[prefix] = self._tried.get(prefix, 0) + 1
            try:
                async with asyncio.timeout(SECONDS):
                    got = await drive(fetch_registries(self.path, self._place, wanted), self._exchange)
            except (TimeoutError, ControllerError) as error:
                log.info("%s: its registries can't be had now: %s", self._place.controller, str(error) or "no time")
                return ()
            self._tried.update(dict.fromkeys(wanted, TRIES))
            self._hearing.learn(got.registries)
            self.defects = (*self.defects, *got.defects)[:MAX_DEFECTS]
            return got.defects

    def _untried(self, bodies: Sequence[Mapping[str, Any]]) -> set[str]:
        unknown = self._hearing.unknown_prefixes(bodies)
        return {prefix for prefix in unknown if self._tried.get(prefix, 0) < TRIES}
