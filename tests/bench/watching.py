"""What a quiet round costs the watch, beside one bare pass over the same columns. Prints; asserts nothing.

Ratios within one run: a controller with 120 sensors, all well; the same with the fleet's care shared and a place in
maintenance; the same with one condition standing open; and the floor: comparing every reading with its band.
"""

from __future__ import annotations

import timeit
from array import array
from collections.abc import Callable

from collector.assess.care import Cares
from collector.assess.delays import HABITS
from collector.assess.outages import Outages
from collector.assess.watch import Watch
from collector.model import (
    Care,
    CareKind,
    Frame,
    Inventory,
    Kind,
    Layout,
    Limit,
    Location,
    Outcome,
    Part,
    Quantity,
    Round,
    Sensor,
    Thresholds,
)

NAME, SENSORS = "n1", 120
LIMITS = Thresholds(upper_caution=Limit(value=80.0), upper_critical=Limit(value=90.0), lower_caution=Limit(value=1.0))


def main() -> None:
    """Print the figures."""
    for line in run():
        print(line, flush=True)


def run() -> list[str]:
    """One line a figure."""
    values = _frame(0.0).values
    bands = array("d", [1.0]) * SENSORS, array("d", [80.0]) * SENSORS
    floor = _microseconds(
        lambda: [at for at, (v, low, high) in enumerate(zip(values, *bands, strict=True)) if not low <= v <= high]
    )
    quiet = _microseconds(_rounds(_watch()))
    told = [f"watch, quiet round of {SENSORS} sensors: {quiet:.1f} µs, {quiet / floor:.2f} times a bare pass over them"]
    shared = Watch(NAME, 30.0, cares=Cares([_AT_WORK]), outages=Outages(), habits=HABITS, location=_AT_WORK.place)
    marked = _microseconds(_rounds(_watch(shared)))
    told.append(f"  with delays and maintenance: {marked:.1f} µs, {marked / quiet:.2f} times as long")
    standing = _microseconds(_rounds(_watch(), hot=95.0))
    told.append(f"  with one condition open: {standing:.1f} µs, {standing / quiet:.2f} times as long")
    return told


_AT_WORK = Care(
    id=1, kind=CareKind.MAINTENANCE, who="x", why="y", since=0.0, until=1e12, place=Location(site="S", rack="R")
)


def _frame(time: float, hot: float = 40.0) -> Frame:
    values = array("d", [40.0]) * SENSORS
    values[0] = hot
    return Frame(time=time, values=values, healths=b"\1" * SENSORS)


def _watch(watch: Watch | None = None) -> Watch:
    made = Watch(NAME, 30.0) if watch is None else watch
    parts = tuple(
        Part(id=f"{NAME}:/b{at}", controller=NAME, uri=f"/b{at}", kind=Kind.BLADE, name=f"b{at}") for at in range(12)
    )
    sensors = tuple(
        Sensor(
            sensor=f"s{at}",
            controller=NAME,
            part=parts[at % 12].id,
            kind=Kind.BLADE,
            quantity=Quantity.TEMPERATURE,
            unit="Cel",
            source=f"/s{at}",
            thresholds=LIMITS,
        )
        for at in range(SENSORS)
    )
    layout = Layout(NAME, sensors)
    made.inventory(
        Inventory(controller=NAME, time=0.0, parts=parts, links=(), layout=layout, statuses={}, frame=_frame(0.0)), 0.0
    )
    return made


def _rounds(watch: Watch, hot: float = 40.0) -> Callable[[], object]:
    done = Round(controller=NAME, started=0.0, finished=1.0, outcome=Outcome.OK, frame=_frame(1.0, hot))
    watch.round(done, 1.0)
    return lambda: watch.round(done, 1.0)


def _microseconds(call: Callable[[], object]) -> float:
    # Many short runs, the fastest of them: what others do on the machine falls out.
    return min(timeit.repeat(call, number=20, repeat=300)) / 20 * 1e6


if __name__ == "__main__":
    main()
