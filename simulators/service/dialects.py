"""Every way in which the simulated controllers speak the standard, by name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from simulators.service import both, classic, modern, odd, shelf, variants
from simulators.service.furnish import furnish
from simulators.service.query import Features
from simulators.service.tree import Tree
from simulators.site import Dialect, Equipment, Sled

PAGE = 5
"""Members on a page of the dialect with small pages."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Speech:
    """One dialect."""

    text: str
    """What is special about it, one sentence for a person."""
    build: Callable[[Sled], Tree]
    """The tree of sleds of a design."""
    conforming: bool = True
    pace: tuple[float, float] | None = None
    """Least and most seconds that a request takes, one after the other; None: no time of its own."""


DIALECTS: dict[Dialect, Speech] = {
    "modern": Speech(
        text="Sensor, ThermalSubsystem, PowerSubsystem and EnvironmentMetrics, with $expand and ETags.",
        build=modern.build,
    ),
    "classic": Speech(text="Thermal and Power, without queries and ETags.", build=classic.build),
    "both": Speech(
        text="The newer model and Thermal and Power beside it, whose values are some seconds older.", build=both.build
    ),
    "plain": Speech(
        text="The newer model without any query parameter and without ETags.",
        build=partial(modern.build, features=Features()),
    ),
    "small-pages": Speech(
        text=f"The newer model with collections in pages of {PAGE}.",
        build=partial(
            modern.build, features=Features(expand=".~*", max_levels=4, select=True, only=True, etags=True, page=PAGE)
        ),
    ),
    "slow": Speech(
        text="Thermal and Power from a small processor: one request at a time, 50 to 150 ms each.",
        build=classic.build,
        pace=(0.05, 0.15),
    ),
    "server": Speech(
        text="Both models, with resets, boot overrides and the network port that server profiles ask for.",
        build=both.build,
    ),
    "push": Speech(
        text="The newer model with events by push only, a log for each host, and $expand of one level.",
        build=variants.push,
    ),
    "reports": Speech(
        text="The newer model without $expand; a metric report brings every sensor at once, triggers keep limits.",
        build=variants.reports,
    ),
    "odd": Speech(
        text="Both models with every body wrong that is common; 'odd:NAME,NAME' for some of it.",
        build=odd.build,
        conforming=False,
    ),
}
"""Every dialect by name."""


def speech(dialect: Dialect) -> Speech:
    """The dialect of that name; ValueError, naming all, where there is none."""
    name, colon, _ = dialect.partition(":")
    if name not in DIALECTS or (colon and name != "odd"):
        raise ValueError(f"no dialect is called {dialect!r}; there are: {', '.join(DIALECTS)}")
    if colon:
        odd.chosen(dialect)  # refuses unknown ones
    return DIALECTS[name]


def tree(unit: Equipment) -> Tree:
    """All that the controllers of sleds or shelves like this one tell; ValueError for an unknown dialect."""
    one = speech(unit.dialect)
    return furnish(one.build(unit) if isinstance(unit, Sled) else shelf.build(unit), unit)


def describe() -> Iterator[str]:
    """A line for each dialect, then for each oddity."""
    for name, one in DIALECTS.items():
        yield f"{name}  {one.text}"
    for name, oddity in odd.ODDITIES.items():
        yield f"odd:{name}  {oddity.text}"
