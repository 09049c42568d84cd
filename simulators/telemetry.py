"""What a sled's management controller would report at one moment: the hand-over from the physics to a service.

Everything here is seen through the hardware's eyes: a stuck sensor tells its old value, every value has the resolution
of its sensor, and what the controller cannot know is ``None``. Enumerated words are those of the Redfish schemas
(DMTF DSP8010): ``Sensor.ReadingType``, ``PhysicalContext``, ``Resource.Health``, ``State``, ``PowerState``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, NamedTuple, TypeAlias

from simulators.items import Item

Health: TypeAlias = Literal["OK", "Warning", "Critical"]
State: TypeAlias = Literal[
    "Enabled", "Disabled", "StandbyOffline", "Starting", "Absent", "UnavailableOffline", "Updating"
]
PowerState: TypeAlias = Literal["On", "Off", "PoweringOn", "PoweringOff"]

SEVERITY: dict[Health, int] = {"OK": 0, "Warning": 1, "Critical": 2}
"""Order of the health words, for rollups."""


class Quantity(StrEnum):
    """What a sensor measures, by the word of Redfish ``Sensor.ReadingType``."""

    TEMPERATURE = "Temperature"
    HUMIDITY = "Humidity"
    POWER = "Power"
    VOLTAGE = "Voltage"
    CURRENT = "Current"
    ROTATION = "Rotational"
    AIR_FLOW = "AirFlowCMM"
    LIQUID_FLOW = "LiquidFlowLPM"
    PRESSURE = "PressurekPa"
    HEAT = "Heat"
    FREQUENCY = "Frequency"


UNIT: dict[Quantity, str] = {
    Quantity.TEMPERATURE: "Cel",
    Quantity.HUMIDITY: "%",
    Quantity.POWER: "W",
    Quantity.VOLTAGE: "V",
    Quantity.CURRENT: "A",
    Quantity.ROTATION: "{rev}/min",
    Quantity.AIR_FLOW: "m3/min",
    Quantity.LIQUID_FLOW: "L/min",
    Quantity.PRESSURE: "kPa",
    Quantity.HEAT: "kW",
    Quantity.FREQUENCY: "Hz",
}
"""Redfish ``ReadingUnits`` (UCUM codes) of every quantity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """Limits of a sensor in its own unit; upper ones are crossed strictly above, lower ones strictly below."""

    upper_caution: float | None = None
    upper_critical: float | None = None
    upper_fatal: float | None = None
    lower_caution: float | None = None
    lower_critical: float | None = None
    lower_fatal: float | None = None

    def judge(self, value: float | None) -> Health:
        """The health word for a reading; a reading that is not there crosses nothing."""
        if value is None:
            return "OK"
        for limit in (self.upper_critical, self.upper_fatal):
            if limit is not None and value > limit:
                return "Critical"
        for limit in (self.lower_critical, self.lower_fatal):
            if limit is not None and value < limit:
                return "Critical"
        if self.upper_caution is not None and value > self.upper_caution:
            return "Warning"
        if self.lower_caution is not None and value < self.lower_caution:
            return "Warning"
        return "OK"


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """What never changes about one physical sensor."""

    id: str
    """Unique in its sled and safe in a URI, e.g. ``Blade2Cpu0``."""
    label: str
    """For people, e.g. ``Blade 2 CPU 0 temperature``."""
    part: str
    """Path of the part that is measured."""
    quantity: Quantity
    context: str
    """Redfish ``PhysicalContext``."""
    low: float
    """Least value that the sensor can tell, in :attr:`unit` (Redfish ReadingRangeMin)."""
    high: float
    """Greatest value that the sensor can tell (Redfish ReadingRangeMax)."""
    resolution: float
    """Step between neighbouring values, in :attr:`unit`."""
    noise: float = 0.0
    """Half the width of the sensor's own noise, in :attr:`unit`."""
    bias: float = 0.0
    """How far, at most, the sensor is off by a constant, in :attr:`unit`."""
    gain: float = 0.0
    """How far, at most, its scale is off, as a part of the value."""
    thresholds: Thresholds = Thresholds()
    rated: float | None = None
    """Tachometers only: the fan's rated speed in {rev}/min, so that percent = 100 * value / rated."""
    output: bool | None = None
    """Electrical sensors: True at an output, False at an input (Redfish PhysicalSubContext); None elsewhere."""

    @property
    def unit(self) -> str:
        """UCUM code, as Redfish ``ReadingUnits`` spells it."""
        return UNIT[self.quantity]


class SensorPoint(NamedTuple):
    """One sensor now."""

    spec: SensorSpec
    value: float | None
    """In :attr:`SensorSpec.unit`; None when the sensor tells nothing (its part has no power, it is broken)."""
    health: Health
    """By its thresholds; OK also while there is nothing to read: then :attr:`state` says so."""
    state: State
    """``Enabled``, or ``UnavailableOffline`` while there is nothing to read."""


class PartPoint(NamedTuple):
    """One part now, as its controller sees it."""

    path: str
    state: State
    health: Health
    """Its own trouble alone."""
    rollup: Health
    """Worst of its own trouble, its sensors' and that of everything it contains."""
    power_state: PowerState | None
    """None for kinds of parts that have no power state (fans, memory, drives…)."""
    locate: bool | None
    """Whether the locate lamp is asked for (Redfish LocationIndicatorActive); None where the part has no lamp."""
    failure_predicted: bool | None
    """Drives only."""
    firmware: str | None
    """Version now running; None for parts without any."""
    metrics: dict[str, float | None]
    """Further values of this kind of part, by name with the unit at its end; see :mod:`simulators.report`."""
    reasons: tuple[str, ...] = ()
    """What the controller would say is wrong, one sentence each, worst first."""
    replacement: str | None = None
    """Serial number of the part that took the place of the one delivered; None while that one is there."""
    board: Item | None = None
    """What stands there in place of what the design has; None while that is there."""


class Neighbour(NamedTuple):
    """What stands at the other end of a port's cable, in the words of LLDP (IEEE 802.1AB)."""

    chassis: str
    """Chassis ID: a MAC address."""
    port: str
    """Port ID, as text; bodies tell its octets."""
    system: str
    """System name."""


class PortPoint(NamedTuple):
    """A network port now."""

    up: bool
    """Whether it has link."""
    neighbour: Neighbour | None
    """Heard at the other end; None without link."""


class Mode(StrEnum):
    """How the management controller itself does."""

    SERVING = "serving"
    HUNG = "hung"
    """Accepts connections at best, answers nothing."""
    REBOOTING = "rebooting"
    """Down until :attr:`ControllerCondition.until`; nothing answers."""


@dataclass(frozen=True, slots=True)
class ControllerCondition:
    """The management controller now."""

    mode: Mode
    until: float | None = None
    """When a reboot will be over, epoch seconds of the simulated clock; None unless rebooting."""
    slow: float = 0.0
    """Seconds that each answer takes beyond the usual, one request after the other."""
    cut_off: bool = False
    """Whether no packet reaches it: whoever wants to connect hears nothing, as from a host that is not there."""
    clock: float = 0.0
    """Seconds that its clock is ahead of the true time."""
    restarted: float | None = None
    """When its last reboot since the start was over, epoch seconds of the simulated clock; None: there was none."""


@dataclass(frozen=True, slots=True, weakref_slot=True, kw_only=True)
class SledTelemetry:
    """All that a sled's controller would report at :attr:`time`, were it asked."""

    sled: str
    time: float
    """Epoch seconds of the simulated clock at which the values were acquired."""
    sensors: dict[str, SensorPoint] = field(default_factory=dict)
    """By sensor id, in a stable order."""
    parts: dict[str, PartPoint] = field(default_factory=dict)
    """By part path, containers before what they contain."""
    controller: ControllerCondition = ControllerCondition(Mode.SERVING)
    ports: dict[str, PortPoint] = field(default_factory=dict)
    """By path: ports of the shared adapter (``r01-e1-s1/adapter/port1``), and the controller's own, as its path."""
