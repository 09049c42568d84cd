"""Sentences of the assessment as the viewer reads them: the temperatures in them turned into the unit chosen."""

from __future__ import annotations

import re

from dashboard.views.units import Units

_DEGREES = re.compile(r"(-?\d+(?:\.\d+)?) °C")


def words(text: str, units: Units) -> str:
    """A sentence about a reading and its limit, e.g. ``above upper caution, 80 °C``; not for what a controller told."""
    if not units.fahrenheit:
        return text
    return _DEGREES.sub(lambda found: f"{units.value(float(found[1]), 'Cel'):.4g} °F", text)
