"""``sledkeeper dashboard``: the pages, from a state directory."""

from __future__ import annotations

import argparse
import importlib.util
import os
import sys
from pathlib import Path

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
    parser.add_argument(
        "--people",
        type=Path,
        metavar="FILE",
        help="who may do what, and how they sign in; without it, only who sits at this machine may have anything done",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Become the server: its exit code is ours."""
    from dashboard.people import NOBODY_SIGNS_IN, PeopleError, load
    from dashboard.serve import checked_url, command, environment, sign_in_secrets

    try:
        public_url = checked_url(arguments.public_url) if arguments.public_url is not None else ""
    except ValueError as error:
        print(f"sledkeeper dashboard: --public-url: {error}", file=sys.stderr)
        return 2
    state = state_of(arguments)
    try:
        people = NOBODY_SIGNS_IN if arguments.people is None else load(arguments.people)
    except PeopleError as error:
        for problem in error.problems:
            print(f"{error.path}: {problem}", file=sys.stderr)
        return 2
    if people.sign_in is not None and importlib.util.find_spec("authlib") is None:
        print("sledkeeper: signing in needs the package Authlib: pip install 'sledkeeper[people]'", file=sys.stderr)
        return 2
    made = sign_in_secrets(people)
    print(f"pages on http://{arguments.host}:{arguments.port}/ from {state}", flush=True)
    argv = command(state, arguments.port, arguments.host, people, None if made is None else made[0])
    given = environment(public_url, arguments.people)
    os.execve(argv[0], argv, {**os.environ, **given})  # noqa: S606 - our own interpreter, no shell
