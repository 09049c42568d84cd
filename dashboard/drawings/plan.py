"""What the cut-away draws: a sled from above. Millimetres; ``x`` from the left, ``y`` from the front edge backwards."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboard.drawings.things import Bay, Standing


@dataclass(frozen=True, slots=True)
class Piece:
    """A part as a box seen from above."""

    part: str
    label: str
    """What stands on its sticker, else its name."""
    name: str
    kind: str
    box: Bay
    standing: Standing
    says: str = ""
    """Its first reading, e.g. ``64.0 °C``."""


@dataclass(frozen=True, slots=True)
class Tray:
    """A blade seen from above, with what is on it."""

    part: str
    label: str
    box: Bay
    standing: Standing
    absent: bool = False
    inside: tuple[Piece, ...] = ()
    more: int = 0
    """Parts on it that are not drawn."""
    enters: str = ""
    """The temperature of the air in front of it; "" where not told."""
    leaves: str = ""
    """The temperature of the air behind it; "" where not told."""


@dataclass(frozen=True, slots=True)
class Layer:
    """Blades beside each other at one height."""

    name: str
    trays: tuple[Tray, ...]


@dataclass(frozen=True, slots=True)
class Air:
    """Air through the sled, in words; "" where not told."""

    inlet: str = ""
    outlet: str = ""
    flow: str = ""


@dataclass(frozen=True, slots=True)
class Coolant:
    """Coolant through the sled, in words; "" where not told."""

    supply: str = ""
    returns: str = ""
    flow: str = ""

    @property
    def told(self) -> bool:
        """Whether anything of it is known."""
        return bool(self.supply or self.returns or self.flow)


@dataclass(frozen=True, slots=True)
class Plan:
    """A sled from above."""

    part: str
    label: str
    width: float
    depth: float
    layers: tuple[Layer, ...]
    """From the top down; none where it holds no blades."""
    common: tuple[Piece, ...]
    """What its blades share, or what stands in a case without blades."""
    more: int = 0
    """Common parts that are not drawn."""
    air: Air = field(default_factory=Air)
    coolant: Coolant = field(default_factory=Coolant)
    told: bool = True
    """Whether the sizes of the case and its blades were told: only then are these to scale."""
    placed: bool = False
    """Whether anybody tells where the parts within lie: else they are arranged by kind along the air."""
