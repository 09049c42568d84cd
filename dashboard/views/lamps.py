"""What lamps that a person sees at a front mean, whether that fits what the controllers say, and what to check next.

The meaning comes from the tables of the OCP Panel Indicator Specification 1.0 in :mod:`collector.assess.lamps`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from collector.assess.lamps import (
    Meaning,
    Panel,
    SupplyLamps,
    SupplyState,
    panel_of,
    read_module,
    read_supply,
    read_system,
)
from collector.model import Health, Kind, Lamps, LampState, Part
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


def decode(panel: Panel, seen: Seen, expected: Lamps | None, heard: bool, health: Health) -> Decoded | None:
    """What a front that shows this means; None until both lamps were told.

    ``expected``: what it should show by what the controllers say, None where that is not known; ``heard``: whether the
    controller answers now; ``health``: of the part with all in it.
    """
    lamps = seen.lamps
    if lamps is None:
        return None
    meaning = _meaning(panel, seen, lamps)
    fits = _fits(lamps, expected) if heard else None
    return Decoded(
        _says(panel, meaning),
        f"OCP Panel Indicator Specification 1.0, table {_TABLES[panel]}",
        meaning.defined,
        fits,
        _against(expected, fits, heard),
        tuple(_next(panel, lamps, expected, meaning, fits, health)),
    )


def _meaning(panel: Panel, seen: Seen, lamps: Lamps) -> Meaning:
    if panel is Panel.SYSTEM:
        return read_system(lamps)
    if panel is Panel.MODULE:
        return read_module(lamps)
    low, backup = seen.low or LampState.OFF, seen.backup or LampState.OFF
    return read_supply(SupplyLamps(lamps.blue, lamps.amber, low, backup))


_SUPPLY = {
    SupplyState.INPUT_OK: "Its input is fine.",
    SupplyState.INPUT_FAULT: "Its input is at fault.",
    SupplyState.UNDER_VOLTAGE: "Its input voltage is too low.",
    SupplyState.ON_BACKUP: "Its input is out; it runs on backup.",
}


def _says(panel: Panel, meaning: Meaning) -> str:
    if not meaning.defined:
        return "The specification knows no such state of this panel."
    if meaning.supply is not None:
        return _SUPPLY[meaning.supply]
    if panel is Panel.MODULE:
        return "A module in it is missing or at fault." if meaning.fault else "All modules in it are there and well."
    power = "It is running" if meaning.power_on else "It is powered off"
    if meaning.locate:
        return f"{power}, and somebody asked for it to be found. Whether it has a fault doesn't show meanwhile."
    return f"{power}, with a fault in it." if meaning.fault else f"{power}, without a fault."


def _fits(seen: Lamps, expected: Lamps | None) -> bool | None:
    if expected is None:
        return None
    pairs = ((seen.blue, expected.blue), (seen.amber, expected.amber))
    told = [one is other for one, other in pairs if other is not LampState.UNKNOWN]
    if False in told:
        return False
    return True if len(told) == len(pairs) else None


def _against(expected: Lamps | None, fits: bool | None, heard: bool) -> str:
    if not heard:
        return "Its controller does not answer now, so that nothing can be compared: what you see counts the more."
    if expected is None:
        return "Nobody tells what this front should show."
    should = f"it should show {lamp_words(expected)}"
    if fits is None:
        return f"What the controllers say does not settle both lamps: {should}."
    return f"That is what the controllers say: {should}." if fits else f"The controllers say otherwise: {should}."


_LABEL = "Compare the label and the serial number with the ones above: is it the right front?"
_COUNT = "Look for three seconds: blinking is half a second lit, half a second dark."


def _next(
    panel: Panel, seen: Lamps, expected: Lamps | None, meaning: Meaning, fits: bool | None, health: Health
) -> Iterable[str]:
    """What to check, after what was seen. Common practice, no source."""
    if not meaning.defined:
        yield _COUNT
        yield _LABEL
        yield "If it stays like that, record it: the panel or its lamp is at fault, or it follows another table."
        return
    if fits:
        yield from _as_told(meaning, health)
        return
    if fits is None:
        yield _LABEL
        yield "Record what you see, so that it counts."
        if meaning.fault:
            yield "Look at the parts that can be seen: fans that stand, wet places, catches that are open."
        return
    yield _LABEL
    yield from _otherwise(panel, seen, expected, meaning)
    yield "Record what you see: it is weighed when it is worked out which part has failed."


def _as_told(meaning: Meaning, health: Health) -> Iterable[str]:
    if meaning.locate:
        yield "This is the front that is being looked for."
    if meaning.fault or health > Health.OK:
        yield "Do what the work order says; without one, nothing is sure enough yet to pull a part."
    elif meaning.power_on is False:
        yield "It was switched off or has no power: look whether that is meant."
    elif not meaning.locate:
        yield "Nothing is to be done at this front. If you were sent here, compare the label."


def _otherwise(panel: Panel, seen: Lamps, expected: Lamps | None, meaning: Meaning) -> Iterable[str]:
    if expected is None:
        return
    if LampState.BLINK in (seen.amber, expected.amber) and seen.amber is not expected.amber:
        if seen.amber is LampState.BLINK:
            yield "Somebody may have asked for its lamp at the controller itself. Ask who is looking for what."
        else:
            yield "Its locate lamp was asked for and does not blink: have it switched off and on, and look again."
        return
    if seen.blue is LampState.OFF and expected.blue is LampState.ON:
        yield (
            "Its controller takes it to run and it is dark: look whether its neighbours are lit and its fans turn. "
            "Without either it has lost its power, or the lamp is broken."
        )
    elif seen.blue is LampState.ON and expected.blue is LampState.OFF and panel is not Panel.SYSTEM:
        yield "The front says that all is well where the controller tells of a fault: the lamp may be stuck."
    elif seen.blue is LampState.ON and expected.blue is LampState.OFF:
        yield "It is lit where the controller says that it is off: wait for the next round, it may just be starting."
    if meaning.fault and expected.amber is LampState.OFF:
        yield "The front shows a fault that no controller tells of: look for a part that is loose or does not turn."
    elif meaning.fault is False and expected.amber is LampState.ON:
        yield "The controller tells of a fault that the front does not show: the lamp may be broken or stuck."


def alike(lamps: Mapping[str, Lamps], wanted: Lamps, most: int) -> tuple[Sequence[str], int]:
    """Ids of parts whose front should show this, in order, and how many there are; at most ``most`` are named."""
    found = sorted(part for part, told in lamps.items() if told == wanted)
    return found[:most], len(found)
