"""Heat from bodies to the air that passes them, and what that leaves for the bodies behind.

Each body is one thermal mass that gives its heat to a share of the passing air as an exchanger with one side at
uniform temperature: effectiveness 1 - exp(-NTU), NTU = conductance / (mass flow * cp) (any textbook of heat transfer).
A body whose power and inlet air hold still over a step moves exponentially to its balance; the heat that it gave is
its power less what warmed it. So every joule is either in a body or in the air, for any step length.
"""

from __future__ import annotations

import numpy as np

from simulators.chance import Floats


def exchange(conductance: Floats, carried: Floats) -> Floats:
    """Heat given per kelvin between body and incoming air, W/K; ``carried``: mass flow * cp of its air, W/K."""
    given: Floats = carried * -np.expm1(-conductance / carried)
    return given


def warm(
    temperature: Floats, power: Floats, incoming: Floats, given: Floats, capacity: Floats, seconds: float
) -> tuple[Floats, Floats]:
    """One step: the bodies' new temperatures (Cel) and the mean heat that they gave to the air (W).

    ``incoming``: temperature of the air that reaches them, Cel; ``given``: from :func:`exchange`; ``capacity``: J/K.
    """
    rest = incoming + power / given
    after = rest + (temperature - rest) * np.exp(-given * (seconds / capacity))
    return after, power - capacity * (after - temperature) / seconds
