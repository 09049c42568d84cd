"""What a viewer chose once: how times, temperatures and air are told, and whether anything moves.

Written as a few words joined by dots, e.g. ``F.cfm.utc.still``: in the address (``view``), and in a cookie of the
browser. Words that are not known say nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from dashboard.views.units import PLAIN, Units


@dataclass(frozen=True, slots=True)
class Preferences:
    """One viewer's choices."""

    units: Units = PLAIN
    utc: bool = False
    """Times in UTC alone, else in the viewer's zone with UTC beside them."""
    still: bool = False
    """Nothing blinks: a blinking lamp is drawn half lit."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing to choose, with its two ways: the first holds where nothing was chosen."""

    name: str
    words: tuple[str, str]
    """As written in address and cookie."""
    labels: tuple[str, str]
    """As shown."""
    second: Callable[[Preferences], bool]
    """Whether the second way is chosen."""


CHOICES = (
    Choice("Times", ("here", "utc"), ("as here, UTC beside", "UTC"), lambda it: it.utc),
    Choice("Temperatures", ("C", "F"), ("°C", "°F"), lambda it: it.units.fahrenheit),
    Choice("Air", ("m3s", "cfm"), ("m³/s", "CFM"), lambda it: it.units.cfm),
    Choice("Blinking lamps", ("blink", "still"), ("blink", "stand still"), lambda it: it.still),
)


def chosen(words: str, before: Preferences | None = None) -> Preferences:
    """``before`` with what ``words`` say put over it."""
    found = before or Preferences()
    for word in words.split("."):
        found = _with(found, word)
    return found


def _with(found: Preferences, word: str) -> Preferences:
    match word:
        case "here" | "utc":
            return replace(found, utc=word == "utc")
        case "C" | "F":
            return replace(found, units=replace(found.units, fahrenheit=word == "F"))
        case "m3s" | "cfm":
            return replace(found, units=replace(found.units, cfm=word == "cfm"))
        case "blink" | "still":
            return replace(found, still=word == "still")
    return found


def written(preferences: Preferences) -> str:
    """All choices as words, so that an address says the same to every browser, e.g. ``here.F.m3s.blink``."""
    return ".".join(choice.words[choice.second(preferences)] for choice in CHOICES)
