"""The properties in which resources repeat a sensor's reading: ``{"Reading": 44, "DataSourceUri": "/redfish/v1/…"}``.

Source: DSP8010 2025.4, every property with the annotation ``Redfish.ExcerptCopy`` of type ``Sensor.Sensor``; the unit
is part of the property's name. ``tests/standards/test_words.py`` compares the table with the schemas.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from collector.model import Quantity

_CELSIUS = (Quantity.TEMPERATURE, "Cel")
_VOLT = (Quantity.VOLTAGE, "V")
_AMPERE = (Quantity.CURRENT, "A")
_WATT = (Quantity.POWER, "W")
_KILOWATT_HOUR = (Quantity.ENERGY, "kW.h")
_KILOPASCAL = (Quantity.PRESSURE, "kPa")
_PERCENT = (Quantity.PERCENT, "%")
_SPEED = (Quantity.SPEED_RATIO, "%")
_LOAD = (Quantity.LOAD_RATIO, "%")

EXCERPTS: Mapping[str, tuple[Quantity, str]] = {
    "AbsoluteHumidity": (Quantity.ABSOLUTE_HUMIDITY, "g/m3"),
    "AirFlowCubicMetersPerMinute": (Quantity.AIR_FLOW, "m3/min"),
    "AmbientTemperatureCelsius": _CELSIUS,
    "CellVoltages": _VOLT,
    "ChargePercent": _PERCENT,
    "CoolantLevelPercent": _PERCENT,
    "CoreVoltage": _VOLT,
    "CurrentAmps": _AMPERE,
    "DeltaLiquidPressurekPa": _KILOPASCAL,
    "DeltaPressurekPa": _KILOPASCAL,
    "DeltaTemperatureCelsius": _CELSIUS,
    "DewPointCelsius": _CELSIUS,
    "EnergyJoules": (Quantity.ENERGY, "J"),
    "EnergykWh": _KILOWATT_HOUR,
    "FanSpeedPercent": _SPEED,
    "FanSpeedsPercent": _SPEED,
    "FlowLitersPerMinute": (Quantity.LIQUID_FLOW, "L/min"),
    "FluidLevelPercent": _PERCENT,
    "FrequencyHz": (Quantity.FREQUENCY, "Hz"),
    "HeatRemovedkW": (Quantity.HEAT, "kW"),
    "HumidityPercent": (Quantity.HUMIDITY, "%"),
    "InletPressurekPa": _KILOPASCAL,
    "InputCurrentAmps": _AMPERE,
    "InputPowerWatts": _WATT,
    "InputVoltage": _VOLT,
    "InternalPressurekPa": _KILOPASCAL,
    "OutputCurrentAmps": _AMPERE,
    "OutputPowerWatts": _WATT,
    "OutputVoltages": _VOLT,
    "PowerLoadPercent": _LOAD,
    "PowerWatts": _WATT,
    "PumpSpeedPercent": _SPEED,
    "RailCurrentAmps": _AMPERE,
    "RailPowerWatts": _WATT,
    "RailVoltage": _VOLT,
    "ReturnPressurekPa": _KILOPASCAL,
    "ReturnTemperatureCelsius": _CELSIUS,
    "SecondarySpeedPercent": _SPEED,
    "SpeedPercent": _SPEED,
    "StateOfHealthPercent": _PERCENT,
    "StoredChargeAmpHours": (Quantity.CHARGE, "A.h"),
    "StoredEnergyWattHours": (Quantity.ENERGY, "W.h"),
    "SupplyPressurekPa": _KILOPASCAL,
    "SupplyTemperatureCelsius": _CELSIUS,
    "TemperatureCelsius": _CELSIUS,
    "TemperatureReadingsCelsius": _CELSIUS,
    "UnbalancedCurrentPercent": _PERCENT,
    "UnbalancedVoltagePercent": _PERCENT,
    "ValvePositionPercent": _PERCENT,
    "Voltage": _VOLT,
}
"""Property -> quantity and UCUM code."""

GROUPS: Mapping[str, tuple[Quantity, str]] = {
    "PolyPhaseCurrentAmps": _AMPERE,
    "PolyPhaseEnergykWh": _KILOWATT_HOUR,
    "PolyPhasePowerWatts": _WATT,
    "PolyPhaseVoltage": _VOLT,
    "TemperatureSummaryCelsius": _CELSIUS,
}
"""The same for objects whose members are excerpts named by place or phase (``Intake``, ``Line1ToLine2``)."""

GROUPED = frozenset(
    {"Ambient", "Exhaust", "Intake", "Internal", "Line1", "Line2", "Line3", "Neutral"}
    | {"Line1ToLine2", "Line1ToNeutral", "Line2ToLine3", "Line2ToNeutral", "Line3ToLine1", "Line3ToNeutral"}
)
"""Those members."""

UNNAMED = frozenset({"Sensor"})
"""Properties whose name says nothing of the unit (Control.Sensor): the sensor behind DataSourceUri says it."""

_UNIT_WORDS = re.compile(
    r"(?:s)?(?:Celsius|Percent|Percentage|CubicMetersPerMinute|LitersPerMinute|AmpHours|WattHours|kWh|kW|kPa|MilliWatts|"
    r"Watts?|MilliAmps|Amps|Joules|MHz|Hz|KiBytes)$"
)
_TIME_WORDS = re.compile(r"(?:Time|Duration)?(?:Hours|Minutes|Milliseconds|Seconds)$|Duration$")
_SPELT = {
    "NVMeSMART": "SMART",
    "PCIeErrors": "PCIe",
    "PCIeMetrics": "PCIe",
    "LifeTime": "lifetime",
    "HealthData": "",
    "CacheMetricsTotal": "cache",
    "CoreMetrics": "cores",
    "InternalMemoryMetrics": "internal memory",
    "L0ToRecoveryCount": "L0 to recovery count",
    "InvalidCRCs": "invalid CRCs",
    "RXFCSErrors": "RX FCS errors",
    "PercentageUsed": "life used",
}
_WORDS = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|\d+")


def readable(property_name: str, group: str | None = None) -> str:
    """A property's name in words, without its unit: ``InputPowerWatts`` -> ``input power``."""
    if property_name in _SPELT:
        return _SPELT[property_name]
    bare = _TIME_WORDS.sub("Time", _UNIT_WORDS.sub("", property_name))
    words = " ".join(word if len(word) > 1 and word.isupper() else word.lower() for word in _WORDS.findall(bare))
    if group is None:
        return words or property_name
    base = readable(group).removeprefix("poly phase ").removesuffix(" summary")
    return f"{words} {base}"


def singular(words: str) -> str:
    """``cell voltages`` -> ``cell voltage``, for one row of many."""
    return words[:-1] if words.endswith("s") and not words.endswith("ss") else words
