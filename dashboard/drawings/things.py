"""What the drawings draw: places and standings, without any I/O. Lengths are millimetres, origin at the lower left."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector.model import Health, Lamps

RACK_WIDTH = 450.0
"""Clear width between the posts of a 19-inch rack (EIA-310: 450 mm at least); used where no width is told."""
EIA_UNIT = 44.45
OPEN_UNIT = 48.0


@dataclass(frozen=True, slots=True)
class Standing:
    """How a thing stands: its health, and apart from it the outside parts through which it is at risk."""

    health: Health = Health.UNKNOWN
    risk: tuple[str, ...] = ()
    """Names of the parts in trouble that it depends on."""
    note: str = ""
    """Why the health is what it is, e.g. ``no contact: timed out``."""

    @property
    def quiet(self) -> bool:
        """Whether there is nothing to say: known OK and not at risk."""
        return self.health is Health.OK and not self.risk

    @property
    def words(self) -> str:
        """In words, e.g. ``OK, at risk through Fan 2``."""
        words = ", ".join(each for each in (self.health.word, self.risk_words) if each)
        return f"{words} ({self.note})" if self.note else words

    @property
    def risk_words(self) -> str:
        """e.g. ``at risk through Fan 2``; "" where it is not."""
        return "at risk through " + ", ".join(self.risk) if self.risk else ""


@dataclass(frozen=True, slots=True)
class Bay:
    """A rectangle in its container."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Drive:
    """A drive on a blade's front."""

    part: str
    label: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class Blade:
    """A blade in a sled's front; an empty slot where ``absent``."""

    part: str
    label: str
    bay: Bay
    standing: Standing
    absent: bool = False
    lamps: Lamps | None = None
    """What its front should show; None where nothing is assessed."""
    drives: tuple[Drive, ...] = ()


@dataclass(frozen=True, slots=True)
class Front:
    """A sled's front with its blades."""

    part: str
    label: str
    width: float
    height: float
    blades: tuple[Blade, ...]
    lamps: Lamps | None = None
    told: bool = True
    """Whether all sizes were told: only then is the drawing to scale."""


@dataclass(frozen=True, slots=True)
class Sled:
    """A sled in a rack's elevation, addressed by its controller."""

    controller: str
    label: str
    place: str
    bay: Bay
    standing: Standing
    blades: tuple[Blade, ...] = ()
    told: bool = True
    holds: str = "sled"
    """What kind of thing it is, in the words of the model; a controller that has told of no part counts as a sled's."""


@dataclass(frozen=True, slots=True)
class Rack:
    """A rack's elevation."""

    name: str
    place: str
    unit: float
    """Height of one rack unit."""
    units: int
    """Rack units drawn; all that the rack has only where ``told``."""
    told: bool
    sleds: tuple[Sled, ...] = field(default_factory=tuple)
    width: float = RACK_WIDTH
