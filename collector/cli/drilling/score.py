"""What the rows of trials add up to."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from typing import Any

from collector.cli.drilling.trial import Row


def score(trials: Sequence[Sequence[Row]], false_orders: int) -> dict[str, Any]:
    """Fractions, medians and a row a fault, ready for JSON. ``false_orders``: on healthy time."""
    rows = [row for trial in trials for row in trial]
    named = [row.rounds for row in rows if row.rounds is not None]
    hard = [row for row in rows if row.hard]
    doubles = [trial for trial in trials if len(trial) > 1]
    return {
        "first_place": _fraction([row.first_place for row in rows]),
        "in_group": _fraction([row.in_group for row in rows]),
        "both_in_first_three": _fraction([all(row.in_first_three for row in trial) for trial in doubles]),
        "median_group": statistics.median([row.group for row in rows if row.group] or [0]),
        "median_rounds": statistics.median(named or [0]),
        "hard_within_two_rounds": _fraction([row.rounds is not None and row.rounds <= 2 for row in hard]),
        "false_orders": false_orders,
        "faults": [row._asdict() for row in rows],
    }


def _fraction(outcomes: Sequence[bool]) -> float | None:
    return sum(outcomes) / len(outcomes) if outcomes else None
