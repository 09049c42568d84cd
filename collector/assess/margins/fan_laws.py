"""The fan laws: what a fan of one size does at another speed or in other air.

Flow goes with speed, pressure with its square, power with its cube; pressure and power with density as well (ISO 5801,
clause on conversion rules; ``check-values`` section 2).
"""

from __future__ import annotations


def flow_ratio(speed_ratio: float) -> float:
    """Flow against that at another speed, in the same passage."""
    return speed_ratio


def pressure_ratio(speed_ratio: float, density_ratio: float = 1.0) -> float:
    """Pressure against that at another speed."""
    return speed_ratio**2 * density_ratio


def power_ratio(speed_ratio: float, density_ratio: float = 1.0) -> float:
    """Shaft power against that at another speed."""
    return speed_ratio**3 * density_ratio


def speed_ratio_for(flow_ratio_wanted: float) -> float:
    """Speed needed for another flow through an unchanged passage."""
    return flow_ratio_wanted


def resistance_ratio(air_per_speed_ratio: float) -> float:
    """How much a passage's resistance (pressure over flow squared) has grown, by the air that a speed still moves.

    For a fan whose pressure does not change with flow: flow goes with one over the root of resistance. A lower bound
    where less air makes more pressure, as on the falling part of a fan's curve: there more resistance takes less air.
    """
    if air_per_speed_ratio <= 0.0:
        raise ValueError("no air moves: no resistance follows")
    return air_per_speed_ratio**-2
