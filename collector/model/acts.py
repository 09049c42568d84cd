"""What holds because people asked for it: lamps that are lit, what they saw at fronts, who has which work order."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.lamps import Lamps
from collector.model.words import Seconds


class PowerWish(StrEnum):
    """What people may want of a host's power. Which ResetType does it, the host's own allowable values decide."""

    ON = "on"
    SHUT_DOWN = "shut down"
    """The operating system is asked to end in order."""
    FORCE_OFF = "force off"
    RESTART = "restart"
    """The operating system is asked to restart in order."""
    FORCE_RESTART = "force restart"
    CYCLE = "power cycle"
    """Off and on again, at once."""


TAKES_DOWN = frozenset(PowerWish) - {PowerWish.ON}
"""Wishes by which a running host goes down, for a while at least."""


class Permits(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the fleet file lets people have done, for pages to offer no more than that. The collector decides."""

    locate: bool = False
    locate_minutes: float = 15.0
    """For which a lamp stays on at most."""
    power: bool = False
    besides: dict[str, bool] = {}
    """By controller, where power is otherwise."""

    def power_for(self, controller: str) -> bool:
        """Whether hosts of this controller may be switched."""
        return self.besides.get(controller, self.power)


class Lit(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A locate lamp that was switched on from here, and is to be switched off again."""

    part: str
    """Id of the part that was asked for."""
    controller: str
    resources: tuple[str, ...]
    """Where its lamp may be switched, in the order to try them."""
    request: int
    who: str
    why: str
    since: Seconds
    until: Seconds
    """When it goes off by itself."""


class Noticed(StrEnum):
    """What else than lamps a person may see at a front."""

    FAN_STANDS = "the fan does not turn"
    LEAK = "it is wet"


class Sighting(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a person saw of a part. Asked for with ``blue`` and ``amber`` (words of
    :class:`~collector.model.LampState`) and ``noticed`` (of :class:`Noticed`), each left out where not looked at."""

    part: str
    controller: str
    request: int
    who: str
    at: Seconds
    until: Seconds
    """When it is too old to count."""
    seen: Lamps | None = None
    """A lamp that was not looked at is unknown."""
    told: Lamps | None = None
    """What should have been seen, by what the controller told then; None for a part without a front."""
    noticed: tuple[Noticed, ...] = ()
    by_deed: bool = False
    """Nobody looked: a lamp was switched on request, and its controller says that it did not follow."""


class OrderState(StrEnum):
    """How far a work order is, for people."""

    OPEN = "open"
    TAKEN = "taken"
    WATCHING = "done, watching"
    """Somebody says that it is done; it closes when what it was written for clears."""
    STILL_THERE = "done, still there"
    """What it was written for did not clear for as many rounds as it should have taken."""
    CLOSED = "closed"


class Handled(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A step in what people did about a work order."""

    state: OrderState
    who: str
    at: Seconds
    why: str = ""
    request: int = 0


class Handling(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What people do about the work order for one part."""

    part: str
    """Id; whatever becomes of the trouble, the visit is to this part."""
    order: str
    """Id of the order that was taken."""
    steps: tuple[Handled, ...]
    """Oldest first; never empty."""
    serial_before: str | None = None
    """Of the part as it was told when the order was taken or finished."""
    serial_typed: str | None = None
    """Of what was put in, as the person typed it."""
    serial_read: str | None = None
    """Of what stands there, by the newest walk since it was done; None before one."""
    rounds: int = 0
    """That were read since it was done."""

    @property
    def state(self) -> OrderState:
        """How far it is."""
        return self.steps[-1].state

    @property
    def who(self) -> str:
        """Who did the newest step."""
        return self.steps[-1].who

    @property
    def since(self) -> Seconds:
        """When that was."""
        return self.steps[-1].at

    @property
    def serial_note(self) -> str:
        """What the serial numbers say, one sentence; "" where there is nothing to say yet."""
        if self.serial_read is None:
            return ""
        if self.serial_typed is None:
            same = self.serial_read == self.serial_before
            return "The same part stands there as before." if same else f"Serial {self.serial_read} stands there now."
        if _alike(self.serial_read, self.serial_typed):
            return f"Serial {self.serial_read} is read there, as typed."
        if self.serial_read == self.serial_before:
            return f"The old part is still read there, serial {self.serial_read}; {self.serial_typed} was typed."
        return f"Serial {self.serial_read} is read there, and {self.serial_typed} was typed: look which is right."


Held = Lit | Sighting | Handling
"""What the store keeps of it, each by its part."""


def _alike(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()
