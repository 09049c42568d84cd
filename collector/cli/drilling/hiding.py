"""Which fault leaves nothing to be seen of another: of a pair so drawn no evidence of the other can exist.

Whoever is cut off tells nothing, what has no power has no troubles of its own, and where a whole switch is gone nobody
can know that one of its ports was dead besides. This says what is so in the simulated hardware, not what the assessment
makes of it.
"""

from __future__ import annotations

from simulators.network import Joint
from simulators.site import Part, Site

_SILENCING = frozenset({"management-switch-lost", "controller-hung"})
"""Nothing more is heard from the controllers."""
_DARKENING = frozenset({"blade-dead", "blade-power-lost", "cable-half-seated"})
"""What is in the part shows nothing, or only now and then."""
_UNLINKING = frozenset({"switch-lost", "network-adapter-dead", "switch-port-lost"})
"""No port that hangs on it has a link."""


def hides(site: Site, fault: str, part: Part, other: Part) -> bool:
    """Whether a fault on a part leaves nothing to be seen of any on another part."""
    if fault in _SILENCING:
        silent = {unit.name for unit in site.reached(part.path)}
        return all(unit.name in silent for unit in site.reached(other.path))
    if fault in _UNLINKING and isinstance(other, Joint):
        return all(_hangs_on(end, part) for end in other.ends)
    if fault in _DARKENING:
        near = part.path.removeprefix("~").partition("|")[0]
        inside = other.path.removeprefix("~").partition("|")[0]
        return inside.startswith(f"{near}/")
    return False


def _hangs_on(end: str, part: Part) -> bool:
    return end in part.ends if isinstance(part, Joint) else end.startswith(f"{part.path}/")
