"""What a number measures and in which unit: Redfish ReadingType and UCUM codes -> quantity and canonical unit.

Sources: DSP8010 2025.4 ``Sensor_v1.xml`` (enumeration ReadingType and the units its descriptions demand);
UCUM (ucum.org) for codes and factors.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Mapping

from msgspec import Struct

from collector.model import CANONICAL_UNIT, DefectKind, Quantity
from collector.normalise.findings import shown

READING_TYPES: Mapping[str, tuple[Quantity, str]] = {
    "Temperature": (Quantity.TEMPERATURE, "Cel"),
    "Humidity": (Quantity.HUMIDITY, "%"),
    "Power": (Quantity.POWER, "W"),
    "EnergykWh": (Quantity.ENERGY, "kW.h"),
    "EnergyJoules": (Quantity.ENERGY, "J"),
    "EnergyWh": (Quantity.ENERGY, "W.h"),
    "ChargeAh": (Quantity.CHARGE, "A.h"),
    "Voltage": (Quantity.VOLTAGE, "V"),
    "Current": (Quantity.CURRENT, "A"),
    "Frequency": (Quantity.FREQUENCY, "Hz"),
    "Pressure": (Quantity.PRESSURE, "Pa"),
    "PressurekPa": (Quantity.PRESSURE, "kPa"),
    "PressurePa": (Quantity.PRESSURE, "Pa"),
    "LiquidLevel": (Quantity.LEVEL, "cm"),
    "Rotational": (Quantity.ROTATION, "{rev}/min"),
    "AirFlow": (Quantity.AIR_FLOW, "[ft_i]3/min"),
    "AirFlowCMM": (Quantity.AIR_FLOW, "m3/min"),
    "LiquidFlow": (Quantity.LIQUID_FLOW, "L/s"),
    "LiquidFlowLPM": (Quantity.LIQUID_FLOW, "L/min"),
    "Barometric": (Quantity.PRESSURE, "mm[Hg]"),
    "Altitude": (Quantity.ALTITUDE, "m"),
    "Percent": (Quantity.PERCENT, "%"),
    "AbsoluteHumidity": (Quantity.ABSOLUTE_HUMIDITY, "g/m3"),
    "Heat": (Quantity.HEAT, "kW"),
    "LinearPosition": (Quantity.OTHER, "m"),
    "LinearVelocity": (Quantity.OTHER, "m/s"),
    "LinearAcceleration": (Quantity.OTHER, "m/s2"),
    "RotationalPosition": (Quantity.OTHER, "rad"),
    "RotationalVelocity": (Quantity.OTHER, "rad/s"),
    "RotationalAcceleration": (Quantity.OTHER, "rad/s2"),
    "Valve": (Quantity.PERCENT, "%"),
}
"""ReadingType -> quantity and the UCUM code that the standard demands beside it."""

ALSO_ALLOWED: Mapping[str, str] = {"RPM": "{rev}/min"}
"""ReadingUnits that the standard deprecates but still allows."""

FARTHEST = sys.float_info.max
"""Bound of sensors that tell none: what becomes infinite in the canonical unit is no reading."""


class _Code(Struct, frozen=True):
    """A unit: what kind it is of, its factor to the base of that kind, what it alone says of the quantity."""

    dimension: str
    factor: float
    quantity: Quantity = Quantity.OTHER
    zero: float = 0.0
    """Where the unit's zero stands on the base unit's scale."""


_FOOT = 0.3048
_CODES: Mapping[str, _Code] = {
    "Cel": _Code("temperature", 1.0, Quantity.TEMPERATURE),
    "K": _Code("temperature", 1.0, Quantity.TEMPERATURE, -273.15),
    "[degF]": _Code("temperature", 5 / 9, Quantity.TEMPERATURE, -160 / 9),
    "%": _Code("ratio", 0.01, Quantity.PERCENT),
    "1": _Code("ratio", 1.0),
    "W": _Code("power", 1.0, Quantity.POWER),
    "mW": _Code("power", 1e-3, Quantity.POWER),
    "kW": _Code("power", 1e3, Quantity.POWER),
    "V.A": _Code("apparent power", 1.0, Quantity.APPARENT_POWER),
    "kV.A": _Code("apparent power", 1e3, Quantity.APPARENT_POWER),
    "V.A{reactive}": _Code("reactive power", 1.0, Quantity.REACTIVE_POWER),
    "kV.A{reactive}": _Code("reactive power", 1e3, Quantity.REACTIVE_POWER),
    "J": _Code("energy", 1.0, Quantity.ENERGY),
    "kJ": _Code("energy", 1e3, Quantity.ENERGY),
    "W.h": _Code("energy", 3.6e3, Quantity.ENERGY),
    "kW.h": _Code("energy", 3.6e6, Quantity.ENERGY),
    "C": _Code("charge", 1.0, Quantity.CHARGE),
    "A.h": _Code("charge", 3.6e3, Quantity.CHARGE),
    "V": _Code("voltage", 1.0, Quantity.VOLTAGE),
    "mV": _Code("voltage", 1e-3, Quantity.VOLTAGE),
    "kV": _Code("voltage", 1e3, Quantity.VOLTAGE),
    "A": _Code("current", 1.0, Quantity.CURRENT),
    "mA": _Code("current", 1e-3, Quantity.CURRENT),
    "Hz": _Code("frequency", 1.0, Quantity.FREQUENCY),
    "kHz": _Code("frequency", 1e3, Quantity.FREQUENCY),
    "MHz": _Code("frequency", 1e6, Quantity.FREQUENCY),
    "GHz": _Code("frequency", 1e9, Quantity.FREQUENCY),
    "{rev}/min": _Code("rotation", 1.0, Quantity.ROTATION),
    "Pa": _Code("pressure", 1.0, Quantity.PRESSURE),
    "hPa": _Code("pressure", 1e2, Quantity.PRESSURE),
    "kPa": _Code("pressure", 1e3, Quantity.PRESSURE),
    "bar": _Code("pressure", 1e5, Quantity.PRESSURE),
    "mbar": _Code("pressure", 1e2, Quantity.PRESSURE),
    "[psi]": _Code("pressure", 4.4482216152605 / 0.0254**2, Quantity.PRESSURE),
    "mm[Hg]": _Code("pressure", 133.322, Quantity.PRESSURE),
    "m3/s": _Code("flow", 1.0, Quantity.AIR_FLOW),
    "m3/min": _Code("flow", 1 / 60, Quantity.AIR_FLOW),
    "m3/h": _Code("flow", 1 / 3600, Quantity.AIR_FLOW),
    "[ft_i]3/min": _Code("flow", _FOOT**3 / 60, Quantity.AIR_FLOW),
    "L/min": _Code("flow", 1e-3 / 60, Quantity.LIQUID_FLOW),
    "L/s": _Code("flow", 1e-3, Quantity.LIQUID_FLOW),
    "g/m3": _Code("density", 1.0, Quantity.ABSOLUTE_HUMIDITY),
    "s": _Code("time", 1.0, Quantity.TIME),
    "ms": _Code("time", 1e-3, Quantity.TIME),
    "min": _Code("time", 60.0, Quantity.TIME),
    "h": _Code("time", 3600.0, Quantity.TIME),
    "By": _Code("data", 1.0, Quantity.DATA),
    "kBy": _Code("data", 1e3, Quantity.DATA),
    "MBy": _Code("data", 1e6, Quantity.DATA),
    "GBy": _Code("data", 1e9, Quantity.DATA),
    "KiBy": _Code("data", 1024.0, Quantity.DATA),
    "MiBy": _Code("data", 1024.0**2, Quantity.DATA),
    "GiBy": _Code("data", 1024.0**3, Quantity.DATA),
    "kV.A.h": _Code("apparent energy", 1.0),
    "kV.A{reactive}.h": _Code("reactive energy", 1.0),
    # A length may be a level, an altitude or a position; the unit alone does not say which.
    "m": _Code("length", 1.0),
    "cm": _Code("length", 0.01),
    "mm": _Code("length", 1e-3),
    "m/s": _Code("speed", 1.0),
    "m/s2": _Code("acceleration", 1.0),
    "rad": _Code("angle", 1.0),
    "deg": _Code("angle", math.pi / 180),
    "rad/s": _Code("angular speed", 1.0),
    "rad/s2": _Code("angular acceleration", 1.0),
}


class Measure(Struct, frozen=True):
    """What numbers told somewhere mean: ``value * scale + offset`` is in ``unit``, the quantity's canonical one."""

    quantity: Quantity
    unit: str
    scale: float = 1.0
    offset: float = 0.0

    def canonical(self, told: float) -> float:
        """A told number in the canonical unit."""
        return told * self.scale + self.offset

    def limit(self, told: float) -> float | None:
        """The same, of a number that is compared with readings; None where it would become infinite."""
        number = self.canonical(told)
        return number if math.isfinite(number) else None

    def distance(self, told: float) -> float:
        """A told difference of two numbers in the canonical unit."""
        return told * self.scale


class Trouble(Struct, frozen=True):
    """What is wrong with how a unit is told."""

    property: str
    kind: DefectKind
    detail: str


def known_codes() -> Iterator[str]:
    """The UCUM codes that we convert."""
    return iter(_CODES)


def quantity_of(code: object) -> Quantity | None:
    """What a UCUM code alone says of the quantity: OTHER for a known unit of several; None for an unknown one."""
    return _CODES[code].quantity if isinstance(code, str) and code in _CODES else None


def commensurable(one: str, other: str) -> bool:
    """Whether two UCUM codes measure the same kind of thing."""
    return one in _CODES and other in _CODES and _CODES[one].dimension == _CODES[other].dimension


def of_code(quantity: Quantity, code: str) -> Measure:
    """The measure of numbers in a UCUM code; where it does not fit the quantity they stay as told."""
    canonical = CANONICAL_UNIT.get(quantity, code)
    if canonical == code or not commensurable(canonical, code):
        return Measure(quantity, canonical if canonical == code else code)
    there, here = _CODES[canonical], _CODES[code]
    return Measure(quantity, canonical, here.factor / there.factor, (here.zero - there.zero) / there.factor)


def refined(measure: Measure, quantity: Quantity) -> Measure:
    """A bare percentage turned into the percentage of something that another place names; all else stays."""
    if measure.quantity is not Quantity.PERCENT or CANONICAL_UNIT.get(quantity) != "%":
        return measure
    return Measure(quantity, measure.unit, measure.scale, measure.offset)


def measure_of(
    reading_type: object, reading_units: object, hint: tuple[Quantity, str] | None = None, *, delta: bool = False
) -> tuple[Measure, tuple[Trouble, ...]]:
    """What a Sensor measures, and what is wrong with how it says so.

    ReadingType comes first. ReadingUnits then only says which unit of that quantity; one that does not fit the type
    is flagged and the type's own unit taken. Without a usable type the UCUM code decides; without either, ``hint``:
    quantity and code that the property's name implies where the sensor is also listed. A unit nobody knows is kept
    as told under :attr:`~collector.model.Quantity.OTHER`. ``delta``: a difference (ReadingBasis), whose zero is zero.
    """
    measure, troubles = _measure(reading_type, reading_units, hint)
    return (Measure(measure.quantity, measure.unit, measure.scale) if delta else measure), troubles


def _measure(
    reading_type: object, reading_units: object, hint: tuple[Quantity, str] | None
) -> tuple[Measure, tuple[Trouble, ...]]:
    troubles: list[Trouble] = []
    code = _code(reading_units, troubles)
    told = READING_TYPES.get(reading_type) if isinstance(reading_type, str) else None
    if told is None and reading_type is not None:
        detail = f"ReadingType {shown(reading_type)} is not in the standard"
        troubles.append(Trouble("/ReadingType", DefectKind.UNKNOWN_WORD, detail))
    if told is not None or (hint is not None and code not in _CODES):
        quantity, demanded = told or hint or (Quantity.OTHER, "")
        if code and code != demanded:
            fits = commensurable(code, demanded)
            taken = code if fits else demanded
            source = f"ReadingType {reading_type}" if told else "the property that lists it"
            detail = f"ReadingUnits {shown(reading_units)} where {source} means {demanded}; read as {taken}"
            troubles.append(Trouble("/ReadingUnits", DefectKind.WRONG_UNIT, detail))
            return of_code(quantity, taken), tuple(troubles)
        return of_code(quantity, demanded), tuple(troubles)
    if code in _CODES:
        quantity = _CODES[code].quantity
        hinted = hint[0] if hint is not None and commensurable(code, hint[1]) else quantity
        return of_code(hinted, code), tuple(troubles)
    if code:
        detail = f"unit {shown(reading_units)} is unknown; values are kept as told"
        troubles.append(Trouble("/ReadingUnits", DefectKind.UNKNOWN_UNIT, detail))
    return Measure(Quantity.OTHER, code), tuple(troubles)


def _code(reading_units: object, troubles: list[Trouble]) -> str:
    if isinstance(reading_units, str):
        trimmed = reading_units.strip()[:40]
        return ALSO_ALLOWED.get(trimmed, trimmed)
    if reading_units is not None:
        detail = f"ReadingUnits is {type(reading_units).__name__}, not text"
        troubles.append(Trouble("/ReadingUnits", DefectKind.WRONG_TYPE, detail))
    return ""
