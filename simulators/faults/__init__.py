"""The catalogue of faults: names, what they befall, what they turn in the hardware; and how a person writes one down.

A fault never writes a reading: it turns :class:`simulators.knobs.Knobs`, and readings, statuses and fan control follow.
A new one needs an entry in ``FAULTS`` of its room (:mod:`simulators.faults.air` and its like), a function that turns
knobs, and a knob where none fits.
"""

from __future__ import annotations

from simulators.faults.catalogue import CATALOGUE
from simulators.faults.fault import LONGEST, OVER, Argument, Arguments, Chance, Fault, FaultError, Target, number
from simulators.faults.sensors import SENSED, much
from simulators.faults.words import Injection, check, complete, describe, known, parse

__all__ = [
    "CATALOGUE",
    "LONGEST",
    "OVER",
    "SENSED",
    "Argument",
    "Arguments",
    "Chance",
    "Fault",
    "FaultError",
    "Injection",
    "Target",
    "check",
    "complete",
    "describe",
    "known",
    "much",
    "number",
    "parse",
]
