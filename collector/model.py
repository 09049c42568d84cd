"""The project's words as types. No I/O; imports nothing of ours.

Conventions, everywhere:

* Times are seconds since 1970-01-01T00:00:00Z as ``float`` (``Seconds``); they are passed in, never read here.
* Values are in the canonical unit of their quantity (see :data:`CANONICAL_UNIT`).
* A resource is named by the path it was fetched from, e.g. ``/redfish/v1/Chassis/Sled``; a place inside a body by
  that path with a JSON pointer (RFC 6901) as fragment, e.g. ``/redfish/v1/Chassis/Sled/Thermal#/Fans/0``.
* A part's ``id`` is ``<controller name>:<that name>``: unique in the fleet, stable while the service keeps its tree.
* Absent (``None``), unknown and zero are three facts and stay three values.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Mapping, Sequence
from enum import IntEnum, StrEnum

from msgspec import Struct, field

Seconds = float

NO_VALUE = math.nan
"""Stands in a frame's value column where the controller told no value (null, absent, not enabled, out of range)."""


class Health(IntEnum):
    """The standard's health words (Redfish ``Resource.Health``), ordered by urgency; unknown is never OK."""

    UNKNOWN = 0
    OK = 1
    WARNING = 2
    CRITICAL = 3

    @property
    def word(self) -> str:
        """The standard's spelling: ``unknown``, ``OK``, ``Warning`` or ``Critical``."""
        return _HEALTH_WORDS[self]

    @classmethod
    def from_word(cls, word: object) -> Health:
        """The health a Redfish body spells; anything outside the enumeration is unknown."""
        return _HEALTH_BY_WORD.get(word, cls.UNKNOWN) if isinstance(word, str) else cls.UNKNOWN


_HEALTH_WORDS = ("unknown", "OK", "Warning", "Critical")
_HEALTH_BY_WORD = {"OK": Health.OK, "Warning": Health.WARNING, "Critical": Health.CRITICAL}


class State(StrEnum):
    """Redfish ``Resource.State``; UNKNOWN where none, or one outside the enumeration, is told."""

    UNKNOWN = "unknown"
    ENABLED = "Enabled"
    DISABLED = "Disabled"
    STANDBY_OFFLINE = "StandbyOffline"
    STANDBY_SPARE = "StandbySpare"
    IN_TEST = "InTest"
    STARTING = "Starting"
    ABSENT = "Absent"
    UNAVAILABLE_OFFLINE = "UnavailableOffline"
    DEFERRING = "Deferring"
    QUIESCED = "Quiesced"
    UPDATING = "Updating"
    QUALIFIED = "Qualified"
    DEGRADED = "Degraded"


class PowerState(StrEnum):
    """Redfish ``Resource.PowerState``; UNKNOWN where none, or one outside the enumeration, is told."""

    UNKNOWN = "unknown"
    ON = "On"
    OFF = "Off"
    POWERING_ON = "PoweringOn"
    POWERING_OFF = "PoweringOff"
    PAUSED = "Paused"


class LedState(StrEnum):
    """Redfish ``IndicatorLED`` (deprecated in favour of LocationIndicatorActive, still common)."""

    LIT = "Lit"
    BLINKING = "Blinking"
    OFF = "Off"


class Kind(StrEnum):
    """What a part is. ChassisType and resource type decide; OTHER keeps what the list does not know."""

    RACK = "rack"
    ENCLOSURE = "enclosure"
    SLED = "sled"
    BLADE = "blade"
    MODULE = "module"
    HOST = "host"
    CONTROLLER = "controller"
    FAN = "fan"
    POWER_SUPPLY = "power supply"
    POWER_FEED = "power feed"
    BATTERY = "battery"
    PROCESSOR = "processor"
    MEMORY = "memory"
    DRIVE = "drive"
    STORAGE_CONTROLLER = "storage controller"
    NETWORK_ADAPTER = "network adapter"
    PCIE_DEVICE = "PCIe device"
    SWITCH = "switch"
    PUMP = "pump"
    COOLING_UNIT = "cooling unit"
    COOLANT_LOOP = "coolant loop"
    FILTER = "filter"
    LEAK_DETECTOR = "leak detector"
    OUTLET = "outlet"
    CIRCUIT = "circuit"
    OTHER = "other"


class Quantity(StrEnum):
    """What is measured."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    ABSOLUTE_HUMIDITY = "absolute humidity"
    POWER = "power"
    APPARENT_POWER = "apparent power"
    REACTIVE_POWER = "reactive power"
    POWER_FACTOR = "power factor"
    ENERGY = "energy"
    CHARGE = "charge"
    VOLTAGE = "voltage"
    CURRENT = "current"
    FREQUENCY = "frequency"
    ROTATION = "rotational speed"
    SPEED_RATIO = "speed"
    LOAD_RATIO = "load"
    PERCENT = "percent"
    PRESSURE = "pressure"
    AIR_FLOW = "air flow"
    LIQUID_FLOW = "liquid flow"
    LEVEL = "level"
    ALTITUDE = "altitude"
    HEAT = "heat"
    TIME = "time"
    COUNT = "count"
    DATA = "data"
    OTHER = "other"


CANONICAL_UNIT: Mapping[Quantity, str] = {
    Quantity.TEMPERATURE: "Cel",
    Quantity.HUMIDITY: "%",
    Quantity.ABSOLUTE_HUMIDITY: "g/m3",
    Quantity.POWER: "W",
    Quantity.APPARENT_POWER: "V.A",
    Quantity.REACTIVE_POWER: "V.A{reactive}",
    Quantity.POWER_FACTOR: "1",
    Quantity.ENERGY: "J",
    Quantity.CHARGE: "C",
    Quantity.VOLTAGE: "V",
    Quantity.CURRENT: "A",
    Quantity.FREQUENCY: "Hz",
    Quantity.ROTATION: "{rev}/min",
    Quantity.SPEED_RATIO: "%",
    Quantity.LOAD_RATIO: "%",
    Quantity.PERCENT: "%",
    Quantity.PRESSURE: "Pa",
    Quantity.AIR_FLOW: "m3/s",
    Quantity.LIQUID_FLOW: "L/min",
    Quantity.LEVEL: "m",
    Quantity.ALTITUDE: "m",
    Quantity.HEAT: "W",
    Quantity.TIME: "s",
    Quantity.COUNT: "1",
    Quantity.DATA: "By",
}
"""UCUM code of every quantity's canonical unit; ``Quantity.OTHER`` keeps the unit the service told."""


class Location(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Where a part is, as written on the labels: site / row / rack / offset / enclosure / sled / slot."""

    site: str | None = None
    row: str | None = None
    rack: str | None = None
    offset: float | None = None
    """Lowest rack unit the part occupies, counted from the bottom, 0-based (Redfish ``RackOffset``)."""
    offset_unit: str | None = None
    """``EIA_310`` (44.45 mm) or ``OpenU`` (48 mm)."""
    enclosure: str | None = None
    sled: str | None = None
    slot: str | None = None
    slot_index: int | None = None
    """Redfish ``LocationOrdinalValue``, 0-based."""

    @property
    def text(self) -> str:
        """One line, widest first, e.g. ``Quellmark / A / R02 / U10 / E1 / Sled 1 / Blade 3``.

        Labels count rack units from 1 at the bottom (common practice, no source); ``offset`` counts from 0.
        """
        unit = None if self.offset is None else f"U{self.offset + 1:g}"
        steps = (self.site, self.row, self.rack, unit, self.enclosure, self.sled, self.slot)
        return " / ".join(step for step in steps if step)


class Identity(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a part calls itself, untrusted text as told."""

    manufacturer: str | None = None
    model: str | None = None
    part_number: str | None = None
    spare_part_number: str | None = None
    serial: str | None = None
    sku: str | None = None
    asset_tag: str | None = None
    firmware: str | None = None


class Size(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Outer size in millimetres, where told (Chassis HeightMm, WidthMm, DepthMm)."""

    height: float | None = None
    width: float | None = None
    depth: float | None = None


class Part(Struct, frozen=True, kw_only=True):
    """Any physical thing with a position, a host that a blade carries, or the controller itself."""

    id: str
    controller: str
    uri: str
    kind: Kind
    name: str
    parent: str | None = None
    """Id of the part that contains it; None for the outermost part that this controller tells of."""
    location: Location = Location()
    identity: Identity = Identity()
    size: Size = Size()
    hot_swap: bool | None = None


class Why(StrEnum):
    """Kinds of dependency between two parts."""

    POWERED_BY = "powered by"
    COOLED_BY = "cooled by"
    MANAGED_BY = "managed by"
    CONNECTED_THROUGH = "connected through"


class Link(Struct, frozen=True):
    """``part`` depends on ``on``; containment stands in :attr:`Part.parent` instead."""

    part: str
    on: str
    why: Why
    assumed: bool = False
    """Not told by the service: it follows from containment (what a sled holds runs on the sled's fans)."""


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
    """One line naming the resource and what to do next; "" when ok."""
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


class LampState(StrEnum):
    """OCP Panel Indicator Specification 1.0: blink is 500 ms on, 500 ms off."""

    OFF = "off"
    ON = "on"
    BLINK = "blink"
    UNKNOWN = "unknown"


class Lamps(Struct, frozen=True):
    """The two lamps of a front."""

    blue: LampState
    amber: LampState


class Subject(StrEnum):
    """What a condition is about."""

    THRESHOLD = "threshold"
    STATUS = "status"
    FAILURE_PREDICTED = "failure predicted"
    CONTROLLER = "controller"
    """Unreachable, login refused, untrusted…: the outcome stands in the evidence."""
    STALE = "stale"
    MISSING = "missing"


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

    @property
    def empty(self) -> bool:
        """Whether there is nothing in it to keep."""
        return not (
            self.opened or self.changed or self.closed or self.rolled or self.lamps or self.events or self.stays
        )


class Update(Struct, frozen=True, kw_only=True):
    """What the store keeps and the publishers follow: a walk or a round with its assessment, or events in between."""

    controller: str
    inventory: Inventory | None = None
    round: Round | None = None
    assessment: Assessment | None = None
    heard: bytes | None = None
    """How far the controller's own events have been read, to be given back after a restart; means something to
    ``poll`` only. Kept together with the events that the assessment carries, or neither is."""


class Reading(Struct, frozen=True, kw_only=True):
    """One sensor's newest value, for people and exports."""

    sensor: Sensor
    value: float | None
    health: Health
    time: Seconds


class ControllerState(Struct, frozen=True, kw_only=True):
    """What the store knows of one controller's telemetry."""

    controller: str
    url: str
    location: Location
    insecure: bool
    """Whether certificate checks are turned off for it, to be shown."""
    outcome: Outcome | None
    """Of the newest round or walk; None before the first."""
    error: str
    last_round: Seconds | None
    """End of the newest round, good or bad."""
    last_good: Seconds | None
    """End of the newest round that brought readings."""
    round_seconds: float | None
    rounds: int
    failed_rounds: int
    late_rounds: int
    requests: int
    """Of the newest round."""
    bytes_received: int
    """Of the newest round."""
    defects: int
    product: str | None = None
    redfish_version: str | None = None


class CollectorState(Struct, frozen=True, kw_only=True):
    """The collector's own mark in the store: how others tell whether it runs."""

    pid: int
    version: str
    started: Seconds
    heartbeat: Seconds
    """Written with every batch and at least every 5 s."""
    stopped: Seconds | None
    """Set on a clean stop."""
    poll_interval: float
    listen: str


class History(Struct, frozen=True, kw_only=True):
    """Samples of one sensor, oldest first: parallel columns."""

    times: array[float]
    values: array[float]
    """NaN where the controller told no value."""


def worst(healths: Sequence[Health]) -> Health:
    """The most urgent of some healths; UNKNOWN for none. OK outranks UNKNOWN: one known good part is known good."""
    return max(healths, default=Health.UNKNOWN)
