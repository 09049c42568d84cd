"""What stands beside the forms: how a lamp stands, who goes down, how far a request came."""

from __future__ import annotations

from collections.abc import Sequence

from collector.model import Fallen, Health, Lit, Part, Seconds
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.marks import css_name
from dashboard.views.places import named
from dashboard.views.words import age, count


def progress_line(text: str, settled: bool, good: bool) -> Ink:
    """How far a request came, in a sentence."""
    health = Health.UNKNOWN if not settled else Health.OK if good else Health.WARNING
    state = "under way" if not settled else "done" if good else "not done"
    word, colon, rest = text.partition(": ")  # the sentence begins with how far it came
    said = join(tag("b", word + colon), rest) if colon else text
    return tag("p", said, class_=f"came {css_name(health)}", role="status", data_came=state)


def lamp_told(bearer: Part, part: Part, shining: bool, lit: Lit | None, now: Seconds) -> Ink:
    """Whether the lamp that leads to a part is on, who asked for it and how long it stays."""
    whose = "Its locate lamp" if bearer.id == part.id else f"The locate lamp of {named(bearer)}, which leads to it,"
    if lit is not None and shining:
        left = max(lit.until - now, 0.0)
        words = join(
            f"{whose} is on, asked for by ", tag("b", lit.who), f" ({lit.why}); it goes off by itself in {age(left)}."
        )
    elif lit is not None:
        words = join(f"{whose} was asked for by ", tag("b", lit.who), " and is not told to be on yet.")
    else:
        words = join(f"{whose} is {'on; nobody asked for it from here' if shining else 'off'}.")
    return tag("div", tag("h3", "Locate lamp"), tag("p", words, data_lit=shining or "off"))


def hosts_named(label: str, hosts: Sequence[Fallen]) -> Ink:
    """Who goes down when the power of a part is switched."""
    listed = [tag("li", each.name, data_goes_down=each.part) for each in hosts]
    body: Ink = (
        join(tag("p", tag("b", f"{count(len(hosts), 'host')} would go down:")), tag("ul", *listed))
        if listed
        else tag("p", "No host runs on it that would go down.")
    )
    return tag("div", tag("h3", f"Power of {label}"), body)
