"""What a service needs to know of its dialect, beside the tree, to tell events."""

from __future__ import annotations

from dataclasses import dataclass

from simulators.service.offers import Control, Log, Offer
from simulators.service.watcher import Telling


@dataclass(frozen=True, slots=True)
class Around:
    """Made once a tree."""

    offer: Offer
    telling: Telling
    logs: tuple[Log, ...]
    controls: tuple[Control, ...] = ()
    """Resets that it takes."""
