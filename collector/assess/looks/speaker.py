"""Which part stands for the controller itself."""

from __future__ import annotations

from collections import Counter

from collector.model import Inventory, Kind, Why


def unknown_speaker(controller: str) -> str:
    """Id to name a controller by before any walk found its parts; no controller tells of it."""
    return f"~controller:{controller}"


def speaker_of(inventory: Inventory) -> str:
    """The controller part that manages most; else the outermost part; else :func:`unknown_speaker`."""
    managed = Counter(link.on for link in inventory.links if link.why is Why.MANAGED_BY)
    controllers = [part.id for part in inventory.parts if part.kind is Kind.CONTROLLER]
    if controllers:
        return max(controllers, key=lambda part: managed[part])
    outermost = (part.id for part in inventory.parts if part.parent is None)
    return next(outermost, unknown_speaker(inventory.controller))
