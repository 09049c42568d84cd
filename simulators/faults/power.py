"""Faults of what brings the power: feeds, supplies, converters, a blade's input."""

from __future__ import annotations

import math

from simulators.faults.fault import LONGEST, OVER, Arguments, Fault, Target, number
from simulators.knobs import Knobs
from simulators.site import PartKind


def _blade_power_lost(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.blade_on[target.row, target.blade] = 0.0


def _blade_dead(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.board_on[target.row, target.blade] = 0.0


def _feed_lost(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.mains[target.row, target.part.index] = 0.0


def _feed_sagging(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.mains[target.row, target.part.index] *= 1.0 - number(arguments, "fraction") * target.grown


def _feed_lossy(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.outlet_ohm[target.row, target.part.index] += number(arguments, "ohm") * target.grown


def _supply_dead(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.supply_on[target.row, target.part.index] = 0.0


def _power_board(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    blades = knobs.blade_on.shape[1]
    hit = max(2, math.ceil(number(arguments, "share") * blades))
    if number(arguments, "dead") >= 0.5:
        knobs.blade_on[target.row, :hit] = 0.0
    else:
        knobs.blade_ohm[target.row, :hit] += number(arguments, "ohm") * target.grown


FAULTS = (
    Fault(
        name="blade-power-lost",
        kinds=(PartKind.BLADE,),
        text="The blade's 12 V input is dead: its host is off and its own sensors tell nothing.",
        turn=_blade_power_lost,
    ),
    Fault(
        name="blade-dead",
        kinds=(PartKind.BLADE,),
        text="The blade's own electronics are dead: its 12 V input is fine, nothing runs, its sensors tell nothing.",
        turn=_blade_dead,
    ),
    Fault(
        name="feed-lost",
        kinds=(PartKind.CIRCUIT,),
        text="One feed of the power shelf brings nothing: its rectifiers stop, the others have to carry the rack.",
        turn=_feed_lost,
    ),
    Fault(
        name="feed-sagging",
        kinds=(PartKind.CIRCUIT,),
        text="One feed of the power shelf brings the given fraction less voltage; its rectifiers draw more current.",
        turn=_feed_sagging,
        arguments={"fraction": 0.15, OVER: 0.0},
        limits={"fraction": (0.0, 0.95), OVER: (0.0, LONGEST)},
        draws={"fraction": (0.14, 0.25)},
    ),
    Fault(
        name="feed-lossy",
        kinds=(PartKind.OUTLET,),
        text="The joint of a busbar output has so much more resistance: power is lost between shelf and sleds.",
        turn=_feed_lossy,
        arguments={"ohm": 0.03, OVER: 0.0},
        limits={"ohm": (0.0, 0.08), OVER: (0.0, LONGEST)},
        draws={"ohm": (0.025, 0.05), OVER: (600.0, 7200.0)},
        hard=False,
    ),
    Fault(
        name="power-supply-dead",
        kinds=(PartKind.POWER_SUPPLY,),
        text="The supply puts out nothing: the others of its shelf, or the other of its sled, carry the load.",
        turn=_supply_dead,
    ),
    Fault(
        name="power-board",
        kinds=(PartKind.SLED,),
        text="The sled's own board between converters and blades fails for a share of these: high resistance (12 V "
        "too low, heat) or, with dead=1, no way through.",
        turn=_power_board,
        arguments={"share": 1.0, "ohm": 0.05, "dead": 0.0, OVER: 0.0},
        limits={"share": (0.0, 1.0), "ohm": (0.0, 0.08), "dead": (0.0, 1.0), OVER: (0.0, LONGEST)},
        draws={"share": (0.5, 1.0), "ohm": (0.045, 0.075), "dead": (0.0, 1.0)},
    ),
)
