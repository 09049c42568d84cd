"""Both models at once: the newer one, and beside it Thermal and Power of the same hardware, for clients of old.

The older resources are filled from a table that their controller refreshes only every few seconds, so the same sensor
tells two values a little apart in time: a client must publish one of them.
"""

from __future__ import annotations

from simulators.service import classic, live, modern
from simulators.service.modern_sensors import OWN
from simulators.service.places import SLED, Plan, blade
from simulators.service.query import Features
from simulators.service.tree import Resource, Tree, link
from simulators.site import Sled


def build(sled: Sled, features: Features = modern.FEATURES) -> Tree:
    """All resources that the controllers of sleds like this one tell."""
    tree, plan, older = modern.build(sled, features), Plan(sled), Tree(features)
    classic.sled_thermal(older, plan, OWN)
    classic.sled_power(older, plan, OWN)
    for n in plan.blades:
        classic.blade_thermal(older, plan, n, OWN)
        classic.blade_power(older, plan, n, OWN)
    for path, resource in older.resources.items():
        tree.resources[path] = Resource(live.earlier(resource.body), resource.writes)
    for chassis in (SLED, *(blade(n) for n in plan.blades)):
        tree.resources[chassis].body |= {"Thermal": link(f"{chassis}/Thermal"), "Power": link(f"{chassis}/Power")}
    tree.lags = True
    return tree
