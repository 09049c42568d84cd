"""What a sled is told to keep to, in the newer dialect: its power limit as a control, and the power it is granted."""

from __future__ import annotations

import math

from simulators.service.modern_sensors import Sensors
from simulators.service.places import SLED, Plan
from simulators.service.query import Body
from simulators.service.tree import Tree, link

_CONTROLS = f"{SLED}/Controls"
_LIMIT = f"{_CONTROLS}/PowerLimit"


def capacity(plan: Plan) -> float:
    """W that the sled's converters can give together."""
    return sum(what.capacity for what in plan.design.power_supplies)


def allocation(plan: Plan) -> Body:
    """What the boards of a sled ask for at most, and what the sled is granted."""
    wanted = len(plan.blades) * plan.design.blade.max_power
    return {"RequestedWatts": wanted, "AllocatedWatts": min(wanted, capacity(plan))}


def _bounds(plan: Plan) -> Body:
    most = capacity(plan)
    return {
        "SetPoint": math.floor(0.95 * most),
        "AllowableMin": math.ceil(0.3 * most),
        "AllowableMax": most,
        "ControlMode": "Automatic",
    }


def excerpt(plan: Plan) -> Body:
    """The power limit as the sled's environment metrics repeat it."""
    return {**_bounds(plan), "DataSourceUri": _LIMIT}


def add(tree: Tree, plan: Plan, sensors: Sensors) -> Body:
    """Add the controls of a sled; the link to them."""
    told: Body = {
        "PhysicalContext": "Chassis",
        "ControlType": "Power",
        "SetPointType": "Single",
        "SetPointUnits": "W",
        **_bounds(plan),
        "Sensor": sensors.excerpt("FeedPower"),
        "Implementation": "Programmable",
        "RelatedItem": [link(SLED)],
        "Status": {"State": "Enabled", "Health": "OK"},
    }
    tree.add(_LIMIT, "Control.v1_7_0.Control", "Sled power limit", told)
    return {"Controls": link(tree.collect(_CONTROLS, "Control", "Controls of the sled", [_LIMIT]))}
