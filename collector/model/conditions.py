"""What is wrong and what happened: conditions with their evidence, rolled-up health, lamps, events, stays."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct, field

from collector.model.answers import Margin, Trouble, WorkOrder
from collector.model.care import Mark
from collector.model.designs import Misfit
from collector.model.figures import Figure
from collector.model.lamps import Lamps
from collector.model.parts import Identity, Location
from collector.model.telemetry import Defect
from collector.model.words import Health, Kind, Seconds


class Subject(StrEnum):
    """What a condition is about."""

    THRESHOLD = "threshold"
    STATUS = "status"
    FAILURE_PREDICTED = "failure predicted"
    CONTROLLER = "controller"
    """Unreachable, login refused, untrusted…: the outcome stands in the evidence."""
    STALE = "stale"
    """Readings that once came and come no more, while their controller answers."""
    MISSING = "missing"
    """A part that was there and is not."""
    AIR = "air"
    """Inlet air outside what the class of its place allows, or that changes faster: trouble of the room, no part's."""
    WRONG = "wrong"
    """Readings that once could be read and are now told as what can't be one: see the evidence."""


class Evidence(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a condition rests on."""

    time: Seconds
    text: str
    source: str | None = None
    value: float | None = None
    unit: str | None = None
    limit: float | None = None
    threshold: str | None = None
    """Name of the threshold crossed, e.g. ``upper_critical``."""


class Condition(Struct, frozen=True, kw_only=True):
    """Something wrong, open from when it is seen until it has been gone long enough."""

    id: str
    """Deterministic: controller, part, sensor, subject (and threshold side); the same trouble has the same id."""
    controller: str
    part: str | None
    """None when it is about the controller as a whole."""
    sensor: str | None
    subject: Subject
    severity: Health
    text: str
    opened: Seconds
    """When the trouble was first seen (before the on-delay ran out)."""
    changed: Seconds
    """When severity or text last changed."""
    closed: Seconds | None = None
    evidence: tuple[Evidence, ...] = ()
    """First, worst and latest, at most 8, oldest first."""
    cause: str | None = None
    """Id of the open condition that it follows from, of whatever controller; None where it stands by itself."""
    inherited: bool = False
    """Whether its part itself is well, and only has no power, or can't be seen, through what the cause names."""
    raised: int = 1
    """How often it came since it opened: above 1 where it comes and goes and is held open meanwhile."""
    acknowledged: Mark | None = None
    shelved: Mark | None = None
    maintenance: Mark | None = None

    @property
    def announced(self) -> bool:
        """Whether it is to draw attention: not set aside by a person, and no mere consequence of another."""
        return self.shelved is None and self.maintenance is None and self.cause is None


class Rolled(Struct, frozen=True, kw_only=True):
    """A part's health as rolled up."""

    own: Health
    """From its own conditions and reported status alone."""
    worst: Health
    """Worst of own and everything it contains."""
    at_risk_through: tuple[str, ...] = ()
    """Ids of parts outside it, on which it depends, that are in trouble; never counted into ``worst``."""
    open_conditions: int = 0
    """Open conditions on it and in it, each counted once."""


class Event(Struct, frozen=True, kw_only=True):
    """Something that happened, told once."""

    time: Seconds
    controller: str
    part: str | None
    subject: str
    """e.g. ``condition opened``, ``condition closed``, ``controller unreachable``, ``part appeared``; what controllers
    tell themselves: see :mod:`collector.poll.hearing`."""
    severity: Health
    text: str


class Turn(StrEnum):
    """What begins or ends a part's stay at a position."""

    FIRST_SEEN = "first seen"
    """Told by the first walk of its controller: nobody knows since when it has been there."""
    APPEARED = "appeared"
    RETURNED = "returned"
    SWAPPED = "swapped"
    MOVED = "moved"
    MISSING = "missing"
    FIRMWARE = "firmware changed"
    IDENTITY = "identity changed"
    """The same serial number with another part number or model."""
    LOCATION = "location changed"
    """The same part, told at another place: it was carried there with its controller, or the labels were mended."""
    ADDRESS = "address changed"
    """The same part at the same place, told under another resource."""


class Stay(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A part at a position, unchanged, for a span of time. The unit of a part's history."""

    controller: str
    position: str
    """The part's id; of a row in an array, the array's place and the row's name: rows move up when one goes."""
    part: str
    """Id of the part."""
    parent: str | None = None
    """Id of the part that contained it."""
    kind: Kind
    name: str
    location: Location = Location()
    identity: Identity = Identity()
    """As told; what one walk leaves out of it stands as an earlier one told it."""
    since: Seconds
    began: Turn
    until: Seconds | None = None
    """When it was first known to have ended; None while it lasts."""
    ended: Turn | None = None
    came_from: str | None = None
    """Position where it was before, if known."""
    went_to: str | None = None
    """Position where it was found next, if known."""


class PartHours(Struct, frozen=True, kw_only=True):
    """For how long parts of one part number and firmware stood in their places."""

    kind: Kind
    part_number: str | None
    model: str | None
    firmware: str | None
    parts: int
    """Different ones: by serial number, else by place."""
    hours: float


class Assessment(Struct, frozen=True, kw_only=True):
    """What one round of one controller meant."""

    controller: str
    time: Seconds
    opened: tuple[Condition, ...] = ()
    changed: tuple[Condition, ...] = ()
    closed: tuple[Condition, ...] = ()
    rolled: dict[str, Rolled] = field(default_factory=dict)
    """By part id; only those that changed."""
    lamps: dict[str, Lamps] = field(default_factory=dict)
    """What the fronts should show, by part id; only those that changed."""
    events: tuple[Event, ...] = ()
    stays: tuple[Stay, ...] = ()
    """That began, ended, or of which more is known."""
    troubles: tuple[Trouble, ...] = ()
    """Opened, changed or closed; the newest word on each."""
    orders: tuple[WorkOrder, ...] = ()
    """Opened, changed or closed; the newest word on each."""
    margins: tuple[Margin, ...] = ()
    """That changed by enough to tell, whole for each part told of."""
    figures: tuple[Figure, ...] = ()
    """That changed by enough to tell."""
    defects: tuple[Defect, ...] = ()
    """What the controller tells that can't be so, beside what others tell or for what answers need of it; until its
    next walk."""
    misfits: tuple[Misfit, ...] | None = None
    """How the controller's sleds differ from their designs, all of it; None where that is what it was."""

    @property
    def empty(self) -> bool:
        """Whether there is nothing in it to keep."""
        told = (self.opened, self.changed, self.closed, self.rolled, self.lamps, self.events, self.stays)
        answers = (self.troubles, self.orders, self.margins, self.figures, self.defects)
        return not (any(told) or any(answers) or self.misfits is not None)
