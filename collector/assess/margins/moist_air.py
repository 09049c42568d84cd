"""Properties of moist air: saturation, dew point, density, heat capacity, and the standard atmosphere.

SI units throughout: Cel, Pa, kg/m3, J/(kg K); relative humidity as a ratio, 0 to 1. Formulas: ASHRAE Handbook,
Fundamentals 2017, chapter 1 (saturation pressure eq. 5 and 6, pressure by altitude eq. 3, humidity ratio eq. 20).
"""

from __future__ import annotations

import math

STANDARD_PRESSURE = 101_325.0
"""Pa, ISO 2533."""
ZERO_CELSIUS = 273.15
"""K."""
GAS_DRY_AIR = 287.042
"""J/(kg K), ASHRAE Fundamentals 2017 ch. 1 eq. 1."""
MASS_RATIO = 0.621945
"""Molar mass of water over that of dry air, ASHRAE Fundamentals 2017 ch. 1."""
HEAT_DRY_AIR = 1006.0
"""J/(kg K), ASHRAE Fundamentals 2017 ch. 1 eq. 30."""
HEAT_VAPOUR = 1860.0
"""J/(kg K), the same equation."""
HIGHEST = 11_000.0
"""m: the formula for pressure ends with the troposphere."""

_OVER_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_OVER_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def pressure_at(altitude: float) -> float:
    """Standard air pressure in Pa at an altitude in m; ValueError outside -5000 to 11000 m."""
    if not -5000.0 <= altitude <= HIGHEST:
        raise ValueError(f"no standard pressure at {altitude} m")
    return STANDARD_PRESSURE * float((1.0 - 2.25577e-5 * altitude) ** 5.2559)


def saturation_pressure(temperature: float) -> float:
    """Pressure of saturated water vapour in Pa, over ice below the triple point; ValueError outside -100 to 200 Cel."""
    if not -100.0 <= temperature <= 200.0:
        raise ValueError(f"no saturation pressure at {temperature} °C")
    kelvin = temperature + ZERO_CELSIUS
    a, b, c, d, e, f, logarithmic = _OVER_ICE if temperature <= 0.01 else _OVER_WATER
    series = a / kelvin + b + kelvin * (c + kelvin * (d + kelvin * (e + kelvin * f)))
    return math.exp(series + logarithmic * math.log(kelvin))


def vapour_pressure(temperature: float, humidity: float) -> float:
    """Partial pressure of water vapour in Pa; humidity 0 to 1, else ValueError."""
    if not 0.0 <= humidity <= 1.0:
        raise ValueError(f"a relative humidity of {humidity} is not within 0 and 1")
    return humidity * saturation_pressure(temperature)


def dew_point(temperature: float, humidity: float) -> float:
    """Dew point (below 0 Cel: frost point) in Cel, by bisection; ValueError for no humidity at all."""
    wanted = vapour_pressure(temperature, humidity)
    low, high = -100.0, temperature
    if wanted < saturation_pressure(low):
        raise ValueError("air that dry has no dew point in range")
    while high - low > 1e-6:
        middle = 0.5 * (low + high)
        if saturation_pressure(middle) < wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def humidity_ratio(vapour: float, pressure: float = STANDARD_PRESSURE) -> float:
    """Kilograms of water in a kilogram of dry air, from partial and total pressure in Pa."""
    return MASS_RATIO * vapour / (pressure - vapour)


def density(temperature: float, pressure: float = STANDARD_PRESSURE, vapour: float = 0.0) -> float:
    """Density of moist air in kg/m3: water and dry air together."""
    ratio = humidity_ratio(vapour, pressure)
    volume = GAS_DRY_AIR * (temperature + ZERO_CELSIUS) * (1.0 + ratio / MASS_RATIO) / pressure
    return (1.0 + ratio) / volume


def heat_capacity(vapour: float = 0.0, pressure: float = STANDARD_PRESSURE) -> float:
    """Specific heat of moist air at constant pressure in J/(kg K), of a kilogram of the mixture."""
    ratio = humidity_ratio(vapour, pressure)
    return (HEAT_DRY_AIR + ratio * HEAT_VAPOUR) / (1.0 + ratio)


def absolute_humidity(temperature: float, humidity: float) -> float:
    """Water in a cubic metre of air, g/m3 (ideal gas)."""
    gas_vapour = GAS_DRY_AIR / MASS_RATIO
    return 1000.0 * vapour_pressure(temperature, humidity) / (gas_vapour * (temperature + ZERO_CELSIUS))
