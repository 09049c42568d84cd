"""What every page has: head, notices, the key to the marks, foot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from pathlib import Path

from collector.model import CollectorState, Health, Seconds
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.marks import at_risk, worded
from dashboard.drawings.things import Standing
from dashboard.views.telemetry import Running, running, said
from dashboard.views.words import clock

PAGES = (
    ("Rounds", "./"),
    ("Work orders", "./?page=orders"),
    ("Lamp reader", "./?page=lamps"),
    ("Margins", "./?page=margins"),
    ("Parts", "./?page=parts"),
    ("Controllers", "./?page=controllers"),
)
"""The pages of the whole fleet."""


def head(title: str, told: Ink | None = None, back: bool = False) -> Ink:
    """The page's name, the way to the others, and one line under it."""
    mast = tag("span", "sledkeeper", class_="mast")
    if back:
        mast = tag("span", tag("a", "← Rounds", href="./"), class_="mast")
    return tag(
        "header",
        tag("div", mast, tag("h1", title), _ways(title), class_="head"),
        tag("p", told, class_="told") if told is not None else None,
    )


def _ways(title: str) -> Ink:
    ways = [tag("a", name, href=href, aria_current="page" if name == title else None) for name, href in PAGES]
    return tag("nav", *ways, class_="ways", aria_label="Pages")


def notice(health: Health, *paragraphs: str | Ink, name: str) -> Ink:
    """A framed word that must not be missed; ``name`` tells tests which one it is."""
    return tag(
        "section",
        *(tag("p", paragraph) for paragraph in paragraphs),
        class_=f"notice is-{health.word.lower()}",
        role="status",
        data_notice=name,
    )


def how_to_start(state_dir: Path) -> Ink:
    """The command that starts a collector on a state directory."""
    return join("Start it with ", tag("code", f"sledkeeper collect --config FLEET.toml --state {state_dir}"), ".")


def nothing_yet(state_dir: Path) -> Ink:
    """Said where there is no state directory, or nothing in it."""
    return notice(
        Health.UNKNOWN,
        "Nothing has been collected here yet.",
        join("There is no state in ", tag("code", str(state_dir)), "."),
        how_to_start(state_dir),
        join("Or look at an invented site: ", tag("code", "sledkeeper demo"), "."),
        name="nothing-yet",
    )


def unreadable(problem: str, advice: str) -> Ink:
    """Said where the state directory can't be read as it is."""
    return notice(
        Health.CRITICAL,
        "The state directory can't be read.",
        f"{problem[:1].upper()}{problem[1:]}.",
        f"What to do: {advice}.",
        "This page looks again by itself.",
        name="unreadable",
    )


def not_running(state: CollectorState | None, now: Seconds, state_dir: Path) -> Ink | None:
    """Said where no collector runs; None where one does."""
    how = running(state, now)
    if how is Running.YES:
        return None
    last = "" if how is Running.NEVER else " What follows is what it knew last, not what is now."
    return notice(Health.WARNING, said(state, now) + last, how_to_start(state_dir), name=f"collector-{how.value}")


KEY = tag(
    "ul",
    *(tag("li", worded(Standing(health))) for health in (Health.OK, Health.WARNING, Health.CRITICAL, Health.UNKNOWN)),
    tag("li", at_risk("at risk through a part outside it, also hatched")),
    class_="legend",
    aria_label="What the marks mean",
)
"""The key to the marks."""


def foot(now: Seconds, zone: tzinfo | None) -> Ink:
    """When this was read, and in which time."""
    moment = datetime.fromtimestamp(now, zone or UTC).strftime("%Y-%m-%d")
    whose = "UTC" if zone is None else "of this browser's time zone, UTC in brackets"
    words = f"Read {moment} {clock(now, now, zone)}. Times are {whose}; the page looks again by itself."
    return tag("footer", tag("p", words, class_="small"), class_="foot")


def folded(lines: Sequence[Ink], word: str) -> Ink | None:
    """Further lines of a list, to be unfolded; None when there are none."""
    if not lines:
        return None
    return tag(
        "details", tag("summary", f"{len(lines)} {word}"), tag("ol", *lines, class_="lines"), id=f"folded-{word}"
    )
