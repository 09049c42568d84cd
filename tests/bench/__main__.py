"""``python -m tests.bench [NAME…]``: the benches, as ratios of one run; ``tests.bench.fleet`` stands apart."""

from __future__ import annotations

import importlib
import sys

NAMES = (
    "transport",
    "decode",
    "store",
    "round",
    "client",
    "requests",
    "looks",
    "watching",
    "seeking",
    "isolate",
    "pages",
)


def main(names: list[str]) -> int:
    """Run some benches, or all, one after the other."""
    unknown = [name for name in names if name not in NAMES]
    if unknown:
        print(f"no such bench: {', '.join(unknown)}; there are {', '.join(NAMES)}", file=sys.stderr)
        return 2
    for name in names or NAMES:
        for line in importlib.import_module(f"tests.bench.{name}").run():
            print(line, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
