"""``sledkeeper dashboard``: the pages, from a state directory."""

from __future__ import annotations

import argparse
import os

from collector.cli.places import add_state, state_of


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser("dashboard", help="serve the pages from a state directory")
    add_state(parser)
    parser.add_argument("--port", type=int, default=8460, help="port to listen on (default: %(default)s)")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: %(default)s)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Become the server: its exit code is ours."""
    from dashboard.serve import command, environment

    state = state_of(arguments)
    print(f"pages on http://{arguments.host}:{arguments.port}/ from {state}", flush=True)
    argv = command(state, arguments.port, arguments.host)
    os.execve(argv[0], argv, {**os.environ, **environment()})  # noqa: S606 - our own interpreter, no shell
