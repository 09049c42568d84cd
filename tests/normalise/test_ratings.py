"""What a part can give or may take: told beside readings. Places of DMTF DSP8010 2025.4."""

from __future__ import annotations

from typing import Any

import pytest

from collector.model import DefectKind
from tests.normalise.services import SLED, Bodies, chassis, link, ok, power, read, resource, root, sled

SUBSYSTEM = f"{SLED}/PowerSubsystem"
SUPPLY = f"{SUBSYSTEM}/PowerSupplies/1"


def capacities(bodies: Bodies) -> dict[str, float | None]:
    return {part.uri: part.capacity for part in read(bodies).parts}


def modern(capacity: Any = 3000, of_supply: Any = 1500, **chassis_tells: Any) -> Bodies:
    return (
        root()
        | chassis(sled(PowerSubsystem=link(SUBSYSTEM), **chassis_tells))
        | {
            SUBSYSTEM: resource(SUBSYSTEM, "PowerSubsystem", CapacityWatts=capacity),
            SUPPLY: resource(SUPPLY, "PowerSupply", PowerCapacityWatts=of_supply, Status=ok()),
        }
    )


def test_supplies_and_their_chassis_tell_what_they_can_give() -> None:
    assert capacities(modern()) == {SLED: 3000.0, SUPPLY: 1500.0}
    assert capacities(modern(MaxPowerWatts=2500))[SLED] == 3000.0
    assert capacities(modern(None, MaxPowerWatts=2500))[SLED] == 2500.0
    assert capacities(modern(None, None)) == {SLED: None, SUPPLY: None}


def test_so_do_the_older_rows() -> None:
    rows = {"PowerSupplies": [{"MemberId": "0", "Name": "PSU", "PowerCapacityWatts": 800, "Status": ok()}]}
    old = root() | chassis(sled()) | power(PowerControl=[{"MemberId": "0", "PowerCapacityWatts": 750}], **rows)
    assert capacities(old) == {SLED: 750.0, f"{SLED}/Power#/PowerSupplies/0": 800.0}
    several = [{"MemberId": str(index), "PowerCapacityWatts": 100} for index in range(2)]
    assert capacities(root() | chassis(sled()) | power(PowerControl=several))[SLED] is None


@pytest.mark.parametrize(
    ("told", "kind"),
    [("many", DefectKind.WRONG_TYPE), (True, DefectKind.WRONG_TYPE), (-5, DefectKind.OUT_OF_RANGE), (0, None)],
)
def test_nonsense_is_no_capacity(told: Any, kind: DefectKind | None) -> None:
    inventory = read(modern(of_supply=told))
    assert {part.capacity for part in inventory.parts if part.uri == SUPPLY} == {None}
    found = [(one.resource, one.property, one.kind) for one in inventory.defects]
    assert found == ([] if kind is None else [(SUPPLY, "/PowerCapacityWatts", kind)])
