"""Water through the cold plates of a sled: what it weighs and carries, and how it is warmed. Scalars or arrays.

The plates stand in parallel between two quick connects on the rack's manifold, whose pumps are elsewhere; so flow and
supply temperature are given here, and the return temperature follows: P = mass flow * cp * (return - supply).
Density and heat capacity are polynomials fitted to CoolProp's water at 250 kPa from 5 to 90 Cel, good to 0.02 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from simulators.chance import Floats, Keys, spread

Number = TypeVar("Number", float, Floats)

LITRE_A_MINUTE = 1e-3 / 60.0
"""m3/s."""
SUPPLY = 32.0
"""Mean temperature of the water that a rack's manifold brings, Cel: warm enough for free cooling the year round."""

_TRICKLE = 0.05
"""Part of a sound pump's flow that the rack's own pressure still pushes through."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A sled's part of the rack's loop."""

    flow: float
    """Through all plates together, L/min."""
    drop: float
    """Pressure between supply and return at that flow, kPa."""


def density(temperature: Number) -> Number:
    """Of water at ``temperature`` (Cel), kg/m3."""
    return 1000.26 + temperature * (0.00804969 + temperature * (-0.00579414 + temperature * 1.56447e-5))


def heat_capacity(temperature: Number) -> Number:
    """Of water at ``temperature`` (Cel) and constant pressure, J/(kg K)."""
    t = temperature
    return 4215.39 + t * (-2.66029 + t * (0.0662419 + t * (-6.77146e-4 + t * 2.84171e-6)))


class Plates:
    """The water side of all sleds of one design."""

    def __init__(self, loop: Loop, sleds: Keys, plates: int) -> None:
        """``sleds``: a key each, for the spread among their quick connects; ``plates``: of one sled."""
        self._loop = loop
        self._plates = plates
        self.flow: Floats = loop.flow * spread(sleds, 0.03, 95)
        """L/min, (S,)."""
        self._sound = self.flow
        """With a sound pump and no leak."""
        self.lost: Floats = np.zeros(len(sleds))
        """Coolant that has run out since the leak began, L, (S,)."""
        self.supply: Floats = np.full(len(sleds), SUPPLY)
        """Cel, (S,)."""
        self.leaving: Floats = np.full(len(sleds), SUPPLY)
        """Cel, (S,)."""
        self.heat: Floats = np.zeros(len(sleds))
        """Carried off in the last step, W, (S,)."""
        self.energy: Floats = np.zeros(len(sleds))
        """Carried off since the start, J, (S,)."""

    def run(self, pump: Floats, leak: Floats, seconds: float) -> None:
        """What the pumps bring (part of a sound one's, (S,)) goes through the plates, less what leaks (L/min, (S,)).

        Continuity: what leaves before the plates does not pass them.
        """
        self.flow = np.maximum(self._sound * pump - leak, _TRICKLE * self._sound)
        self.lost = np.where(leak > 0.0, self.lost + leak * seconds / 60.0, 0.0)

    def mass_flow(self) -> Floats:
        """kg/s, (S,)."""
        mass: Floats = density(self.supply) * (self.flow * LITRE_A_MINUTE)
        return mass

    def carried(self) -> Floats:
        """Heat that one plate's water takes per kelvin, W/K, (S,)."""
        part: Floats = self.mass_flow() * heat_capacity(0.5 * (self.supply + self.leaving)) / self._plates
        return part

    def warm(self, heat: Floats, carried: Floats, seconds: float) -> None:
        """Take in the heat of all plates (W, (S,)); ``carried`` as :meth:`carried` told it for this step."""
        self.heat = heat
        self.leaving = self.supply + heat / (carried * self._plates)
        self.energy = self.energy + heat * seconds

    def sources(self) -> dict[str, Floats]:
        """The variables that have sensors: see :meth:`simulators.sleds.Sleds.sources`."""
        return {
            "coolant_supply": self.supply[None],
            "coolant_return": self.leaving[None],
            "coolant_flow": self.flow[None],
            "coolant_drop": self._loop.drop * np.square(self.flow / self._loop.flow)[None],
            "coolant_heat": 1e-3 * self.heat[None],
        }
