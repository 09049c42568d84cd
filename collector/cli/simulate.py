"""``sledkeeper simulate``: an invented fleet of controllers on loopback."""

from __future__ import annotations

import argparse
from pathlib import Path


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "simulate",
        help="serve an invented fleet on loopback; writes DIR/fleet.toml and says 'ready'",
        description="Serve an invented fleet of Redfish controllers on loopback. Writes DIR/fleet.toml with all that "
        "a collector needs, then says 'ready' on standard output.",
    )
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for fleet.toml, CA and secret")
    parser.add_argument("--controllers", type=int, metavar="N", help="how many (default: the demo site)")
    parser.add_argument(
        "--dialect", metavar="NAME", help="how all sleds' controllers speak the standard; '--dialect list' names all"
    )
    parser.add_argument("--seconds", type=float, metavar="N", help="stop after so long (default: until interrupted)")
    add_fault_options(parser)
    parser.add_argument("--seed", type=int, default=1, help="of workloads and noise (default: %(default)s)")
    parser.add_argument("--poll-interval", type=float, default=30.0, metavar="S", help="for fleet.toml, in seconds")
    parser.add_argument("--listen", default="127.0.0.1:9460", metavar="HOST:PORT", help="for fleet.toml: metrics")
    parser.set_defaults(run=run)


def add_fault_options(parser: argparse.ArgumentParser) -> None:
    """Add ``--fault``, ``--time-factor`` and ``--allow-power``."""
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="NAME@PART[+S]",
        help="switch a fault on, S seconds after 'ready'; may be repeated; '--fault list' names all",
    )
    parser.add_argument(
        "--time-factor", type=float, default=1.0, metavar="X", help="simulated seconds a second (default: %(default)s)"
    )
    parser.add_argument(
        "--allow-power", action="store_true", help="let hosts be switched and restarted: [actions] power in fleet.toml"
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve until interrupted or the time is up."""
    from simulators.serve import run_simulate

    return run_simulate(
        out=arguments.out,
        controllers=arguments.controllers,
        seconds=arguments.seconds,
        faults=arguments.fault,
        seed=arguments.seed,
        time_factor=arguments.time_factor,
        dialect=arguments.dialect,
        poll_interval=arguments.poll_interval,
        listen=arguments.listen,
        power=arguments.allow_power,
    )
