"""[[places]]: what people know of a site, row or rack and no controller tells."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from collector.settings.base import Section


class FeedSettings(Section):
    """A feed of a place."""

    name: Annotated[str, Field(min_length=1)]
    rating: Annotated[float, Field(gt=0, le=10_000_000)]
    """W that it may carry for long."""


class PlaceSettings(Section):
    """[[places]]: holds for everything at that location and below; the narrowest one counts."""

    site: str | None = None
    row: str | None = None
    rack: str | None = None
    altitude: Annotated[float, Field(ge=-450, le=5000)] = 0.0
    """m above the sea."""
    air_class: Literal["A1", "A2", "A3", "A4"] | None = None
    """Environmental class of the equipment there (ASHRAE TC 9.9)."""
    feeds: list[FeedSettings] = Field(default_factory=list)

    @model_validator(mode="after")
    def _feeds_once(self) -> PlaceSettings:
        names = [feed.name for feed in self.feeds]
        if len(set(names)) < len(names):
            raise ValueError("names a feed twice")
        return self
