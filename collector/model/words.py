"""The closed vocabularies: health, states, kinds of part, quantities and their canonical units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from enum import IntEnum, StrEnum

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
    PORT = "network port"
    CABLE = "cable"
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


def worst(healths: Sequence[Health]) -> Health:
    """The most urgent of some healths; UNKNOWN for none. OK outranks UNKNOWN: one known good part is known good."""
    return max(healths, default=Health.UNKNOWN)
