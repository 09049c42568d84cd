"""The ``sledkeeper`` command: one subcommand a module of this package."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib.metadata import version

from collector.cli import (
    asking,
    care,
    check,
    collect,
    dashboard,
    demo,
    drill,
    fit,
    history,
    ledger,
    plan,
    readers,
    simulate,
)
from collector.poll.listener import CannotListen
from collector.poll.memory import MemoryUnusable
from collector.publish.errors import PublishError
from collector.settings import SettingsError
from collector.store.errors import StoreError

FINE, FLEET_TROUBLE, WRONG_USE = 0, 1, 2
"""Exit codes: all fine; something in the fleet is not; the command or a file is wrong."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; errors that a person can mend end as a message on stderr and exit code 2."""
    parser = argparse.ArgumentParser(prog="sledkeeper", description="Out-of-band health of racks of dense sleds.")
    parser.add_argument("--version", action="version", version=version("sledkeeper"))
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for module in (demo, collect, check, plan, dashboard, simulate, readers, fit, history, ledger, care, asking, drill):
        module.add(commands)
    arguments = parser.parse_args(argv)
    try:
        code: int = arguments.run(arguments)
    except SettingsError as error:
        for problem in error.problems:
            print(f"{error.path}: {problem}", file=sys.stderr)
        return WRONG_USE
    except (StoreError, PublishError, MemoryUnusable, CannotListen) as error:
        print(f"sledkeeper: {error}", file=sys.stderr)
        return WRONG_USE
    except BrokenPipeError:
        # The reader of our output went away (| head): not an error of ours. Keep the interpreter from saying so.
        sys.stderr.close()
        return FINE
    except KeyboardInterrupt:
        return 130
    return code


if __name__ == "__main__":
    sys.exit(main())
