"""The words in which the failure model is written: where a failure shows, what it shows, how it comes on."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model import Kind, Sign


class Role(StrEnum):
    """What a part is to the failure model, where its kind says too little: parts that nobody tells of."""

    FEED = "power feed"
    AIR_PATH = "filter"
    BLANKING = "blanking panel"
    COOLANT = "coolant hoses"
    COOLANT_PUMP = "coolant pump"
    COLD_PLATE = "cold plate"
    PLUG = "plug"
    DATA_CABLE = "network cable"
    MANAGEMENT_CABLE = "management cable"
    SWITCH_PORT = "switch port"
    DATA_SWITCH = "network switch"
    MANAGEMENT_SWITCH = "management switch"
    ROOM = "room air"


class Where(StrEnum):
    """On which parts, seen from the part that has failed, a sign would show."""

    ITSELF = "itself"
    HOLDERS = "everything that holds it"
    SLED = "its sled"
    BLADE = "its blade"
    INSIDE = "everything in it"
    AROUND = "everything in its sled, and the sled"
    PEERS = "parts of its kind beside it"
    COOLERS = "what cools it"
    FED = "what it powers"
    FED_INSIDE = "everything in what it powers"
    ONLY_FED = "what nothing else powers"
    CONTROLLER = "the controller that tells of it"


class Onset(StrEnum):
    """How it comes on."""

    HARD = "hard"
    """At once: what it shows, it shows within a round or two."""
    SLOW = "slow"
    """Over hours or weeks."""


class Show(Struct, frozen=True):
    """A sign that a failure would cause, on which parts, with which probability on each."""

    sign: Sign
    chance: float
    on: Where = Where.ITSELF
    kinds: tuple[Kind, ...] = ()
    """Only on parts of these kinds; () on any."""


class Mode(Struct, frozen=True, kw_only=True):
    """One way in which a part fails."""

    name: str
    """In words, as it is said of the part."""
    rate: float
    """Failures an hour of one part."""
    remedy: str
    shows: tuple[Show, ...]
    onset: Onset = Onset.HARD
    benign: bool = False
    """Whether nothing is broken: it explains signs without anything to repair."""
    needs_sensor: bool = False
    """Whether only parts with a sensor can fail so."""

    def prior(self, hours: float) -> float:
        """Probability to find one part failed so, when failures stand for so many hours until they are mended."""
        return self.rate * hours / (1.0 + self.rate * hours)
