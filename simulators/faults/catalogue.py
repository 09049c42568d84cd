"""Every fault by name, assembled from the rooms of this package; a room lists its own in ``FAULTS``."""

from __future__ import annotations

from collections.abc import Mapping

from simulators.faults import air, boards, controllers, coolant, network, power, sensors
from simulators.faults.fault import Fault

_ROOMS = (air.FAULTS, power.FAULTS, coolant.FAULTS, sensors.FAULTS, boards.FAULTS, network.FAULTS, controllers.FAULTS)

CATALOGUE: Mapping[str, Fault] = {fault.name: fault for room in _ROOMS for fault in room}
"""Every fault by name."""

if len(CATALOGUE) != sum(map(len, _ROOMS)):
    raise ImportError("two faults have one name")
