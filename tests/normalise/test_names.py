"""Names of sensors that fault isolation goes by: promised in the text of ``collector.normalise.numbers``."""

from __future__ import annotations

import re
from typing import Any

import pytest

from collector.model import Quantity
from collector.normalise import numbers
from collector.normalise.places import find_places
from collector.redfish.resources import Resource


def told(type_: str, body: dict[str, Any]) -> dict[str, Quantity]:
    resource = Resource("/redfish/v1/X", {"@odata.type": f"#{type_}.v1_0_0.{type_}"} | body, "/redfish/v1/X", None)
    return {one.name or "": one.implied[0] for one in find_places(type_, resource) if one.implied is not None}


ECC = {"CorrectableECCErrorCount": 1, "UncorrectableECCErrorCount": 0}
PCIE = {"PCIeErrors": {"CorrectableErrorCount": 1, "NonFatalErrorCount": 0, "FatalErrorCount": 0}}
PCIE_NAMES = {"PCIe correctable error count", "PCIe non fatal error count", "PCIe fatal error count"}
CORE = ("CorrectableCoreErrorCount", "UncorrectableCoreErrorCount")

EXAMPLES: tuple[tuple[str, dict[str, Any], set[str], set[str]], ...] = (
    (
        "MemoryMetrics",
        {"LifeTime": ECC, "CurrentPeriod": ECC}
        | {"HealthData": {"PredictedMediaLifeLeftPercent": 99, "RemainingSpareBlockPercentage": 98}},
        {
            f"{span} {word} ECC error count"
            for span in ("lifetime", "current period")
            for word in ("correctable", "uncorrectable")
        },
        {"predicted media life left", "remaining spare block"},
    ),
    (
        "ProcessorMetrics",
        {"CacheMetricsTotal": {"LifeTime": ECC}} | dict.fromkeys(CORE, 1) | PCIE,
        {"cache lifetime correctable ECC error count", "cache lifetime uncorrectable ECC error count"}
        | {"correctable core error count", "uncorrectable core error count"}
        | PCIE_NAMES,
        set(),
    ),
    (
        "DriveMetrics",
        {"CorrectableIOReadErrorCount": 1, "UncorrectableIOWriteErrorCount": 0, "BadBlockCount": 2}
        | {"NVMeSMART": {"PercentageUsed": 3, "AvailableSparePercent": 97, "MediaAndDataIntegrityErrors": 0}},
        {"correctable IO read error count", "uncorrectable IO write error count", "bad block count"}
        | {"SMART media and data integrity errors"},
        {"SMART life used", "SMART available spare"},
    ),
    ("Drive", {"PredictedMediaLifeLeftPercent": 80}, set(), {"predicted media life left"}),
    ("StorageControllerMetrics", ECC, {"correctable ECC error count", "uncorrectable ECC error count"}, set()),
    (
        "PortMetrics",
        {"RXErrors": 1, "TXErrors": 0, "Networking": {"RXFCSErrors": 2}} | PCIE,
        {"RX errors", "TX errors", "networking RX FCS errors"} | PCIE_NAMES,
        set(),
    ),
)


@pytest.mark.parametrize(("type_", "body", "counts", "shares"), EXAMPLES, ids=[example[0] for example in EXAMPLES])
def test_errors_and_wear_are_called_as_promised(
    type_: str, body: dict[str, Any], counts: set[str], shares: set[str]
) -> None:
    expected = dict.fromkeys(counts, Quantity.COUNT) | dict.fromkeys(shares, Quantity.PERCENT)
    assert told(type_, body) == expected


def test_what_the_text_promises_is_tried_here() -> None:
    promised = set(re.findall(r"``([^`]+)``", (numbers.__doc__ or "").partition("Names, made of")[2]))
    tried = {name for _, _, counts, shares in EXAMPLES for name in counts | shares}
    words = {"excerpts.readable", "current period", "uncorrectable", "write"}
    others = {"correctable other error count", "uncorrectable other error count"}  # as the core ones
    assert promised - words - others <= tried
