"""What is done to controllers because somebody asked for it: flows driven beside the polling, one a controller at once.

Each goes through the keeper's own client and its one session; where the fleet file names other credentials for
actions, through a second session that lives as long as the action.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Iterable
from dataclasses import replace

import httpx

from collector.model import RequestState
from collector.poll.clock import Clock
from collector.poll.keeper import Keeper
from collector.redfish.client import Client
from collector.redfish.deeds import Came
from collector.redfish.errors import ControllerError
from collector.redfish.flow import Answer, Ask, Flow, Place, drive
from collector.settings import ControllerSettings

log = logging.getLogger(__name__)

MARGIN = 60.0
"""Seconds that a deed may take beyond what it is to be waited for: requests, tasks, a slow controller."""

Make = Callable[[Place], Flow[Came]]
TransportFor = Callable[[ControllerSettings], httpx.AsyncBaseTransport | None]


class Hands:
    """Of a fleet. ``transport_for``: in place of the network, for a client of its own."""

    def __init__(self, keepers: Iterable[Keeper], clock: Clock, transport_for: TransportFor) -> None:
        self._keepers = {keeper.settings.name: keeper for keeper in keepers}
        self._busy: dict[str, asyncio.Lock] = {}
        self._clock = clock
        self._transport_for = transport_for

    async def do(self, controller: str, make: Make, patience: float) -> Came:
        """Do it, within ``patience`` seconds and some; whatever befalls the controller is told, not raised."""
        keeper = self._keepers.get(controller)
        if keeper is None:
            return Came(RequestState.REFUSED, f"the fleet file has no controller {controller} any more")
        async with self._busy.setdefault(controller, asyncio.Lock()):
            settings = keeper.settings
            if settings.action_credential is None:
                came = await self._driven(keeper.client, settings, make, patience)
            else:
                own = replace(settings, credential=settings.action_credential)
                async with Client(own, transport=self._transport_for(settings)) as client:
                    came = await self._driven(client, settings, make, patience)
        if came.state is not RequestState.REFUSED:
            keeper.look()
        return came

    async def _driven(self, client: Client, settings: ControllerSettings, make: Make, patience: float) -> Came:
        sent = False

        async def exchange(ask: Ask) -> Answer:
            nonlocal sent
            if ask.wait > 0:
                await self._clock.sleep(ask.wait)
            sent = sent or ask.method != "GET"
            return await client.exchange(ask)

        try:
            async with asyncio.timeout(2.0 * patience + MARGIN):  # a task is followed as long, then looked at as long
                return await drive(make(Place(settings.name, settings.url)), exchange)
        except TimeoutError:
            told = f"not finished within {2.0 * patience + MARGIN:g} s"
            log.warning("%s: %s", settings.name, told)
            return _broken(sent, RequestState.TIMED_OUT, told)
        except ControllerError as error:
            log.warning("%s: an action failed: %s", settings.name, error.line)
            return _broken(sent, RequestState.TIMED_OUT, f"{error.happened}; {error.next_step}")


def _broken(sent: bool, state: RequestState, why: str) -> Came:
    if sent:
        return Came(state, f"it was sent, and what came of it is not known: {why}; look at the front")
    return Came(RequestState.REFUSED, f"nothing was changed: {why}")
