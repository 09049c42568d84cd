"""Making text that a controller told safe to show: one line, no control characters, bounded length."""

from __future__ import annotations

import unicodedata

_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""Unicode categories that a terminal or page acts on or hides: controls, bidi marks, surrogates, unassigned."""


_FORMULA = frozenset("=+-@\uff1d\uff0b\uff0d\uff20")
"""What a spreadsheet takes for the start of a formula, the wide forms too (OWASP, CSV Injection; there also tab,
carriage return and line feed, which :func:`plain` replaces)."""


def cell(text: str, limit: int = 10_000) -> str:
    """Text for a cell of a CSV file: plain, and no formula; common practice is a leading apostrophe."""
    shown = plain(text, limit)
    return "'" + shown if shown.lstrip()[:1] in _FORMULA else shown


def plain(text: str, limit: int = 200) -> str:
    """Text with what can't be seen replaced by U+FFFD and cut to ``limit`` characters, an ellipsis marking the cut."""
    head = text[:limit]
    if not head.isascii() or not head.isprintable():
        head = "".join("\ufffd" if unicodedata.category(char) in _HIDDEN else char for char in head)
    return head if len(text) <= limit else head[: limit - 1] + "…"


def shown_json(text: str) -> str:
    """JSON in which what can't be seen is escaped (RFC 8259, 7): the same to programs, harmless to a terminal."""
    if text.isascii():
        return text
    return "".join(
        _escaped(char) if not char.isascii() and unicodedata.category(char) in _HIDDEN else char for char in text
    )


def _escaped(char: str) -> str:
    units = char.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at] << 8 | units[at + 1]:04x}" for at in range(0, len(units), 2))
