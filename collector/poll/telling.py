"""Whom a keeper feeds and tells: what it takes of the rest of the collector."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Protocol

from collector.model import Assessment, Inventory, Round, Seconds, Update

Tell = Callable[[Update], Awaitable[None]]
"""Takes an update; waits while there is no room for it. ValueError: this update doesn't fit, which is that controller's
trouble alone. Anything else that it raises ends the fleet: nothing can be kept any more."""

Remember = Callable[[Seconds], bytes | None]
"""Gives what has been learnt of a controller by now; None while that is nothing."""


class Watches(Protocol):
    """What a keeper feeds; see :class:`collector.assess.watch.Watch`."""

    def inventory(self, inventory: Inventory, now: Seconds) -> Assessment:
        """Take a walk."""

    def round(self, round: Round, now: Seconds) -> Assessment:
        """Take a round."""
