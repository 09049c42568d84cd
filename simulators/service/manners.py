"""How a controller takes what it is asked to do: willingly, or in one of the ways in which real ones fail."""

from __future__ import annotations

from enum import StrEnum


class Manner(StrEnum):
    """By the word that names it as a fault, after ``deed-``."""

    WILLING = "willing"
    REFUSED = "refused"
    """It says that it is busy."""
    IGNORED = "ignored"
    """It says that it did it, and nothing happens."""
    HALF = "half"
    """It does what is about several for the first of them only."""
    LATE = "late"
    """It takes it, and is at it for an hour."""


TEXTS = {
    Manner.REFUSED: "Whatever it is asked to change, it says that it is busy.",
    Manner.IGNORED: "It says that it changed what it was asked to, and changes nothing.",
    Manner.HALF: "What switches several hosts switches half of them.",
    Manner.LATE: "A reset becomes a task that does not end within the hour.",
}
"""One sentence each, for a person."""
