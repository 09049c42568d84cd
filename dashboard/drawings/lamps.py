"""The two lamps of a front, as the OCP Panel Indicator Specification 1.0 has them: blue and amber; off, on, blink.

Blink is 500 ms on, 500 ms off. Where motion is unwelcome the lens stands half lit instead. Text always says the state.
"""

from __future__ import annotations

from collector.model import Lamps, LampState
from dashboard.drawings.ink import Ink, join, tag

BLUE = "#4A90FF"
AMBER = "#FFB000"
BEZEL = "#20242A"
RIM = "#98A1AB"
"""Lens colours on their bezel: fixed, as the lamps themselves are, in the light and the dark scheme alike."""

PERIOD = 1.0
"""Seconds from one lighting to the next."""

WIDE = 38.0
HIGH = 18.0
"""Size of the drawn pair."""

_WORDS = {
    LampState.OFF: "off",
    LampState.ON: "on",
    LampState.BLINK: "blinking",
    LampState.UNKNOWN: "unknown",
}


def lamp_words(lamps: Lamps) -> str:
    """Both lamps in words, e.g. ``blue on, amber blinking``."""
    return f"blue {_WORDS[lamps.blue]}, amber {_WORDS[lamps.amber]}"


def pair(lamps: Lamps, part: str, x: float = 0, y: float = 0) -> Ink:
    """Both lamps in their bezel, blue to the left, as a group inside a drawing."""
    return tag(
        "g",
        tag("title", f"should show {lamp_words(lamps)}"),
        tag("rect", width=WIDE, height=HIGH, rx=HIGH / 2, class_="bezel"),
        _lens("blue", lamps.blue, part, HIGH / 2),
        _lens("amber", lamps.amber, part, WIDE - HIGH / 2),
        class_="lamps",
        transform=f"translate({x:g} {y:g})",
    )


def panel(lamps: Lamps, part: str) -> Ink:
    """Both lamps as a drawing of their own, for lists; the words follow as text."""
    return tag(
        "svg",
        pair(lamps, part),
        xmlns="http://www.w3.org/2000/svg",
        class_="panel",
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        width=WIDE,
        height=HIGH,
        role="img",
        aria_label=lamp_words(lamps),
    )


def one_lamp(colour: str, state: LampState, part: str) -> Ink:
    """One lamp alone, large, for a button that says the state in words besides."""
    return tag(
        "svg",
        tag("rect", x=1, y=1, width=HIGH + 4, height=HIGH + 4, rx=3, class_="bezel"),
        tag("g", _lens(colour, state, part, HIGH / 2), transform="translate(3 3)"),
        xmlns="http://www.w3.org/2000/svg",
        class_="panel lamps",
        viewBox=f"0 0 {HIGH + 6:g} {HIGH + 6:g}",
        width=44,
        height=44,
        aria_hidden=True,
    )


def _lens(colour: str, state: LampState, part: str, x: float) -> Ink:
    middle = HIGH / 2
    lens: Ink
    if state is LampState.UNKNOWN:
        lens = tag("text", "?", x=x, y=middle + 4, class_="ask")
    elif state is LampState.OFF:
        lens = tag("path", d=f"M{x - 2.5:g} {middle:g}H{x + 2.5:g}", class_="dark")
    elif state is LampState.ON:
        lens = tag("circle", cx=x, cy=middle, r=5, class_="lit")
    else:
        lens = join(
            tag("path", d=f"M{x:g} {middle - 5:g}A5 5 0 0 0 {x:g} {middle + 5:g}Z", class_="half"),
            tag("circle", cx=x, cy=middle, r=5, class_="lit blink"),
        )
    return tag(
        "g",
        tag("circle", cx=x, cy=middle, r=6.2, class_="rim"),
        lens,
        class_=f"lamp {colour}",
        data_part=part,
        data_lamp=colour,
        data_lamp_state=state.value,
    )
