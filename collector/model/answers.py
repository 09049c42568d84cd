"""Answers: which replaceable part explains the trouble, how sure that is, what margin is left, what to do about it."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.acts import Handling, OrderState
from collector.model.lamps import Lamps
from collector.model.parts import Identity, Location
from collector.model.words import Health, Kind, Seconds


class Suspect(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A FRU that may explain open conditions."""

    part: str
    """Id; of a part that no controller tells of (a cable, a switch), an id that begins with ``~``."""
    controller: str | None
    kind: Kind
    name: str
    location: Location = Location()
    identity: Identity = Identity()
    fault: str
    """How it would have failed, a few words, e.g. ``seized``; the likeliest of the ways in which this part fails."""
    probability: float
    """That this part has failed, in whatever way, over all explanations weighed, 0 to 1."""
    fault_probability: float = 1.0
    """That it has failed in the way that ``fault`` says, if it is this part, 0 to 1."""
    speaks_for: tuple[str, ...] = ()
    """One sentence each, strongest first; healthy showings too."""
    speaks_against: tuple[str, ...] = ()
    remedy: str = "replace"
    """What mends it: ``replace``, ``reseat``, ``clean``, ``update firmware``, ``restart``…"""


class Trouble(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Signs that hang together, and the parts that may explain them."""

    id: str
    """Begins with the name of the controller whose part showed it first, and ``.trouble.``."""
    opened: Seconds
    changed: Seconds
    closed: Seconds | None = None
    severity: Health
    controllers: tuple[str, ...] = ()
    """Whose parts show it."""
    suspects: tuple[Suspect, ...] = ()
    """Likeliest first, at most 8."""
    group: tuple[str, ...] = ()
    """Ids of the suspects that the evidence can't tell apart, the first suspect among them."""
    also: tuple[str, ...] = ()
    """Ids of suspects that have failed besides the first, where two faults explain it better than one."""
    conditions: tuple[str, ...] = ()
    """Ids of the conditions that it explains."""
    signs: tuple[str, ...] = ()
    """What was seen, one sentence each."""
    unexplained: float = 0.0
    """Probability that none of the known faults explains it, 0 to 1."""
    next_look: str = ""
    """The cheapest observation that would split the group; "" where the group is one."""
    weaker: tuple[str, ...] = ()
    """What makes the answer weaker than it might be, one sentence each: what is told that can't be so, what isn't told
    that would be needed."""


class Urgency(StrEnum):
    """How soon hands are needed."""

    NOW = "now"
    TODAY = "today"
    NEXT_VISIT = "next visit"


class Fallen(Struct, frozen=True):
    """What goes down with a part."""

    part: str
    name: str
    kind: Kind


class WorkOrder(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a person must do: where, which part, which lamp, what it takes down, which cautions."""

    id: str
    """Deterministic: trouble and part."""
    trouble: str
    part: str
    controller: str | None
    kind: Kind
    name: str
    location: Location = Location()
    identity: Identity = Identity()
    opened: Seconds
    changed: Seconds
    closed: Seconds | None = None
    urgency: Urgency
    task: str
    """One sentence: what to do to which part."""
    reason: str
    """One sentence: why, and how sure."""
    lamp: Lamps | None = None
    """What its front should show; None where it has no lamps."""
    lamp_text: str = ""
    """Which lamp to look for, in words."""
    takes_down: tuple[Fallen, ...] = ()
    """Everything that depends on it and would go down."""
    running: bool | None = None
    """Whether it can be pulled from the front while everything runs; None where nobody tells."""
    first: tuple[str, ...] = ()
    """Steps before, in order: what to drain, whom to ask."""
    cautions: tuple[str, ...] = ()
    otherwise: tuple[str, ...] = ()
    """Ids of the other parts of the ambiguity group, in the order to try them."""
    bundle: str = ""
    """Orders of one bundle are one walk: the rack they are in."""
    handling: Handling | None = None
    """What people do about it; None while nobody has taken it."""

    @property
    def state(self) -> OrderState:
        """How far it is."""
        if self.closed is not None:
            return OrderState.CLOSED
        return OrderState.OPEN if self.handling is None else self.handling.state


class MarginKind(StrEnum):
    """What there is some left of."""

    HEAT = "heat"
    """Kelvin up to a part's limit."""
    AIR = "air"
    """Kelvin up to the limit of the inlet air."""
    SWING = "swing"
    """Kelvin by which the inlet air may still change within minutes or an hour."""
    POWER = "power"
    """Watts up to a rating."""
    REDUNDANCY = "redundancy"
    """Watts up to the rating of what remains after the loss of one."""


class Margin(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is left of something, at one part."""

    controller: str | None
    """None for a place that is no controller's: a rack, a row."""
    part: str
    """Id, or the place's text for a place."""
    kind: MarginKind
    time: Seconds
    value: float
    """What is used, in ``unit``."""
    limit: float
    """In ``unit``."""
    left: float
    """``limit`` less ``value``: negative when it is beyond."""
    unit: str
    """Cel (left: K) or W."""
    watts: float | None = None
    """Further load that would use it up; None where that can't be said."""
    sensor: str | None = None
    basis: str = ""
    """One sentence: what limit, whose, and how the watts follow."""
