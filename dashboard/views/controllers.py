"""The telemetry's own health, a line a controller."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.model import ControllerState
from dashboard.views.floor import answers, unheard
from dashboard.views.places import Places

NOT_ASKED = "not asked yet"


@dataclass(frozen=True, slots=True)
class Heard:
    """How one controller is heard."""

    state: ControllerState
    place: str
    outcome: str
    failed: float
    """Share of its rounds that failed, 0 to 1; 0 before the first."""
    load: float
    """Its newest round's time as a share of the time between rounds, 0 and more; 0 where not known."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a round costs over those that answer; None where none does."""

    median: float
    slow: float
    """Seconds that 95 of 100 rounds stay below."""
    slowest: float
    requests: int
    bytes: int


def heard(controllers: Iterable[ControllerState], places: Places, poll_interval: float | None) -> tuple[Heard, ...]:
    """Those that don't answer first, then those that fail most often, then the slowest."""
    found = [_heard(state, places, poll_interval) for state in controllers]
    return tuple(
        sorted(
            found,
            key=lambda each: (
                answers(each.state) if each.state.outcome is not None else False,
                each.state.outcome is None,
                -each.failed,
                -(each.state.round_seconds or 0.0),
                each.state.controller,
            ),
        )
    )


def _heard(state: ControllerState, places: Places, poll_interval: float | None) -> Heard:
    return Heard(
        state,
        places.controller_place(state.controller).text or "place not told",
        state.outcome.value if state.outcome is not None else NOT_ASKED,
        state.failed_rounds / state.rounds if state.rounds else 0.0,
        state.round_seconds / poll_interval if state.round_seconds is not None and poll_interval else 0.0,
    )


def narrowed(found: Iterable[Heard], outcome: str | None, defects: bool) -> tuple[Heard, ...]:
    """Those with an outcome, and those with defects only, as the address asks."""
    return tuple(
        each for each in found if (not outcome or each.outcome == outcome) and (not defects or each.state.defects)
    )


def outcomes(found: Iterable[Heard]) -> dict[str, int]:
    """How many there are of each outcome, the most frequent first."""
    return dict(Counter(each.outcome for each in found).most_common())


def cost(found: Sequence[Heard]) -> Cost | None:
    """What the newest rounds of those that answer took."""
    good = [each.state for each in found if not unheard(each.state) and each.state.round_seconds is not None]
    times = sorted(state.round_seconds for state in good if state.round_seconds is not None)
    if not times:
        return None
    return Cost(
        times[(len(times) - 1) // 2],
        times[min(len(times) - 1, int(0.95 * len(times)))],
        times[-1],
        sum(state.requests for state in good),
        sum(state.bytes_received for state in good),
    )
