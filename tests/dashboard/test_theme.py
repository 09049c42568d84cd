"""The palette: contrast by WCAG 2.2, and apart for eyes that see two hues."""

from __future__ import annotations

import itertools
import tomllib
from typing import Any

import pytest

from dashboard.drawings.lamps import AMBER, BEZEL, BLUE, RIM
from dashboard.serve import THEME

SCHEMES: dict[str, dict[str, Any]] = {
    name: scheme
    for name, scheme in tomllib.loads(THEME.read_text(encoding="utf-8"))["theme"].items()
    if name in ("light", "dark")
}
MEANINGS = {"Critical": "red", "Warning": "yellow", "OK": "green", "at risk": "violet", "unknown": "gray"}
GROUNDS = ("backgroundColor", "secondaryBackgroundColor")


def linear(colour: str) -> tuple[float, float, float]:
    """WCAG 2.2, relative luminance: linear channels (shared/standards/check-values.md, 1)."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return red, green, blue


def luminance(colour: str) -> float:
    red, green, blue = linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#FFFFFF", 21.0),
        ("#767676", "#FFFFFF", 4.54),
        ("#777777", "#FFFFFF", 4.48),
        ("#FF0000", "#FFFFFF", 4.0),
    ],
)
def test_the_formula_gives_the_published_ratios(one: str, other: str, ratio: float) -> None:
    """shared/standards/check-values.md, 1, WCAG 2.2; tolerance 0.005."""
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("meaning", MEANINGS)
def test_words_in_a_health_colour_can_be_read(scheme: str, meaning: str) -> None:
    """WCAG 2.2, 1.4.3: text 4.5 : 1, on both grounds and on its own tint."""
    theme, hue = SCHEMES[scheme], MEANINGS[meaning]
    for ground in (*GROUNDS, f"{hue}BackgroundColor"):
        assert contrast(theme[f"{hue}Color"], theme[ground]) >= 4.5, ground
        assert contrast(theme[f"{hue}TextColor"], theme[ground]) >= 4.5, ground


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_and_links_can_be_read(scheme: str) -> None:
    theme = SCHEMES[scheme]
    tints = [f"{hue}BackgroundColor" for hue in MEANINGS.values()]
    for ground in (*GROUNDS, *tints):
        assert contrast(theme["textColor"], theme[ground]) >= 7, ground
    for ground in GROUNDS:
        assert contrast(theme["linkColor"], theme[ground]) >= 4.5
        assert contrast(theme["primaryColor"], theme[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_slot_outlines_can_be_seen(scheme: str) -> None:
    """WCAG 2.2, 1.4.11: graphics 3 : 1. Outlines of slots are drawn in the colour of unknown."""
    theme = SCHEMES[scheme]
    for ground in GROUNDS:
        assert contrast(theme["grayColor"], theme[ground]) >= 3


@pytest.mark.parametrize("lens", [BLUE, AMBER, RIM])
def test_a_lit_lamp_stands_out_from_its_bezel(lens: str) -> None:
    assert contrast(lens, BEZEL) >= 3


def two_hues(colour: str, missing: str) -> tuple[float, float, float]:
    """As seen without red or green cones: linear RGB through the matrices of Viénot, Brettel and Mollon 1999 (from
    memory)."""
    red, green, blue = linear(colour)
    if missing == "red":
        seen = 0.11238 * red + 0.88762 * green
        return seen, seen, 0.00401 * (red - green) + blue
    seen = 0.29275 * red + 0.70725 * green
    return seen, seen, -0.02234 * (red - green) + blue


def perceived(colour: tuple[float, float, float]) -> tuple[float, float, float]:
    """CIE 1976 L*a*b* of linear sRGB, D65 (from memory)."""
    red, green, blue = (max(0.0, each) for each in colour)
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.089
    fx, fy, fz = (t ** (1 / 3) if t > 0.008856 else 7.787 * t + 16 / 116 for t in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("missing", ["red", "green"])
def test_trouble_is_told_from_no_trouble_without_red_or_green(scheme: str, missing: str) -> None:
    """Shapes and words carry the meaning; the colours of what differs in urgency stay 20 apart in L*a*b* besides
    (common practice, no source)."""
    theme = SCHEMES[scheme]
    urgent = ("Critical", "Warning", "OK", "at risk")
    for one, other in itertools.combinations(urgent, 2):
        a, b = (perceived(two_hues(theme[f"{MEANINGS[each]}Color"], missing)) for each in (one, other))
        assert sum((p - q) ** 2 for p, q in zip(a, b, strict=True)) ** 0.5 >= 20, (one, other)
