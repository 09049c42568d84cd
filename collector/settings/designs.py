"""[[designs]]: what a kind of sled should hold."""

from __future__ import annotations

from pydantic import Field, model_validator

from collector.model import Design, Holding, Kind
from collector.settings.base import Section


class HoldingSettings(Section):
    """[[designs.holds]]: parts of one kind, in one slot or so many of them."""

    kind: Kind
    slot: str | None = None
    count: int = Field(default=1, ge=0, le=10_000)
    within: str | None = None
    part_numbers: tuple[str, ...] = ()
    models: tuple[str, ...] = ()
    firmware: str | None = None
    height: float | None = Field(default=None, gt=0)
    """mm."""

    @model_validator(mode="after")
    def _one_in_a_slot(self) -> HoldingSettings:
        if self.slot is not None and self.count != 1:
            raise ValueError("count goes with no slot: a slot holds one part")
        return self

    @property
    def holding(self) -> Holding:
        """As the assessment takes it."""
        return Holding(**self.model_dump())


class DesignSettings(Section):
    """[[designs]]."""

    name: str = Field(min_length=1)
    sleds: tuple[str, ...] = Field(min_length=1)
    """Models, part numbers or SKUs of the sleds that are built so."""
    holds: list[HoldingSettings] = Field(default_factory=list)

    @property
    def design(self) -> Design:
        """As the assessment takes it."""
        return Design(name=self.name, sleds=self.sleds, holds=tuple(each.holding for each in self.holds))
