"""Units as the viewer reads them. Values stay canonical everywhere else; they are turned only where they are shown.

Factors: degrees Fahrenheit after NIST SP 811, B.8 (t/F = 1.8 t/C + 32; a difference of 1 K is 1.8 F); a cubic foot a
minute from the international foot of 0.3048 m exactly, in UCUM ``[ft_i]3/min`` = 4.719474e-4 m3/s; energy is shown in
kilowatt hours, as it is metered.
"""

from __future__ import annotations

from dataclasses import dataclass

CUBIC_FOOT_A_MINUTE = 0.3048**3 / 60.0
"""m3/s."""
JOULES_A_KWH = 3.6e6
"""Exact, by definition of the watt-hour."""

_PRINTED = {
    "Cel": "°C",
    "{rev}/min": "rpm",
    "V.A": "VA",
    "V.A{reactive}": "var",
    "m3/s": "m³/s",
    "m3/s/kW": "m³/s a kW",
    "g/m3": "g/m³",
    "J": "kWh",
    "1": "",
}
"""Units as people write them; any other UCUM code is printed as it is."""


@dataclass(frozen=True, slots=True)
class Units:
    """What temperatures and air are shown in; units are UCUM codes as the model has them."""

    fahrenheit: bool = False
    """Else Celsius."""
    cfm: bool = False
    """Cubic feet of air a minute, else m3/s."""

    def value(self, value: float, unit: str) -> float:
        """A value as the viewer reads it, in the unit that :meth:`word` names."""
        if self.fahrenheit and unit == "Cel":
            return 1.8 * value + 32.0
        return self.span(value, unit)

    def span(self, value: float, unit: str) -> float:
        """A difference between two values (or a rate per kelvin's other side), in the unit of :meth:`span_word`."""
        if self.fahrenheit and unit in ("Cel", "K"):
            return 1.8 * value
        if self.cfm and unit in ("m3/s", "m3/s/kW"):
            return value / CUBIC_FOOT_A_MINUTE
        return value / JOULES_A_KWH if unit == "J" else value

    def word(self, unit: str) -> str:
        """The unit as people write it, e.g. ``°F``."""
        if self.fahrenheit and unit == "Cel":
            return "°F"
        if self.cfm and unit == "m3/s":
            return "CFM"
        if self.cfm and unit == "m3/s/kW":
            return "CFM a kW"
        return _PRINTED.get(unit, unit)

    def span_word(self, unit: str) -> str:
        """The unit of a difference: kelvin between temperatures in Celsius, else the unit itself."""
        if unit in ("Cel", "K"):
            return "°F" if self.fahrenheit else "K"
        return self.word(unit)


PLAIN = Units()
"""The canonical units."""
