"""A power shelf whose supplies tell their feed's voltage as their own input."""

from __future__ import annotations

import pytest
from msgspec import structs

from collector.model import Inventory, Kind, Layout, Quantity, Sensor, Sign
from tests.assess.isolate.kit import Bench, pid, sign, sled

NAME = "p1"
SUPPLIES = ("Psu1", "Psu2", "Psu3", "Psu4")


def shelf() -> Inventory:
    """Four supplies in a shelf, and its two feeds, each with its voltage."""
    whole = sled(NAME)
    pattern = next(part for part in whole.parts if part.kind is Kind.SLED)
    told = [("Shelf", Kind.ENCLOSURE, None), *((each, Kind.POWER_SUPPLY, "Shelf") for each in SUPPLIES)]
    told += [("Feed", Kind.POWER_FEED, "Shelf"), ("A", Kind.CIRCUIT, "Feed"), ("B", Kind.CIRCUIT, "Feed")]
    parts = tuple(
        structs.replace(
            pattern,
            id=pid(NAME, path),
            uri=f"/redfish/v1/{path}",
            name=path,
            kind=kind,
            parent=None if parent is None else pid(NAME, parent),
        )
        for path, kind, parent in told
    )
    sensors = tuple(
        Sensor(
            sensor="voltage",
            controller=NAME,
            part=part.id,
            kind=part.kind,
            quantity=Quantity.VOLTAGE,
            unit="V",
            source=f"/{part.name}",
        )
        for part in parts
        if part.kind in (Kind.POWER_SUPPLY, Kind.CIRCUIT)
    )
    frame = structs.replace(whole.frame, values=whole.frame.values[: len(sensors)], healths=bytes(len(sensors)))
    return structs.replace(
        whole, parts=parts, links=(), layout=Layout(NAME, sensors), frame=frame, neighbours=(), statuses={}
    )


@pytest.mark.parametrize(
    ("gone", "first"),
    [
        (("B", "Psu2", "Psu4"), ("B", "its sensor is gone")),
        (("A",), ("A", "its sensor is gone")),
        (("Psu3",), ("Psu3", "its sensor is gone")),
    ],
)
def test_what_is_gone_at_a_feed_and_at_its_supplies_is_one_sensor(
    gone: tuple[str, ...], first: tuple[str, str]
) -> None:
    walked = shelf()
    bench = Bench(walked)
    signs = frozenset({Sign.READING_GONE, Sign.ABSENT})
    bench.visible[NAME] = {part.id: signs for part in walked.parts if part.kind is not Kind.POWER_FEED}
    bench.see(NAME, *(sign(walked, path, Sign.READING_GONE, 0.98) for path in gone))
    bench.settle()
    assert bench.firsts() == [(pid(NAME, first[0]), first[1])]
