"""The choices of a viewer as buttons, and the address that carries them."""

from __future__ import annotations

from dashboard.drawings.ink import Ink, tag
from dashboard.views.preferences import CHOICES, Choice, Preferences


def choices(now: Preferences, address: str) -> Ink:
    """Four choices of two ways each; ``address``: this page with the choices in it, to be shared."""
    return tag(
        "details",
        tag("summary", "Times, units and motion"),
        *(_choice(choice, now) for choice in CHOICES),
        tag(
            "p",
            "Kept in this browser. ",
            tag("a", "This page with these choices in its address", href=address),
            ", to share it.",
            class_="small",
        ),
        id="view",
        class_="view not-printed",
        data_block="view",
    )


def _choice(choice: Choice, now: Preferences) -> Ink:
    taken = choice.second(now)
    ways = [
        tag(
            "button",
            label,
            class_="pick",
            type="button",
            data_prefer=word,
            aria_pressed="true" if taken is bool(place) else "false",
        )
        for place, (word, label) in enumerate(zip(choice.words, choice.labels, strict=True))
    ]
    return tag(
        "div", tag("span", choice.name, class_="of"), *ways, class_="choices", role="group", aria_label=choice.name
    )
