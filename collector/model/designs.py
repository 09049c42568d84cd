"""Designs: what a sled should hold, as the fleet file says it."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.words import Kind


class Holding(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Parts of one kind that a design wants, in one slot or anywhere in the sled."""

    kind: Kind
    slot: str | None = None
    """The slot's label, or the name of the part in it; None: anywhere in the sled."""
    count: int = 1
    """How many, where no slot is named."""
    within: str | None = None
    """Label or name of the slot of the part that holds them (a blade's for its drives); None: anywhere in the sled."""
    part_numbers: tuple[str, ...] = ()
    """Those that are right; none named: any."""
    models: tuple[str, ...] = ()
    """Those that are right; none named: any."""
    firmware: str | None = None
    """The least version that is good enough; None: any."""
    height: float | None = None
    """Of the board, mm; None: any."""


class Design(Struct, frozen=True, kw_only=True):
    """What one kind of sled should hold."""

    name: str
    sleds: tuple[str, ...]
    """Models or part numbers of the sleds that are built so."""
    holds: tuple[Holding, ...]


class Misfitting(StrEnum):
    """How a sled differs from its design."""

    WRONG = "wrong"
    MISSING = "missing"
    EXTRA = "extra"
    MISPLACED = "misplaced"
    BEHIND = "firmware behind"


class Misfit(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One difference between a sled and its design."""

    controller: str
    sled: str
    """Id of the sled."""
    design: str
    how: Misfitting
    kind: Kind
    slot: str | None = None
    part: str | None = None
    """Id of the part that stands there; None where none does."""
    wanted: str = ""
    found: str = ""
    text: str
    """One sentence for a person."""
