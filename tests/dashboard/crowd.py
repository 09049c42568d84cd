"""A floor of ten racks with sixteen sleds each, more than are drawn at once; a fan stands still in two of them."""

from __future__ import annotations

from collector.model import Health, Location, Outcome
from tests.dashboard.invented import Invented, condition, sled

RACKS, A_RACK = 10, 16
WRONG = ("c03-05", "c07-00")
SILENT = "c09-15"


def crowd(now: float) -> list[Invented]:
    """Racks ``R01`` to ``R05`` stand in row 1, the others in row 2."""
    made = []
    for rack in range(RACKS):
        for seat in range(A_RACK):
            at = Location(
                site="Quellmark",
                row=str(rack // 5 + 1),
                rack=f"R{rack + 1:02d}",
                offset=float(2 * seat + 2),
                offset_unit="EIA_310",
            )
            made.append(sled(f"c{rack:02d}-{seat:02d}", at, label=f"Sled {seat + 1}"))
    for it in made:
        if it.name in WRONG:
            fan = it.part("Chassis/Sled/ThermalSubsystem/Fans/2")
            it.own[fan] = Health.CRITICAL
            it.conditions.append(condition(it, fan, Health.CRITICAL, "Fan 2: stands still", now - 300.0))
        if it.name == SILENT:
            it.outcome, it.silent_for = Outcome.UNREACHABLE, 300.0
            it.error = "connection refused; look whether it has power"
    return made
