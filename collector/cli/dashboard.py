"""``sledkeeper dashboard``: the pages, from a state directory."""

from __future__ import annotations

import argparse
import os
import sys

from collector.cli.places import add_state, state_of


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser("dashboard", help="serve the pages from a state directory")
    add_state(parser)
    parser.add_argument("--port", type=int, default=8460, help="port to listen on (default: %(default)s)")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: %(default)s)")
    parser.add_argument(
        "--public-url",
        metavar="URL",
        help="where others reach the pages, for the codes on printed work orders (default: what the browser asked for)",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Become the server: its exit code is ours."""
    from dashboard.serve import checked_url, command, environment

    try:
        public_url = checked_url(arguments.public_url) if arguments.public_url is not None else ""
    except ValueError as error:
        print(f"sledkeeper dashboard: --public-url: {error}", file=sys.stderr)
        return 2
    state = state_of(arguments)
    print(f"pages on http://{arguments.host}:{arguments.port}/ from {state}", flush=True)
    argv = command(state, arguments.port, arguments.host)
    os.execve(argv[0], argv, {**os.environ, **environment(public_url)})  # noqa: S606 - our own interpreter, no shell
