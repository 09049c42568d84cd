"""``sledkeeper drill``: how well faults are named, scored on a simulated fleet whose truth is known."""

from __future__ import annotations

import argparse
import asyncio
import json
import random
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collector.cli.drilling.trial import Row

INTERVAL = 30.0
"""Simulated seconds between the rounds of a controller."""
STEP = 5.0
"""Seconds of a step of the physics."""
WARM_UP = 140
"""Healthy rounds before the first fault: an hour and a bit, in which looks learn; what is ordered in them is false."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "drill",
        help="put random faults into a simulated fleet and score what is said of them",
        description="Put random faults of the simulators' catalogue into a simulated fleet in fast time, poll it with "
        "the collector's own code, and score which part was named, how soon and how surely. Nothing real is touched.",
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="which draw of faults; default 1")
    parser.add_argument("--faults", type=int, default=10, metavar="K", help="how many trials; default 10")
    parser.add_argument("--double", action="store_true", help="two faults at a time, in one rack")
    parser.add_argument(
        "--lamps",
        action="store_true",
        help="faults of locate lamps only, and a person at the front who says what shows",
    )
    parser.add_argument("--format", choices=("table", "json"), default="table")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Drill; exit code 0 whatever the score."""
    if arguments.faults < 1:
        print("sledkeeper drill: --faults must be 1 or more", file=sys.stderr)
        return 2
    result = asyncio.run(
        drill(arguments.seed, arguments.faults, double=arguments.double, lamps=arguments.lamps, progress=_progress)
    )
    if arguments.format == "json":
        print(json.dumps(result, indent=1))
    else:
        _show(result)
    return 0


async def drill(
    seed: int, faults: int, *, double: bool = False, lamps: bool = False, progress: Any = None
) -> dict[str, Any]:
    """The score of ``faults`` trials drawn by ``seed``; ``progress(done, of, rows)`` hears of each."""
    # Here, for they take the whole simulator with them, which no other command needs.
    from collector.cli.drilling.score import score
    from collector.cli.drilling.stage import Stage, small_site
    from collector.cli.drilling.trial import draw, rest, trial
    from simulators.world import World

    rng = random.Random(seed)
    stage = Stage(World(small_site(), seed=seed, step=STEP), INTERVAL)
    try:
        await stage.rounds_of(WARM_UP)
        false_orders = len(stage.ever_ordered)
        trials: list[list[Row]] = []
        for number in range(faults):
            first = draw(stage.world.site, rng, of_lamps=lamps)
            planted = [first, draw(stage.world.site, rng, near=first, of_lamps=lamps)] if double else [first]
            trials.append(await trial(stage, planted))
            if progress is not None:
                progress(number + 1, faults, trials[-1])
        stage.forget()
        await rest(stage)
        return score(trials, false_orders + len(stage.ever_ordered))
    finally:
        await stage.close()


def _progress(done: int, of: int, rows: list[Row]) -> None:
    for row in rows:
        verdict = "named" if row.first_place else "in its group" if row.in_group else "MISSED"
        print(f"[{done}/{of}] {row.fault} at {row.part}: {verdict}", file=sys.stderr, flush=True)


def _show(result: dict[str, Any]) -> None:
    for row in result["faults"]:
        mark = "first" if row["first_place"] else "group" if row["in_group"] else "MISSED"
        print(f"{mark:7}{row['fault']:26}{row['fru']:34}{row['rounds'] or '-':>4}  {'; '.join(row['told'][:1])}")
    print()
    for key, value in result.items():
        if key != "faults" and value is not None:
            print(f"{key:24}{value:.3g}")
