"""The metrics that /metrics offers, as a table: names, types, units, labels and what each means.

Names carry the prefix ``sledkeeper_`` and a base unit as suffix (OpenMetrics 1.0; Prometheus naming practice: ratios
from 0 to 1 instead of percent, celsius, counters that end in ``_total``). Three labels join everything: ``controller``,
``part`` (the part's id) and ``sensor``; where a part is stands on ``sledkeeper_part_info`` alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum

from msgspec import Struct

from collector.model import FigureKind, Kind, MarginKind, Quantity
from collector.publish import worked

PREFIX = "sledkeeper_"


class Type(StrEnum):
    """OpenMetrics types in use."""

    GAUGE = "gauge"
    COUNTER = "counter"
    INFO = "info"
    STATESET = "stateset"


_SUFFIX = {Type.GAUGE: "", Type.COUNTER: "_total", Type.INFO: "_info", Type.STATESET: ""}


class Family(Struct, frozen=True, kw_only=True):
    """One metric family."""

    name: str
    """Without the suffix of its type."""
    type: Type
    help: str
    labels: tuple[str, ...] = ()
    unit: str = ""

    @property
    def sample(self) -> str:
        """The name that its samples carry and that queries use."""
        return self.name + _SUFFIX[self.type]


class ReadingFamily(Struct, frozen=True):
    """Where a quantity's readings go; ``scale`` turns the canonical unit into the base unit."""

    family: Family
    scale: Callable[[float], float] | None = None


_SENSOR = ("controller", "part", "sensor")
_PART = ("controller", "part")
_PLACE = ("site", "row", "rack", "offset", "enclosure", "sled", "slot")


def _reading(name: str, unit: str, what: str, type_: Type = Type.GAUGE) -> Family:
    base = f"{PREFIX}{name}_{unit}" if unit else f"{PREFIX}{name}"
    return Family(name=base, type=type_, unit=unit, labels=_SENSOR, help=what)


def _percent(value: float) -> float:
    return value / 100.0


def _per_minute(value: float) -> float:
    return value / 60.0


def _litres_per_minute(value: float) -> float:
    return value / 60_000.0


READINGS: Mapping[Quantity, ReadingFamily] = {
    Quantity.TEMPERATURE: ReadingFamily(_reading("temperature", "celsius", "Temperature reading.")),
    Quantity.HUMIDITY: ReadingFamily(_reading("humidity", "ratio", "Relative humidity, 0 to 1."), _percent),
    Quantity.ABSOLUTE_HUMIDITY: ReadingFamily(
        _reading("absolute_humidity", "grams_per_cubic_meter", "Absolute humidity.")
    ),
    Quantity.POWER: ReadingFamily(_reading("power", "watts", "Real power.")),
    Quantity.APPARENT_POWER: ReadingFamily(_reading("apparent_power", "voltamperes", "Apparent power.")),
    Quantity.REACTIVE_POWER: ReadingFamily(_reading("reactive_power", "voltamperes", "Reactive power.")),
    Quantity.POWER_FACTOR: ReadingFamily(_reading("power_factor", "ratio", "Power factor.")),
    Quantity.ENERGY: ReadingFamily(
        _reading("energy", "joules", "Energy counted since the service's own reset.", Type.COUNTER)
    ),
    Quantity.CHARGE: ReadingFamily(_reading("charge", "coulombs", "Electric charge held.")),
    Quantity.VOLTAGE: ReadingFamily(_reading("voltage", "volts", "Voltage.")),
    Quantity.CURRENT: ReadingFamily(_reading("current", "amperes", "Current.")),
    Quantity.FREQUENCY: ReadingFamily(_reading("frequency", "hertz", "Frequency.")),
    Quantity.ROTATION: ReadingFamily(
        _reading("rotation", "hertz", "Rotational speed, in revolutions a second."), _per_minute
    ),
    Quantity.SPEED_RATIO: ReadingFamily(_reading("speed", "ratio", "Speed as a share of the rated speed."), _percent),
    Quantity.LOAD_RATIO: ReadingFamily(_reading("load", "ratio", "Load as a share of the rating."), _percent),
    Quantity.PERCENT: ReadingFamily(_reading("share", "ratio", "Any other share of a whole."), _percent),
    Quantity.PRESSURE: ReadingFamily(_reading("pressure", "pascals", "Pressure.")),
    Quantity.AIR_FLOW: ReadingFamily(_reading("air_flow", "cubic_meters_per_second", "Air flow.")),
    Quantity.LIQUID_FLOW: ReadingFamily(
        _reading("liquid_flow", "cubic_meters_per_second", "Liquid flow."), _litres_per_minute
    ),
    Quantity.LEVEL: ReadingFamily(_reading("level", "meters", "Level of a liquid.")),
    Quantity.ALTITUDE: ReadingFamily(_reading("altitude", "meters", "Altitude.")),
    Quantity.HEAT: ReadingFamily(_reading("heat", "watts", "Heat carried away.")),
    Quantity.TIME: ReadingFamily(_reading("time", "seconds", "A span of time that a sensor tells.")),
    Quantity.COUNT: ReadingFamily(_reading("number", "", "A number of things that a sensor tells.")),
    Quantity.DATA: ReadingFamily(_reading("data", "bytes", "An amount of data that a sensor tells.")),
    Quantity.OTHER: ReadingFamily(
        Family(
            name=f"{PREFIX}reading",
            type=Type.GAUGE,
            labels=(*_SENSOR, "quantity_unit"),
            help="A reading of no known quantity, in the unit that the service tells.",
        )
    ),
}
"""By quantity. A sensor without a value now has no sample; nor has any while its controller can't be read."""

STORED_ENERGY = ReadingFamily(_reading("stored_energy", "joules", "Energy that a battery holds."))


def reading_family(quantity: Quantity, kind: Kind) -> ReadingFamily:
    """Where the readings of a sensor go: a battery's energy is a level, everything else's a count that only grows."""
    return STORED_ENERGY if quantity is Quantity.ENERGY and kind is Kind.BATTERY else READINGS[quantity]


def _family(name: str, type_: Type, labels: tuple[str, ...], what: str, unit: str = "") -> Family:
    return Family(name=PREFIX + name, type=type_, labels=labels, help=what, unit=unit)


PART = _family(
    "part",
    Type.INFO,
    (*_PART, "kind", "name", *_PLACE, "manufacturer", "model", "part_number", "serial", "firmware"),
    "What a part is and where; join it on controller and part.",
)
HEALTH = _family("part_health", Type.STATESET, _PART, "Health of the part itself: reported, or of open conditions.")
WORST = _family(
    "part_worst_health", Type.STATESET, _PART, "Worst health of the part and all it contains; containing parts only."
)
AT_RISK = _family("part_at_risk_causes", Type.GAUGE, _PART, "Parts in trouble outside a blade on which it depends.")
POWER_STATE = _family("part_power_state", Type.STATESET, _PART, "Power state as told.")
LOCATING = _family("part_locating", Type.GAUGE, _PART, "Whether the controller says that the locate lamp is asked for.")
PREDICTED = _family("part_failure_predicted", Type.GAUGE, _PART, "Whether the part predicts its own failure.")
LAMP = _family(
    "lamp",
    Type.STATESET,
    (*_PART, "color"),
    "Lamp that a system's front should show, after the OCP Panel Indicator Specification 1.0; blades, mostly.",
)
CONDITIONS = _family("conditions", Type.GAUGE, ("controller", "severity"), "Open conditions.")
MARKED = _family(
    "conditions_marked",
    Type.GAUGE,
    ("controller", "mark"),
    "Open conditions that are acknowledged, shelved, in maintenance, or a consequence of another; one may be several.",
)
TROUBLES = _family(
    "troubles",
    Type.GAUGE,
    ("controller", "severity"),
    "Open troubles, each under the controller whose part showed it first.",
)
ORDERS = _family("orders", Type.GAUGE, ("controller", "urgency"), "Open work orders, each where its trouble is.")
ORDER_STATES = _family(
    "orders_by_state", Type.GAUGE, ("controller", "state"), "Open work orders by how far people are with them."
)
SUSPECT = _family(
    "suspect_probability_ratio",
    Type.GAUGE,
    (*_PART, "fault"),
    "Probability that the first suspect of an open trouble has failed so, 0 to 1.",
    "ratio",
)
MARGINS: Mapping[MarginKind, Family] = {
    MarginKind.HEAT: _family(
        "margin_heat_celsius", Type.GAUGE, _PART, "Degrees left up to the limit of the part's hottest.", "celsius"
    ),
    MarginKind.AIR: _family(
        "margin_air_celsius", Type.GAUGE, _PART, "Degrees left up to the limit of the inlet air.", "celsius"
    ),
    MarginKind.SWING: _family(
        "margin_swing_celsius", Type.GAUGE, _PART, "Degrees by which the inlet air may still change.", "celsius"
    ),
    MarginKind.POWER: _family("margin_power_watts", Type.GAUGE, _PART, "Power left up to the limit.", "watts"),
    MarginKind.REDUNDANCY: _family(
        "margin_redundancy_watts", Type.GAUGE, _PART, "Power left up to what remains after the loss of one.", "watts"
    ),
}
"""By what there is left of; negative beyond the limit."""
FIGURES: Mapping[FigureKind, ReadingFamily] = {
    kind: ReadingFamily(
        _family(told.name, Type.GAUGE, (*_PART, "of") if told.several else _PART, told.help, told.unit), told.scale
    )
    for kind, told in worked.METRICS.items()
}
"""What follows from readings."""
CONTROLLER = _family(
    "controller", Type.INFO, ("controller", "url", "product", "redfish_version", *_PLACE), "What a controller is."
)
UP = _family("controller_up", Type.GAUGE, ("controller",), "Whether the newest round or walk could be read.")
UNVERIFIED = _family(
    "controller_certificate_unverified",
    Type.GAUGE,
    ("controller",),
    "Whether certificate checks are turned off for it.",
)
LAST_ROUND = _family(
    "controller_last_round_timestamp_seconds", Type.GAUGE, ("controller",), "End of the newest round.", "seconds"
)
LAST_GOOD = _family(
    "controller_last_readings_timestamp_seconds", Type.GAUGE, ("controller",), "When readings last came.", "seconds"
)
ROUND_SECONDS = _family(
    "controller_round_seconds", Type.GAUGE, ("controller",), "How long the newest round took.", "seconds"
)
ROUNDS = _family("controller_rounds", Type.COUNTER, ("controller", "outcome"), "Rounds by how they ended.")
LATE_ROUNDS = _family("controller_late_rounds", Type.COUNTER, ("controller",), "Rounds that started late.")
WALKS = _family("controller_walks", Type.COUNTER, ("controller",), "Walks finished.")
REQUESTS = _family("controller_requests", Type.COUNTER, ("controller",), "Requests of all rounds.")
BYTES = _family("controller_received_bytes", Type.COUNTER, ("controller",), "Bytes that the rounds received.", "bytes")
CERTIFICATE = _family(
    "controller_certificate",
    Type.INFO,
    ("controller", "fingerprint"),
    "The certificate that the controller presented last.",
)
EXPIRES = _family(
    "controller_certificate_expiry_timestamp_seconds",
    Type.GAUGE,
    ("controller",),
    "When the certificate that it presented last expires.",
    "seconds",
)
CLOCK_OFFSET = _family(
    "controller_clock_offset_seconds", Type.GAUGE, ("controller",), "The controller's clock less ours.", "seconds"
)
LOGIN = _family("controller_login", Type.STATESET, ("controller",), "How requests are authenticated right now.")
SESSION_SINCE = _family(
    "controller_session_start_timestamp_seconds",
    Type.GAUGE,
    ("controller",),
    "When our open session was made; without one no sample.",
    "seconds",
)
TABLE_FULL = _family(
    "controller_session_table_full", Type.GAUGE, ("controller",), "Whether it had no room for a session of ours."
)
REFUSALS = _family("controller_login_refusals", Type.GAUGE, ("controller",), "Refused logins in a row.")
EVENTS_BY = _family("controller_events", Type.STATESET, ("controller",), "The way by which its own events come.")
EVENTS_SINCE = _family(
    "controller_events_start_timestamp_seconds",
    Type.GAUGE,
    ("controller",),
    "When its event stream was opened or its subscription made; without either no sample.",
    "seconds",
)
DEFECTS = _family("controller_defects", Type.GAUGE, ("controller",), "What the controller offers and can't be read.")
DEFECTS_OF_KIND = _family(
    "controller_defects_of_kind", Type.GAUGE, ("controller", "kind"), "Those of one kind, such as an unknown unit."
)

COLLECTOR = _family("collector", Type.INFO, ("version",), "The collector itself.")
STARTED = _family("collector_start_timestamp_seconds", Type.GAUGE, (), "When the collector started.", "seconds")
WRITER_QUEUED = _family("writer_queued_updates", Type.GAUGE, (), "Updates that wait to be stored.")
WRITER_WAITING = _family("writer_waiting_calls", Type.GAUGE, (), "Calls that wait for room in the queue.")
WRITER_KEPT = _family("writer_stored_updates", Type.COUNTER, (), "Updates stored.")
WRITER_REFUSED = _family("writer_refused_updates", Type.COUNTER, (), "Updates that could not be stored and are lost.")
WRITER_RETRIES = _family("writer_failed_attempts", Type.COUNTER, (), "Attempts to store that failed.")
WRITER_WAITS = _family("writer_waits", Type.COUNTER, (), "Times that polling had to wait for the store.")
WRITER_BATCH = _family("writer_batch_seconds", Type.GAUGE, (), "How long the newest batch took.", "seconds")
WRITER_FAILING = _family("writer_failing", Type.GAUGE, (), "Whether the newest attempt to store or seal failed.")
WRITER_SEALED = _family("writer_sealed_samples", Type.COUNTER, (), "Samples sealed into files.")
FOLLOWER_QUEUED = _family("follower_queued_updates", Type.GAUGE, ("follower",), "Updates that wait for a publisher.")
FOLLOWER_DELIVERED = _family("follower_delivered_updates", Type.COUNTER, ("follower",), "Updates it took.")
FOLLOWER_MERGED = _family(
    "follower_merged_updates", Type.COUNTER, ("follower",), "Updates it got only as part of a later one."
)
MQTT_CONNECTED = _family("mqtt_connected", Type.GAUGE, (), "Whether the broker is connected.")
MQTT_ATTEMPTS = _family("mqtt_connection_attempts", Type.COUNTER, (), "Attempts to connect to the broker.")
MQTT_FAILURES = _family("mqtt_failures", Type.COUNTER, (), "Attempts and connections that ended in an error.")
MQTT_MESSAGES = _family("mqtt_published_messages", Type.COUNTER, (), "Messages that the broker was handed.")
MQTT_RETAINED = _family("mqtt_retained_topics", Type.GAUGE, (), "Topics that hold retained state of ours.")
SCRAPES = _family("exposition_scrapes", Type.COUNTER, (), "Times that /metrics was rendered before.")
SCRAPE_SECONDS = _family(
    "exposition_render_seconds", Type.GAUGE, (), "How long the last rendering took, waits included.", "seconds"
)

FAMILIES: Mapping[str, Family] = {
    family.name: family
    for family in (
        *(reading.family for reading in READINGS.values()),
        STORED_ENERGY.family,
        PART,
        HEALTH,
        WORST,
        AT_RISK,
        POWER_STATE,
        LOCATING,
        PREDICTED,
        LAMP,
        CONDITIONS,
        MARKED,
        TROUBLES,
        ORDERS,
        ORDER_STATES,
        SUSPECT,
        *MARGINS.values(),
        *(each.family for each in FIGURES.values()),
        CONTROLLER,
        UP,
        UNVERIFIED,
        LAST_ROUND,
        LAST_GOOD,
        ROUND_SECONDS,
        ROUNDS,
        LATE_ROUNDS,
        WALKS,
        REQUESTS,
        BYTES,
        CERTIFICATE,
        EXPIRES,
        CLOCK_OFFSET,
        LOGIN,
        SESSION_SINCE,
        TABLE_FULL,
        REFUSALS,
        EVENTS_BY,
        EVENTS_SINCE,
        DEFECTS,
        DEFECTS_OF_KIND,
        COLLECTOR,
        STARTED,
        WRITER_QUEUED,
        WRITER_WAITING,
        WRITER_KEPT,
        WRITER_REFUSED,
        WRITER_RETRIES,
        WRITER_WAITS,
        WRITER_BATCH,
        WRITER_FAILING,
        WRITER_SEALED,
        FOLLOWER_QUEUED,
        FOLLOWER_DELIVERED,
        FOLLOWER_MERGED,
        MQTT_CONNECTED,
        MQTT_ATTEMPTS,
        MQTT_FAILURES,
        MQTT_MESSAGES,
        MQTT_RETAINED,
        SCRAPES,
        SCRAPE_SECONDS,
    )
}
"""Every metric, in the order in which it is told: the README's table is checked against this."""


def documentation() -> str:
    """The table of all metrics as Markdown, for the README."""
    rows = ["| metric | type | labels | meaning |", "| --- | --- | --- | --- |"]
    for family in FAMILIES.values():
        labels = ", ".join(f"`{label}`" for label in family.labels) or "–"
        rows.append(f"| `{family.sample}` | {family.type.value} | {labels} | {family.help} |")
    return "\n".join(rows) + "\n"
