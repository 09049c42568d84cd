"""How conditions are named and what they say. Pure formatting; what a controller told is shortened, not escaped."""

from __future__ import annotations

from hashlib import sha256

from collector.model import Outcome, Part, Sensor, Subject

LONGEST = 200
"""Characters of told text that one evidence or condition text keeps."""

_UNIT_WORDS = {"Cel": "°C", "{rev}/min": "rpm", "m3/s": "m³/s", "g/m3": "g/m³", "V.A": "VA", "1": ""}
"""How people write the canonical units where it differs from the UCUM code."""

CONTACT_WORDS = {
    Outcome.UNREACHABLE: "controller can't be reached",
    Outcome.TIMED_OUT: "controller does not answer in time",
    Outcome.UNTRUSTED: "controller shows another certificate than the one expected",
    Outcome.LOGIN_REFUSED: "controller refuses the login",
    Outcome.MALFORMED: "controller's answers are not the standard's",
    Outcome.UNAVAILABLE: "controller says that it can't serve now",
}


def condition_id(controller: str, subject: Subject, part: str | None, sensor: str | None = None, side: str = "") -> str:
    """The same trouble's same id: controller, subject, and a digest of part, sensor and side.

    Safe in addresses and topics whatever the service calls its parts; 64 bits keep a controller's conditions apart.
    """
    digest = sha256("\0".join((part or "", sensor or "", side)).encode("utf-8", "surrogatepass")).hexdigest()[:16]
    return f"{controller}.{subject.value.replace(' ', '-')}.{digest}"


def clip(text: str) -> str:
    """At most :data:`LONGEST` characters, an ellipsis marking the cut."""
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def amount(value: float, unit: str) -> str:
    """A value with its unit as people write it, e.g. ``42 °C``."""
    word = _UNIT_WORDS.get(unit, unit)
    return f"{value:.6g} {word}" if word else f"{value:.6g}"


def percent(share: float, *, more: bool = False) -> str:
    """A share as people write it, e.g. ``45 %``; ``more``: of what comes on top or falls away, e.g. ``+45 %``."""
    return f"{100.0 * share:{'+' if more else ''}.0f} %"


def times_in(count: int, seconds: float) -> str:
    """How often in what time, e.g. ``4 times in 3 min``."""
    return f"{count} times in {seconds:.0f} s" if seconds < 120 else f"{count} times in {seconds / 60:.0f} min"


def threshold_words(name: str) -> str:
    """``upper_caution_user`` -> ``upper caution (user's)``."""
    words = name.replace("_", " ")
    return words.removesuffix(" user") + " (user's)" if words.endswith(" user") else words


def about(part: Part, sensor: Sensor | None = None) -> str:
    """What a text is about: the part's name and the sensor's."""
    name = clip(part.name) or "unnamed part"
    return name if sensor is None else f"{name}: {clip(sensor.sensor)}"
