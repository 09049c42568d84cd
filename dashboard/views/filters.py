"""The filter of Rounds: read from the address, written into it, said in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from msgspec import structs

from collector.model import Health, Kind, Part, WorkOrder
from collector.model.parts import Identity
from collector.store.overview import STATES, Chosen, HoldingRow, RackCount
from dashboard.views.floor import natural

FIELDS: Mapping[str, str] = {
    "site": "Site",
    "row": "Row",
    "rack": "Rack",
    "kind": "Holds a",
    "model": "Model",
    "part_number": "Part number",
    "firmware": "Firmware",
    "severity": "Health",
    "state": "State",
    "text": "Words",
}
"""By name in the address and in :class:`~collector.store.overview.Chosen`."""

_LONGEST = 120
_MOST = 1000
"""Ways to choose that one list offers."""


def asked(params: Mapping[str, str]) -> Chosen:
    """What an address asks for; names that are no filter are left alone."""
    given: dict[str, Any] = {name: params[name].strip()[:_LONGEST] for name in FIELDS if name in params}
    return Chosen(**given)


def told(chosen: Chosen) -> dict[str, str]:
    """What is chosen, by name, as the address has it."""
    return {name: value for name in FIELDS if (value := getattr(chosen, name))}


def link(chosen: Chosen, **other: str) -> str:
    """Rounds with this choice, and with some of it another way; an empty word drops it."""
    both = {**told(chosen), **other}
    query = {name: both[name] for name in FIELDS if both.get(name)}
    return "./?" + urlencode(query) if query else "./"


def narrow(chosen: Chosen) -> bool:
    """Whether anything is chosen at all."""
    return chosen != Chosen()


def of_parts(chosen: Chosen) -> bool:
    """Whether it is parts that are chosen."""
    return bool(chosen.kind or chosen.model or chosen.part_number or chosen.firmware)


def without_words(chosen: Chosen) -> Chosen:
    """The same choice whatever the words."""
    return structs.replace(chosen, text="")


def says(words: str, text: str) -> bool:
    """Whether all the words stand in a text."""
    folded = text.casefold()
    return all(word in folded for word in words.casefold().split())


def fits_part(chosen: Chosen, part: Part | None) -> bool:
    """Whether a part is of the sort chosen."""
    if not of_parts(chosen):
        return True
    return part is not None and _fits(chosen, part.kind, part.identity)


def fits_order(chosen: Chosen, order: WorkOrder) -> bool:
    """The same of the part that an order is about."""
    return _fits(chosen, order.kind, order.identity)


def _fits(chosen: Chosen, kind: Kind, identity: Identity) -> bool:
    pairs = (
        (chosen.kind, kind.value),
        (chosen.model, identity.model),
        (chosen.part_number, identity.part_number),
        (chosen.firmware, identity.firmware),
    )
    return all(not wanted or wanted == (has or "").strip() for wanted, has in pairs)


@dataclass(frozen=True, slots=True)
class Ways:
    """What one filter can be set to, each with how many sleds or controllers that leaves."""

    field: str
    ways: tuple[tuple[str, int], ...]


def ways(racks: Iterable[RackCount], holdings: Iterable[HoldingRow]) -> tuple[Ways, ...]:
    """All that can be chosen, from what stands where and what is held."""
    counts: dict[str, dict[str, int]] = {name: {} for name in FIELDS if name != "text"}
    for rack in racks:
        for name, value in (("site", rack.site), ("row", rack.line), ("rack", rack.rack)):
            _add(counts[name], value, rack.number)
        for health, number in (
            (Health.CRITICAL, rack.critical),
            (Health.WARNING, rack.warning),
            (Health.OK, rack.ok),
            (Health.UNKNOWN, rack.unknown),
        ):
            _add(counts["severity"], health.word, number)
    for held in holdings:
        for name, value in (
            ("kind", held.kind),
            ("model", held.model),
            ("part_number", held.part_number),
            ("firmware", held.firmware),
        ):
            _add(counts[name], value, held.controllers)
    counts["state"] = dict.fromkeys(STATES, 0)
    found = []
    for name, there in counts.items():
        order: Sequence[str] = list(there) if name in ("state", "severity") else sorted(there, key=natural)
        found.append(Ways(name, tuple((value, there[value]) for value in order[:_MOST])))
    return tuple(found)


def _add(counts: dict[str, int], value: str, number: int) -> None:
    if value and number:
        counts[value] = counts.get(value, 0) + number
