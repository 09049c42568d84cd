"""What lamps that a person sees at a front mean, whether that fits what the controllers say, and what to check next.

The meaning comes from :mod:`collector.assess.lamp_reader`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from collector.assess.lamp_reader import read_front, read_supply_front
from collector.assess.lamps import Agreement, Panel, SupplyLamps, panel_of
from collector.model import Kind, Lamps, LampState, Part
from dashboard.drawings.lamps import lamp_words
from dashboard.views.places import Places

_STATES = {each.value: each for each in (LampState.OFF, LampState.ON, LampState.BLINK)}
COLOURS = ("blue", "amber")
MORE_AMBER = ("low", "backup")
"""A power supply's other amber lamps, as the address names them."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a person has said of a front so far; None for a lamp that was not told yet."""

    blue: LampState | None = None
    amber: LampState | None = None
    low: LampState | None = None
    """Of a power supply: the amber lamp of low voltage."""
    backup: LampState | None = None
    """Of a power supply: the amber lamp of running on backup."""

    @property
    def lamps(self) -> Lamps | None:
        """Both lamps; None until both were told."""
        return None if self.blue is None or self.amber is None else Lamps(self.blue, self.amber)


def seen_from(words: Mapping[str, str]) -> Seen:
    """What an address says was seen; a word that is no state says nothing."""
    return Seen(**{name: _STATES.get(words.get(name, "")) for name in (*COLOURS, *MORE_AMBER)})


def fronts(controller: str, places: Places) -> tuple[Part, ...]:
    """The parts of a sled whose front has lamps of its own one stands before: case, blades, a shelf's supplies."""
    case = places.front(controller)
    blades = places.blades(controller)
    found = [case] if case is not None else []
    found += blades
    if not blades:
        found += sorted(
            (part for part in places.of_controller.get(controller, ()) if part.kind is Kind.POWER_SUPPLY),
            key=lambda part: (part.location.slot_index is None, part.location.slot_index or 0, part.id),
        )
    return tuple(found)


def panel_kind(part: Part, places: Places) -> Panel:
    """Which of the specification's panels a part's front has."""
    carries = any(each.kind is Kind.HOST and each.parent == part.id for each in places.of_controller[part.controller])
    return panel_of(part.kind, carries) or Panel.MODULE


@dataclass(frozen=True, slots=True)
class Decoded:
    """What was seen, in words."""

    says: str
    """What it means, a sentence."""
    table: str
    """Where that stands."""
    defined: bool
    fits: bool | None
    """Whether it is what the controllers say; None where they don't say."""
    against: str
    """How that compares, a sentence."""
    next: tuple[str, ...]
    """What to check, in order."""


_TABLES = {Panel.SYSTEM: "6.1, system", Panel.MODULE: "6.2, module", Panel.POWER_SUPPLY: "6.4, power supply"}


def decode(panel: Panel, seen: Seen, expected: Lamps | None, heard: bool) -> Decoded | None:
    """What a front that shows this means; None until both lamps were told.

    ``expected``: what it should show by what the controllers say, None where that is not known; ``heard``: whether the
    controller answers now.
    """
    lamps = seen.lamps
    if lamps is None:
        return None
    told = expected if heard else None
    if panel is Panel.POWER_SUPPLY:
        low, backup = seen.low or LampState.UNKNOWN, seen.backup or LampState.UNKNOWN
        found = read_supply_front(SupplyLamps(lamps.blue, lamps.amber, low, backup), told)
    else:
        found = read_front(panel, lamps, told)
    fits = {Agreement.AGREES: True, Agreement.DISAGREES: False, Agreement.NOT_TOLD: None}[found.agreement]
    return Decoded(
        found.meaning,
        f"OCP Panel Indicator Specification 1.0, table {_TABLES[panel]}",
        found.defined,
        fits,
        _against(expected, fits, heard),
        found.checks or (_NOTHING if fits else _ALONE,),
    )


_NOTHING = "Nothing is to be done at this front. If you were sent here, compare the label."
_ALONE = "Compare the label and the serial number, and record what you see, so that it counts."


def _against(expected: Lamps | None, fits: bool | None, heard: bool) -> str:
    if not heard:
        return "Its controller does not answer now, so that nothing can be compared: what you see counts the more."
    if expected is None or fits is None:
        return "Nobody tells what this front should show."
    should = f"it should show {lamp_words(expected)}"
    return f"That is what the controllers say: {should}." if fits else f"The controllers say otherwise: {should}."


def alike(lamps: Mapping[str, Lamps], wanted: Lamps, most: int) -> tuple[Sequence[str], int]:
    """Ids of parts whose front should show this, in order, and how many there are; at most ``most`` are named."""
    found = sorted(part for part, told in lamps.items() if told == wanted)
    return found[:most], len(found)
