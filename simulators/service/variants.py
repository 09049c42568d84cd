"""Dialects that differ from the newer one by what they offer beside the hardware, and by the queries that they take."""

from __future__ import annotations

from simulators.service import modern
from simulators.service.query import Features
from simulators.service.tree import Tree
from simulators.site import Sled

PUSH = Features(expand=".", max_levels=1, top_skip=True, etags=True)
REPORTS = Features(etags=True)


def push(sled: Sled) -> Tree:
    """Events by push only, $expand of one level."""
    return modern.build(sled, PUSH)


def reports(sled: Sled) -> Tree:
    """No $expand: a metric report is what brings all sensors at once."""
    return modern.build(sled, REPORTS)
