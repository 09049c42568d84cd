"""Where the watts go: processors, converters, busbar. Pure functions of arrays; W, V, A, Cel."""

from __future__ import annotations

import numpy as np

from simulators.bodies import LEAKAGE_KELVIN, THROTTLE_FROM, THROTTLE_LEAST, THROTTLE_SPAN
from simulators.chance import Floats, bounded

CONVERTER_FIXED = 8.0
"""Loss of a converter with no load, W."""
CONVERTER_LINEAR = 0.010
CONVERTER_SQUARE = 1.15e-5
"""Loss that grows with the output (part of it) and with its square (1/W): about 97 % at half load."""
PLANE_OPEN = 12.22
"""12 V plane with no load, V."""
PLANE_OHM = 0.000_4
"""Droop of the plane with the sled's whole 12 V current, ohm."""
BLADE_OHM = 0.003_5
"""Connector and plane up to one blade's input, ohm."""
BUSBAR_OPEN = 50.6
"""48 V class busbar with no load, V."""
BUSBAR_OHM = 0.009
"""Droop of an enclosure's rectifiers and busbar with all its sleds' current, ohm."""
CLIP_OHM = 0.002
"""A sled's clips on the busbar, ohm."""


def leakage(junction: Floats, at_60: Floats) -> Floats:
    """Leakage power of a processor at a junction temperature (Cel), from that at 60 Cel."""
    power: Floats = at_60 * np.exp(bounded(junction - 60.0, -80.0, 80.0) / LEAKAGE_KELVIN)
    return power


def throttle(junction: Floats) -> Floats:
    """What a processor does of the load that it is given: 1, less when it is too hot."""
    part: Floats = 1.0 - (1.0 - THROTTLE_LEAST) * bounded((junction - THROTTLE_FROM) / THROTTLE_SPAN, 0.0, 1.0)
    return part


def throttle_slope(junction: Floats) -> Floats:
    """How fast :func:`throttle` falls with the junction's temperature, 1/K."""
    within = (junction > THROTTLE_FROM) & (junction < THROTTLE_FROM + THROTTLE_SPAN)
    slope: Floats = np.where(within, -(1.0 - THROTTLE_LEAST) / THROTTLE_SPAN, 0.0)
    return slope


def converter_loss(output: Floats) -> Floats:
    """Heat that a converter makes while it puts out so much."""
    return CONVERTER_FIXED + output * (CONVERTER_LINEAR + CONVERTER_SQUARE * output)


def blade_input(power: Floats, plane: Floats, ohm: Floats | float = BLADE_OHM) -> tuple[Floats, Floats]:
    """Voltage at a blade's input and current into it: ``plane`` voltage less the drop that its own current makes."""
    voltage = 0.5 * (plane + np.sqrt(np.maximum(plane * plane - 4.0 * ohm * power, 0.0)))
    return voltage, power / np.maximum(voltage, 1.0)
