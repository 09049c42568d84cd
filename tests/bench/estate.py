"""Builds a large invented store: sleds in racks in rows, walked, with trouble, hot rounds and a week of sealed hours.

``python -m tests.bench.estate DIR [--controllers N] [--days D] [--every S]``. Walks, rounds and assessments go through
the store's own writer, one hour is sealed by its own sealing; the other hours are that hour again with its times moved,
written as the store writes them and put on its record. All of it is invented.
"""

from __future__ import annotations

import argparse
import asyncio
import math
import random
import sqlite3
import sys
import time
from array import array
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import msgspec
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from collector.assess.rollup import Rollup
from collector.assess.tree import Tree
from collector.model import (
    Assessment,
    Frame,
    Health,
    Identity,
    Inventory,
    Kind,
    Layout,
    Location,
    Margin,
    MarginKind,
    Outcome,
    Quantity,
    Round,
    Subject,
    Update,
)
from collector.store import files, sql
from collector.store.parquet import Sealed
from collector.store.schema import DATABASE
from collector.store.writer import Writer
from tests.dashboard.invented import _WARM, Invented, condition, sled
from tests.dashboard.kept import Keeping

HOUR = 3600
SENSORS = 160
A_RACK, A_ROW = 16, 25
"""Sleds a rack, racks a row."""
WRONG = 0.01
"""Share of sleds with a fan that stands still."""
SILENT = 0.004
"""Share of controllers that do not answer."""


def name_of(number: int) -> str:
    """Sorts as it counts."""
    return f"n{number:05d}"


def place_of(number: int) -> Location:
    rack, seat = divmod(number, A_RACK)
    row, column = divmod(rack, A_ROW)
    return Location(
        site="Quellmark",
        row=f"{row + 1}",
        rack=f"R{column + 1:02d}",
        offset=float(2 * seat + 2),
        offset_unit="EIA_310",
        enclosure=f"E{seat // 4 + 1}",
    )


def made(number: int) -> Invented:
    """One sled with 160 sensors and about 60 parts."""
    it = sled(name_of(number), place_of(number), label=f"Sled {number % A_RACK + 1}")
    for blade in range(1, 5):
        host = it.part(f"Systems/{blade}")
        for module in range(8):
            it.add(
                f"Systems/{blade}/Memory/{module}",
                Kind.MEMORY,
                f"Memory {module}",
                host,
                identity=Identity(part_number=f"TG-M{3 + module % 2}", firmware="", serial=f"M{number}{blade}{module}"),
            )
    blades = [it.part(f"Chassis/Blade{blade}") for blade in range(1, 5)]
    more = SENSORS - len(it.sensors)
    for place in range(more):
        it.measure(blades[place % 4], f"temperature {place // 4}", Quantity.TEMPERATURE, "Cel", 40 + place % 30, _WARM)
    return it


def trouble(it: Invented, now: float) -> None:
    """A fan stands still, as in the small invented fleet; its blades are at risk."""
    fan = it.part("Chassis/Sled/ThermalSubsystem/Fans/2")
    it.own[fan] = Health.CRITICAL
    it.conditions.append(
        condition(
            it,
            fan,
            Health.CRITICAL,
            "Fan 2: speed 0 rpm is below lower critical 1000 rpm",
            now - 900.0,
            sensor="speed",
            subject=Subject.THRESHOLD,
        )
    )


def assessment(it: Invented, now: float) -> Assessment:
    tree = Tree(it.parts, it.links)
    rollup = Rollup(tree)
    rollup.update(
        {
            tree.at[part]: (health, sum(1 for each in it.conditions if each.part == part))
            for part, health in it.own.items()
        }
    )
    margins = [
        Margin(
            controller=it.name,
            part=each.part,
            kind=MarginKind.HEAT,
            time=now,
            value=level,
            limit=80.0,
            left=80.0 - level,
            unit="Cel",
            sensor=each.sensor,
        )
        for each, level in zip(it.sensors, it.levels, strict=True)
        if each.kind is Kind.PROCESSOR
    ]
    return Assessment(
        controller=it.name,
        time=now,
        opened=tuple(it.conditions),
        rolled=rollup.all(),
        lamps=it.lamps,
        margins=tuple(margins),
    )


def frame(it: Invented, at: float, chance: random.Random) -> Frame:
    swing = chance.randrange(-4, 5) / 2
    values = array("d", [level + swing for level in it.levels])
    return Frame(at, values, bytes([Health.OK]) * len(values))


def walks(controllers: int, began: float, now: float, chance: random.Random) -> Iterator[tuple[Invented, Update]]:
    for number in range(controllers):
        it = made(number)
        if chance.random() < WRONG:
            trouble(it, now)
        it.outcome = Outcome.TIMED_OUT if chance.random() < SILENT else Outcome.OK
        inventory = Inventory(
            controller=it.name,
            time=began,
            parts=tuple(it.parts),
            links=tuple(it.links),
            layout=Layout(it.name, tuple(it.sensors)),
            statuses=it.statuses,
            frame=frame(it, began, chance),
            product="Warden 3",
            redfish_version="1.20.0",
        )
        yield it, Update(controller=it.name, inventory=inventory, assessment=assessment(it, began))


async def build(state: Path, controllers: int, days: float, every: float, say: bool = True) -> float:
    """Make the store in an empty directory; the moment at which its newest rounds ended."""
    chance = random.Random(7)
    clock = time.time()
    now = clock
    first = math.floor(now / HOUR) * HOUR - 2 * HOUR  # the hour that will be sealed, two full ones stay hot
    moment = [float(first)]
    started = time.monotonic()

    def tell(words: str) -> None:
        if say:
            print(f"{time.monotonic() - started:6.0f} s  {words}", file=sys.stderr, flush=True)

    async with Writer(state, Keeping(2, days + 2), now=lambda: moment[0], batch_updates=512) as writer:
        writer.announce(version="0.1.0", poll_interval=60.0, listen="127.0.0.1:9460")
        writer.controllers([sled(name_of(n), place_of(n)).registered for n in range(controllers)])
        its = []
        for it, update in walks(controllers, first + 1.0, now, chance):
            its.append((it.name, it.levels, it.outcome, len(it.levels)))
            await writer.put(update)
        await writer.flush()
        tell(f"{controllers} controllers walked")
        at = first + every
        while at < now:
            for place, (name, levels, outcome, size) in enumerate(its):
                when = at + place * every / controllers
                if when >= now:
                    break
                bad = outcome is not Outcome.OK and when > now - 900
                swing = chance.randrange(-4, 5) / 2
                told = Frame(when, array("d", [level + swing for level in levels]), bytes([1]) * size)
                done = Round(
                    controller=name,
                    started=when - 0.4,
                    finished=when,
                    outcome=outcome if bad else Outcome.OK,
                    error="no answer within 24 s; look whether the controller hangs" if bad else "",
                    frame=None if bad else told,
                    requests=17,
                    bytes_received=46_000,
                )
                await writer.put(Update(controller=name, round=done))
            at += every
        await writer.flush()
        tell("rounds of the last hours written")
        moment[0] = first + 3 * HOUR + 1.0
        await writer.seal()
        tell("one hour sealed")
        moment[0] = now
    if days:
        copies(state, first, round(days * 24) - 1, tell)
    return now


def copies(state: Path, hour: int, hours: int, tell: object) -> None:
    """The sealed hour again for every hour before it, its times moved."""
    sealed_now = sorted((state / files.HISTORY).glob("*/*.parquet"))
    rows = []
    for path in sealed_now:
        table = pq.read_table(path)
        told = msgspec.json.decode(pq.read_metadata(path).metadata[b"sledkeeper"], type=Sealed)
        groups = [
            pq.ParquetFile(path).metadata.row_group(i).num_rows for i in range(pq.ParquetFile(path).num_row_groups)
        ]
        for back in range(1, hours + 1):
            begin = hour - back * HOUR
            moved = pc.add(table["time"].cast(pa.int64()), -back * HOUR * 1_000_000).cast(
                table.schema.field("time").type
            )
            again = table.set_column(table.schema.get_field_index("time"), table.schema.field("time"), moved)
            target = files.new_path(state, begin)
            mark = msgspec.structs.replace(
                told, hour=begin, earliest=told.earliest - back * HOUR, latest=told.latest - back * HOUR
            )
            with pq.ParquetWriter(
                target,
                table.schema.remove_metadata(),
                compression="zstd",
                use_dictionary=["controller", "part", "sensor", "source", "time", "value"],
                write_statistics=True,
                write_page_checksum=True,
            ) as out:
                start = 0
                for rows_in_group in groups:
                    out.write_table(again.slice(start, rows_in_group).replace_schema_metadata(None))
                    start += rows_in_group
                out.add_key_value_metadata({"sledkeeper": msgspec.json.encode(mark).decode()})
            rows.append(
                (
                    files.recorded_name(state, target),
                    begin,
                    mark.first_controller,
                    mark.last_controller,
                    mark.earliest,
                    mark.latest,
                    mark.last_frame,
                    mark.samples,
                    target.stat().st_size,
                )
            )
        tell(f"{path.name} written for {hours} hours more")  # type: ignore[operator]
    with closing(sqlite3.connect(state / DATABASE)) as connection:
        connection.executemany(sql.ADD_SEALED, rows)
        connection.commit()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("state", type=Path)
    parser.add_argument("--controllers", type=int, default=10_000)
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--every", type=float, default=600.0, help="seconds between two rounds of a controller")
    given = parser.parse_args()
    asyncio.run(build(given.state, given.controllers, given.days, given.every))
    return 0


if __name__ == "__main__":
    sys.exit(main())
