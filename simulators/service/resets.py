"""Resets of hosts, and of a sled as a whole, as a dialect offers them."""

from __future__ import annotations

from collections.abc import Iterable

from simulators.service.controls import host_reset, sled_reset
from simulators.service.offers import Control, Resets
from simulators.service.places import SLED, Plan, host
from simulators.service.query import Body
from simulators.service.tree import Tree


def add(tree: Tree, plan: Plan, resets: Resets) -> tuple[Control, ...]:
    """Add the actions to a tree; returns them."""
    found = [Control(host_reset(n), (n,), resets.host) for n in plan.blades]
    for n, control in zip(plan.blades, found, strict=True):
        _offer(tree, host(n), "ComputerSystem", control, resets.info)
    if resets.sled:
        whole = Control(sled_reset(), tuple(plan.blades), resets.sled)
        _offer(tree, SLED, "Chassis", whole, resets.info)
        found.append(whole)
    return tuple(found)


def _offer(tree: Tree, path: str, kind: str, control: Control, info: bool) -> None:
    action: Body = {"target": control.path}
    if info:
        action["@Redfish.ActionInfo"] = tree.add(
            f"{path}/ResetActionInfo", "ActionInfo.v1_5_0.ActionInfo", "Reset action info", _info(control.words)
        )
    else:
        action["ResetType@Redfish.AllowableValues"] = list(control.words)
    tree.resources[path].body.setdefault("Actions", {})[f"#{kind}.Reset"] = action


def _info(words: Iterable[str]) -> Body:
    return {
        "Parameters": [
            {"Name": "ResetType", "Required": True, "DataType": "String", "AllowableValues": list(words)},
        ]
    }
