"""What a service root declares in ProtocolFeaturesSupported (DSP8010 ServiceRoot), and what links it offers."""

from __future__ import annotations

from typing import Any

_FLAGS = (
    ("SelectQuery", "$select"),
    ("FilterQuery", "$filter"),
    ("TopSkipQuery", "$top and $skip"),
    ("OnlyMemberQuery", "only"),
    ("ExcerptQuery", "excerpt"),
    ("MultipleHTTPRequests", "several requests at once"),
)
_EXPANDS = (("NoLinks", "."), ("Links", "~"), ("ExpandAll", "*"))


def declared(root: dict[str, Any]) -> tuple[str, ...]:
    """The features declared, e.g. ``$expand (., 6 levels)``; anything misspelt counts as not declared."""
    told = root.get("ProtocolFeaturesSupported")
    told = told if isinstance(told, dict) else {}
    found = [name for flag, name in _FLAGS if told.get(flag) is True]
    expand = told.get("ExpandQuery")
    expand = expand if isinstance(expand, dict) else {}
    ways = [sign for flag, sign in _EXPANDS if expand.get(flag) is True]
    if ways:
        most = expand.get("MaxLevels")
        levels = most if expand.get("Levels") is True and type(most) is int and most > 0 else 1
        found.insert(0, f"$expand ({' '.join(ways)}, {levels} level{'s' if levels > 1 else ''})")
    return tuple(found)
