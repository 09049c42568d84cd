"""How much power a part can give, or may take: told beside the readings, and changed by hands only.

Source: DSP8010 2025.4: ``PowerSupply_v1.xml`` and the rows of ``Power_v1.xml`` (PowerCapacityWatts),
``PowerSubsystem_v1.xml`` (CapacityWatts: of all supplies, or the budget), ``Chassis_v1.xml`` (MaxPowerWatts).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from collector.model import DefectKind
from collector.normalise.bodies import Body, finite, pointer, record, rows
from collector.normalise.findings import Findings, shown
from collector.normalise.parts import Draft, Parts


def capacities(parts: Parts, findings: Findings) -> Mapping[str, float]:
    """W by the uri of the part; of several places the newest of the standard's counts."""
    found: dict[str, float] = {}

    def note(draft: Draft | None, body: Body, key: str, resource: str, *steps: str | int) -> None:
        value = _watts(body.get(key), resource, pointer(*steps, key), findings)
        if draft is not None and value is not None:
            found.setdefault(draft.uri, value)

    for draft in parts.of_type("PowerSupply"):
        note(draft, draft.body, "PowerCapacityWatts", draft.resource, *draft.steps)
    for uri, resource in _of_type(parts, "PowerSubsystem"):
        note(parts.owner(uri), resource, "CapacityWatts", uri)
    for uri, resource in _of_type(parts, "Power"):
        control = rows(resource.get("PowerControl"))
        if len(control) == 1:  # several are shares of the whole, by words of the service's own
            note(parts.owner(uri), record(control[0]), "PowerCapacityWatts", uri, "PowerControl", 0)
    for draft in parts.of_type("Chassis"):
        note(draft, draft.body, "MaxPowerWatts", draft.resource)
    return found


def _of_type(parts: Parts, type_: str) -> Iterable[tuple[str, Body]]:
    return [(uri, resource.body) for uri, resource in parts.resources.items() if parts.types[uri] == type_]


def _watts(told: Any, resource: str, at: str, findings: Findings) -> float | None:
    """A power above zero; 0 stands for one that is not known, as often as not."""
    value = finite(told)
    if told is not None and (value is None or value < 0.0):
        what = "is not a number" if value is None else "is less than nothing"
        kind = DefectKind.WRONG_TYPE if value is None else DefectKind.OUT_OF_RANGE
        findings.add(resource, at, kind, f"{shown(told)} {what}")
    return value if value is not None and value > 0.0 else None
