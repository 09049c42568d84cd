"""What every look for signs is given and must give: the seam between the rooms of ``assess`` and fault isolation.

A *look* follows one controller. It is told of each walk and round, keeps what it needs of the past itself (bounded
a look may not grow with time) and holds what it sees now. Looks are independent of one another, never read a clock and
never raise on what a controller said.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from msgspec import Struct

from collector.model import Frame, Inventory, Observation, Outcome, Seconds, SignKey, Status, Visible


class Seen(Struct, frozen=True, kw_only=True):
    """One round of one controller, as looks see it."""

    time: Seconds
    frame: Frame | None
    """In the order of the newest inventory's layout; None when the round brought no reading."""
    statuses: Mapping[str, Status]
    """All that is known, by part id; not only what changed."""
    idle: frozenset[str]
    """Ids of the parts that are off, absent, or inside such a part: their readings mean nothing."""
    outcome: Outcome
    error: str = ""
    seconds: float = 0.0
    """How long the round took..."""
    requests: int = 0
    """...and how many answers it waited for."""
    clock_offset: float | None = None
    """The controller's clock less ours, s; None where it wasn't read."""


class Look(Protocol):
    """One way of looking for signs in what one controller tells."""

    @property
    def visible(self) -> Visible:
        """What it could see, given the newest inventory."""

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now; while the controller can't be read, what it saw last."""

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""

    def round(self, seen: Seen) -> bool:
        """Take a finished round; say whether :attr:`present` changed."""
