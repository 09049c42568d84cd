"""Heat carried by air and by water.

P = rho cp V dT. In round figures at 1.2 kg/m3 and cp 1005: V[CFM] = 1.757 W / dT[K] = 3.162 W / dT[F]. The rule
"divide by 1.08 dT" wants BTU/h and Fahrenheit; with watts and kelvin it is wrong by half.
"""

from __future__ import annotations

CFM = 0.3048**3 / 60.0
"""A cubic foot a minute in m3/s; the foot is 0.3048 m by definition."""

WATER_DENSITY = 995.65
"""kg/m3 at 30 Cel (IAPWS-95)."""
WATER_HEAT = 4179.8
"""J/(kg K) at 30 Cel (IAPWS-95)."""


def mass_flow(power: float, rise: float, heat_capacity: float) -> float | None:
    """Air in kg/s that carries ``power`` W at a rise of ``rise`` K; None where heat and rise tell of none."""
    if not power > 0.0 or not rise > 0.0:
        return None
    return power / (heat_capacity * rise)


def air_flow(power: float, rise: float, density: float, heat_capacity: float) -> float | None:
    """The same in m3/s at that density."""
    mass = mass_flow(power, rise, heat_capacity)
    return None if mass is None else mass / density


def air_rise(power: float, flow: float, density: float, heat_capacity: float) -> float | None:
    """By how many K a flow in m3/s warms; None without flow."""
    return power / (density * heat_capacity * flow) if flow > 0.0 else None


def coolant_power(litres_a_minute: float, rise: float) -> float:
    """Heat in W that water at about 30 Cel carries off."""
    return litres_a_minute / 60_000.0 * WATER_DENSITY * WATER_HEAT * rise


def preheating(upstream_rise: float, share: float = 1.0) -> float:
    """By how many K the air in front of a part is warmed by those before it, ``share`` of whose air reaches it."""
    return upstream_rise * share


def recirculated(inlet: float, room: float, exhaust: float) -> float | None:
    """Which part of the inlet air came from the exhaust, 0 to 1; None where exhaust is no warmer than room."""
    if not exhaust - room > 0.0:
        return None
    return min(1.0, max(0.0, (inlet - room) / (exhaust - room)))
