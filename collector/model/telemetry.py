"""Sensors, readings, statuses and defects: what walks and rounds bring."""

from __future__ import annotations

from array import array
from enum import StrEnum

from msgspec import Struct, field

from collector.model.parts import Link, Part
from collector.model.setting import Setting
from collector.model.words import Health, Kind, LedState, PowerState, Quantity, Seconds, State


class Limit(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One threshold of a sensor, in the sensor's canonical unit."""

    value: float
    hysteresis: float = 0.0
    """Distance back past the limit that a reading must come to clear it; >= 0 whatever the service's sign."""
    on_delay: float = 0.0
    """Seconds that the reading must stay beyond the limit first (Redfish DwellTime)."""
    off_delay: float = 0.0
    """Seconds that the reading must stay back first (Redfish HysteresisDuration)."""


class Thresholds(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The standard's thresholds. Upper: crossed when the reading is strictly above; lower: strictly below."""

    upper_caution: Limit | None = None
    upper_critical: Limit | None = None
    upper_fatal: Limit | None = None
    lower_caution: Limit | None = None
    lower_critical: Limit | None = None
    lower_fatal: Limit | None = None
    upper_caution_user: Limit | None = None
    upper_critical_user: Limit | None = None
    lower_caution_user: Limit | None = None
    lower_critical_user: Limit | None = None


class Sensor(Struct, frozen=True, kw_only=True):
    """One physical sensor, once, however often a service lists it. Unique in a fleet by (controller, part, sensor)."""

    sensor: str
    """Short stable name, unique within its part; what people and label sets use."""
    controller: str
    part: str
    """Id of the part that is measured, not of the resource that lists it."""
    kind: Kind
    """Kind of that part."""
    quantity: Quantity
    unit: str
    """UCUM code of the values handed out: canonical, or the service's own when the quantity is OTHER."""
    source: str
    """Where the value is read: the Sensor resource, or a body's path with a pointer to the number."""
    also_at: tuple[str, ...] = ()
    context: str | None = None
    """Redfish PhysicalContext, as told."""
    range_min: float | None = None
    range_max: float | None = None
    thresholds: Thresholds = Thresholds()

    @property
    def key(self) -> tuple[str, str, str]:
        """(controller, part, sensor)."""
        return (self.controller, self.part, self.sensor)


class Layout(Struct, frozen=True):
    """The columns of a controller's frames: which sensor stands at which position. Changes only with a walk."""

    controller: str
    sensors: tuple[Sensor, ...]


class Frame(Struct):
    """All readings of one round of one controller, as columns in the order of its layout.

    ``values``: float64 per sensor, NaN = no value. ``healths``: one byte per sensor, a :class:`Health`.
    ``times``: float64 epoch seconds per sensor where the service tells acquisition times, else None: then ``time``
    (receipt) holds for all.
    """

    time: Seconds
    values: array[float]
    healths: bytes
    times: array[float] | None = None


class Status(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a controller says of one part right now; ``lamp_*`` are what it says of indicators."""

    state: State = State.UNKNOWN
    health: Health = Health.UNKNOWN
    health_rollup: Health = Health.UNKNOWN
    power: PowerState = PowerState.UNKNOWN
    locate: bool | None = None
    """LocationIndicatorActive; None where not told."""
    led: LedState | None = None
    """IndicatorLED; None where not told, null or outside the enumeration."""
    failure_predicted: bool | None = None
    """Drive FailurePredicted; None where not told."""
    link: bool | None = None
    """Whether a port has a link (Port LinkStatus); None where not told, while it is being made, and where the port is
    switched off."""
    last_reset: Seconds | None = None
    """When a controller or host was last reset (LastResetTime), by the controller's own clock; None where not told.
    Moves by more than half a minute or not at all."""
    boot: str | None = None
    """How far a host's start has come (BootProgress LastState), in the standard's words, e.g. ``OSRunning``; None where
    not told."""
    reasons: tuple[str, ...] = ()
    """Texts of the Status.Conditions told, worst first as given."""


class DefectKind(StrEnum):
    """How a body failed to say what the standard lets it say."""

    MISSING = "missing"
    WRONG_TYPE = "wrong type"
    NOT_A_NUMBER = "not a number"
    OUT_OF_RANGE = "out of range"
    UNKNOWN_UNIT = "unknown unit"
    WRONG_UNIT = "wrong unit"
    UNKNOWN_WORD = "unknown word"
    BAD_THRESHOLDS = "thresholds out of order"
    DANGLING_LINK = "dangling link"
    FOREIGN_LINK = "foreign link"
    LINK_LOOP = "link loop"
    WRONG_COUNT = "wrong count"
    WRONG_IDENTITY = "wrong identity"
    TOO_BIG = "too big"
    TOO_DEEP = "too deep"
    NOT_JSON = "not JSON"
    HTTP_ERROR = "HTTP error"
    BAD_TIME = "bad time"
    CONTRADICTION = "contradiction"
    DUPLICATE = "duplicate"


class Defect(Struct, frozen=True, kw_only=True):
    """Something a controller offers that can't be read as the standard means it."""

    controller: str
    resource: str
    property: str
    """JSON pointer within the resource, or "" for the whole of it."""
    kind: DefectKind
    detail: str
    """One sentence for a person, with what was found (shortened)."""


class Neighbour(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What stands at the other end of a port's cable, as told by it (Redfish Port Ethernet.LLDPReceive)."""

    part: str
    """Id of the port."""
    chassis: str
    """The neighbour's ChassisId, the same at every port that is connected to it."""
    port: str | None = None
    """The neighbour's PortId."""
    name: str | None = None
    """The neighbour's SystemName."""


class Inventory(Struct, frozen=True, kw_only=True):
    """What one walk of one controller found."""

    controller: str
    time: Seconds
    parts: tuple[Part, ...]
    links: tuple[Link, ...]
    layout: Layout
    statuses: dict[str, Status]
    """By part id; only parts of which the service tells a status, a power state or an indicator."""
    frame: Frame
    """The readings that the walk itself brought."""
    defects: tuple[Defect, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()
    settings: tuple[Setting, ...] = ()
    clock_offset: float | None = None
    """The controller's clock less ours when it was walked, s; None where it tells no time."""
    product: str | None = None
    """Service root Product, as told."""
    redfish_version: str | None = None


class Outcome(StrEnum):
    """How a controller's round ended."""

    OK = "ok"
    PARTIAL = "partial"
    """Some resources failed, the rest were read."""
    UNREACHABLE = "unreachable"
    """No connection: refused, reset, no route, name not found."""
    TIMED_OUT = "timed out"
    """No answer within the round's deadline."""
    UNTRUSTED = "untrusted"
    """The certificate is not the one expected."""
    LOGIN_REFUSED = "login refused"
    MALFORMED = "malformed"
    """It answers, but not with the standard: HTML, truncated, huge, not JSON."""
    UNAVAILABLE = "unavailable"
    """It says itself that it cannot serve now (503, 429)."""


class Round(Struct, frozen=True, kw_only=True):
    """One controller's round, done: what was asked, what came, what it cost."""

    controller: str
    started: Seconds
    finished: Seconds
    outcome: Outcome
    error: str = ""
    """One line naming the resource and what to do next; "" when ok, unless there is something to do nevertheless."""
    late: float = 0.0
    """Seconds that the round started behind its due time."""
    frame: Frame | None = None
    """None when no reading came."""
    statuses: dict[str, Status] = field(default_factory=dict)
    """By part id: only those that differ from the last round's or walk's."""
    defects: tuple[Defect, ...] = ()
    """Defects seen in this round that stand in no earlier round since the last walk."""
    requests: int = 0
    bytes_received: int = 0
    clock_offset: float | None = None
    """The controller's clock less ours, s; None where it was not read in this round."""
