"""The air itself: pressure by altitude, density, heat capacity, moisture. Scalars or arrays.

Sources: ISO 2533 (standard atmosphere) for pressure; the ideal gas law for moist air; Magnus' form with the
coefficients of Sonntag (1990) for the saturation pressure over water. tests/simulators compare with CoolProp.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from simulators.chance import Floats

Number = TypeVar("Number", float, Floats)

KELVIN = 273.15
GAS_DRY = 287.055
"""Specific gas constant of dry air, J/(kg K)."""
CP_DRY = 1006.0
"""Specific heat of dry air at constant pressure about 25 Cel, J/(kg K)."""
CP_VAPOUR = 1860.0
"""Specific heat of water vapour at constant pressure, J/(kg K)."""
REFERENCE_DENSITY = 1.2
"""kg/m3; fan curves and fan powers are stated for it."""


def pressure(altitude: float) -> float:
    """Pressure at an altitude in the troposphere (m), Pa."""
    return float(101_325.0 * (1.0 - 2.255_77e-5 * altitude) ** 5.255_88)


def saturation_pressure(temperature: Number) -> Number:
    """Pressure of saturated water vapour over water at ``temperature`` (Cel), Pa."""
    return 611.2 * np.exp(17.62 * temperature / (243.12 + temperature))  # type: ignore[no-any-return]


def relative_humidity(temperature: Number, dew_point: Number) -> Number:
    """Percent, from air temperature and dew point (Cel)."""
    return 100.0 * saturation_pressure(dew_point) / saturation_pressure(temperature)


def density(temperature: Number, total: float, vapour: float) -> Number:
    """Of moist air, kg/m3: ``temperature`` in Cel, total and vapour pressure in Pa."""
    return (total - 0.378 * vapour) / (GAS_DRY * (temperature + KELVIN))


def heat_capacity(total: float, vapour: float) -> float:
    """Of moist air at constant pressure, J/(kg K) of the mixture; total and vapour pressure in Pa."""
    ratio = 0.622 * vapour / (total - vapour)
    return (CP_DRY + ratio * CP_VAPOUR) / (1.0 + ratio)
