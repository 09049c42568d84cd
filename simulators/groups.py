"""All sleds of one design with where they stand, and how long steps of time are taken apart."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simulators.bodies import BODIES
from simulators.chance import Floats, key, uniform
from simulators.knobs import Knobs
from simulators.site import Site, Sled
from simulators.sleds import Sleds
from simulators.workload import Load, Workload

HEIGHT = 0.030
"""Warmer for each rack unit above the floor, K."""
RECIRCULATION = (0.008, 0.022)
"""Part of the hot aisle's air that comes round to a sled's front: at the floor, and more at the top of the rack."""
_FINEST, _COARSEST = 5.0, 60.0


def substeps(step: float) -> tuple[float, ...]:
    """The parts of a long step of the grid, s: coarse first, each half of the one before it towards the end.

    What happened long before the end has died away by then (bodies, air and control settle within some minutes), and
    only the end is told; so accuracy is spent there. Energy is balanced in every part, whatever its length.
    """
    if step <= 30.0:
        return (step,)
    parts, left, size = [], step, _FINEST
    while left > 1e-9:
        here = min(size, left)
        parts.append(here)
        left -= here
        size = min(2.0 * size, _COARSEST) if len(parts) > 1 else size
    return tuple(reversed(parts))


class Group:
    """All sleds of one design with where they stand."""

    def __init__(
        self, site: Site, sleds: list[Sled], seed: int, racks: dict[str, int], enclosures: dict[str, int]
    ) -> None:
        body = BODIES[sleds[0].design.name]
        chains = [site.chain(sled.name) for sled in sleds]
        rows = {row.name: i for i, row in enumerate(site.rows)}
        self.sleds = sleds
        self.rack: NDArray[np.intp] = np.asarray([racks[rack.name] for _, rack, _, _ in chains])
        self.row: NDArray[np.intp] = np.asarray([rows[row.name] for row, _, _, _ in chains])
        self.enclosure: NDArray[np.intp] = np.asarray([enclosures[e.name] for _, _, e, _ in chains])
        offsets = np.asarray([float(sled.offset) for sled in sleds])
        heights = np.asarray([float(rack.units) for _, rack, _, _ in chains])
        blades = np.asarray([[key(seed, blade.path) for blade in sled.blades] for sled in sleds], dtype=np.uint64)
        rack_keys = np.asarray([key(seed, rack.name) for _, rack, _, _ in chains], dtype=np.uint64)
        self.warmer = HEIGHT * offsets
        self.round = (RECIRCULATION[0] + RECIRCULATION[1] * offsets / heights) * (0.7 + 0.6 * uniform(blades[:, 0], 90))
        self.knobs = Knobs(body.design, len(sleds))
        self.workload = Workload(blades, rack_keys)
        self.asked = np.full(blades.shape, math.nan)
        """Load that someone asked of a blade's processors; NaN where they do what they usually do."""
        self.asks = False
        self.physics = Sleds(body, blades, self.knobs)

    def load(self, time: float, brake: Floats) -> Load:
        """What the hosts are asked to do, and as much of it as each rack's power lets them (``brake``, 0 to 1)."""
        load = self.workload.at(time)
        processors = load.processors
        if self.asks:
            processors = np.where(np.isfinite(self.asked), self.asked, processors)
        if (brake < 1.0).any():
            processors = processors * brake[self.rack][:, None]
        return Load(processors, load.drives)
