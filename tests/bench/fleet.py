"""A fleet beside its simulator on this machine: rounds late, memory, CPU. Prints; asserts nothing."""

from __future__ import annotations

import argparse
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

from collector.store.reader import Reader


def main() -> int:
    """Run ``simulate`` and ``collect`` for a while, then stop them and print what they took and did."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--controllers", type=int, default=500)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--poll-interval", type=float, default=30.0)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as folder:
        for line in run(Path(folder), arguments.controllers, arguments.seconds, arguments.poll_interval):
            print(line, flush=True)
    return 0


def run(folder: Path, controllers: int, seconds: float, poll_interval: float) -> list[str]:
    """One run of a fleet of ``controllers`` for ``seconds`` after the simulator is ready."""
    simulator = _start(
        "simulate",
        *("--out", str(folder / "fleet")),
        *("--controllers", str(controllers)),
        *("--poll-interval", str(poll_interval)),
        *("--listen", "127.0.0.1:0"),
        output=subprocess.PIPE,
    )
    collector = None
    try:
        assert simulator.stdout is not None
        began = time.monotonic()
        if simulator.stdout.readline().strip() != "ready":
            return ["the simulator did not start"]
        ready = time.monotonic() - began
        collector = _start(
            "collect", "--config", str(folder / "fleet" / "fleet.toml"), "--state", str(folder / "state"), output=None
        )
        watched = {"collector": psutil.Process(collector.pid), "simulator": psutil.Process(simulator.pid)}
        memory: dict[str, list[int]] = {name: [] for name in watched}
        start = time.monotonic()
        while (elapsed := time.monotonic() - start) < seconds and collector.poll() is None:
            for name, process in watched.items():
                memory[name].append(process.memory_info().rss)
            time.sleep(min(2.0, max(0.0, seconds - elapsed)))
        cpu = {name: sum(process.cpu_times()[:2]) for name, process in watched.items()}
        return [f"simulator ready after {ready:.1f} s", *_report(folder / "state", seconds, memory, cpu)]
    finally:
        for child in (collector, simulator):
            if child is not None and child.poll() is None:
                child.send_signal(signal.SIGTERM)
                child.wait(timeout=60)


def _start(command: str, *argv: str, output: int | None) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-m", "collector.cli.main", command, *argv], stdout=output, text=True)


def _report(state: Path, seconds: float, memory: dict[str, list[int]], cpu: dict[str, float]) -> list[str]:
    reader = Reader(state)
    told = reader.controllers()
    rounds = sum(controller.rounds for controller in told)
    took = [controller.round_seconds for controller in told if controller.round_seconds is not None]
    readings = sum(reading.value is not None for reading in reader.readings())
    lines = [
        f"{len(told)} controllers, {readings} readings a round, {rounds} rounds in {seconds:.0f} s",
        f"rounds late {sum(c.late_rounds for c in told)}, failed {sum(c.failed_rounds for c in told)}",
        f"open conditions {len(reader.conditions())}, defects {sum(c.defects for c in told)}",
        f"newest round: median {statistics.median(took):.3f} s, longest {max(took):.3f} s"
        if took
        else "no round ended",
    ]
    for name, sizes in memory.items():
        lines.append(
            f"{name}: resident {max(sizes) / 1e6:.0f} MB at most, {sizes[-1] / 1e6:.0f} MB at the end; "
            f"CPU {cpu[name]:.1f} s = {cpu[name] / seconds:.1%} of one core"
        )
    if rounds and readings:
        per_reading = cpu["collector"] / (rounds * readings / len(told))
        lines.append(f"collector CPU a reading, walks and start included: {per_reading * 1e6:.1f} µs")
    return lines


if __name__ == "__main__":
    sys.exit(main())
