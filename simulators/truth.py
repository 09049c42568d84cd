"""What is physically so, for tests and for scoring: no controller knows it."""

from __future__ import annotations

from typing import NamedTuple

from simulators import air
from simulators.sleds import Sleds


class Truth(NamedTuple):
    """What is physically so in one sled, for tests and for scoring; no controller knows it."""

    electrical_in: float
    """W."""
    heat_to_air: float
    """W; mean over the last step."""
    mass_flow: float
    """Of air, kg/s."""
    heat_capacity: float
    """Of that air, J/(kg K)."""
    density: float
    """Of the air in front, kg/m3."""
    volume_flow: float
    """At that density, m3/s."""
    inlet: float
    """Cel."""
    exhaust: float
    """Cel."""
    stored: float
    """Heat in the sled's bodies, from 0 Cel, J."""
    energy_in: float
    """Electrical, since the start, J."""
    energy_to_air: float
    """Since the start, J."""
    fan_speed: float
    """Of a healthy fan, as a fraction of rated speed."""
    fan_power: float
    """Of all fans, W."""
    heat_to_coolant: float
    """W; mean over the last step; 0 where air cools all, as below."""
    energy_to_coolant: float
    """Since the start, J."""
    coolant_supply: float
    """Cel."""
    coolant_return: float
    """Cel."""
    coolant_flow: float
    """L/min."""
    blade_flows: tuple[float, ...]
    """m3/s."""
    blade_power: tuple[float, ...]
    """W."""
    blade_volts: tuple[float, ...]
    """At the blades' inputs, V."""
    junctions: tuple[tuple[float, ...], ...]
    """Of each blade's processors, Cel."""
    sinks: tuple[tuple[float, ...], ...]
    """Of each blade's heat sinks, Cel."""
    processor_power: tuple[tuple[float, ...], ...]
    """W."""
    path_loss: float
    """Lost between the 12 V plane and the blades, W."""
    fan_speeds: tuple[float, ...]
    """Of each fan as it turns, {rev}/min, whatever its tachometer tells."""
    coolant_lost: float
    """Run out since a leak began, L."""


def truth_of(physics: Sleds, row: int, pressure: float) -> Truth:
    """What is so in one of the sleds, in air of that pressure (Pa)."""
    vapour = float(air.saturation_pressure(physics.dew_point))
    speed = float(physics.speed[row])
    water = physics.plates
    return Truth(
        electrical_in=float(physics.feed_power[row]),
        heat_to_air=float(physics.heat_to_air[row]),
        mass_flow=float(physics.mass_flow[row]),
        heat_capacity=air.heat_capacity(pressure, vapour),
        density=float(air.density(physics.inlet[row], pressure, vapour)),
        volume_flow=float(physics.air_flow()[row]),
        inlet=float(physics.inlet[row]),
        exhaust=float(physics.exhaust[row]),
        stored=float(physics.stored()[row]),
        energy_in=float(physics.sled_energy[row]),
        energy_to_air=float(physics.air_energy[row]),
        fan_speed=speed,
        fan_power=float(physics.fan_power[row].sum()),
        heat_to_coolant=0.0 if water is None else float(water.heat[row]),
        energy_to_coolant=0.0 if water is None else float(water.energy[row]),
        coolant_supply=0.0 if water is None else float(water.supply[row]),
        coolant_return=0.0 if water is None else float(water.leaving[row]),
        coolant_flow=0.0 if water is None else float(water.flow[row]),
        blade_flows=tuple((physics.division.blades[row] * speed).tolist()),
        blade_power=tuple(physics.blade_power[row].tolist()),
        blade_volts=tuple(physics.blade_voltage[row].tolist()),
        junctions=tuple(map(tuple, physics.junction[:, row].T.tolist())),
        sinks=tuple(map(tuple, physics.of("cpu")[:, row].T.tolist())),
        processor_power=tuple(map(tuple, physics.processor_power[:, row].T.tolist())),
        path_loss=float(physics.path_loss[row]),
        fan_speeds=tuple(physics.rpm()[row].tolist()),
        coolant_lost=0.0 if water is None else float(water.lost[row]),
    )
