"""Markup that is safe to show: every string that a controller told goes through here, and only here, onto a page.

The pages are well-formed XML (XHTML with SVG inside), so that tests read what people see.
"""

from __future__ import annotations

from urllib.parse import urlencode
from xml.sax.saxutils import escape, quoteattr

from collector.text import plain

LONG = 240
"""Characters of a controller's text that a page shows at most; names are cut much shorter where they are drawn."""


class Ink(str):
    """Markup made here. Whatever is not ``Ink`` is text, and is escaped when it is put into a tag."""

    __slots__ = ()


def text(words: str, limit: int = LONG) -> Ink:
    """Text made inert: controls and direction marks replaced, cut to ``limit`` characters, escaped."""
    return Ink(escape(plain(words, limit)))


def tag(name: str, /, *children: str | None, **attributes: str | float | bool | None) -> Ink:
    """One element. Attribute names take ``_`` for ``-`` and drop a trailing one; ``None`` and ``False`` leave out."""
    told = "".join(
        f" {_attribute(key)}={quoteattr(_value(value))}"
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    body = "".join(child if isinstance(child, Ink) else text(child) for child in children if child is not None)
    return Ink(f"<{name}{told}>{body}</{name}>" if body else f"<{name}{told}/>")


def join(*pieces: str | None) -> Ink:
    """Several pieces, one after the other."""
    return Ink("".join(piece if isinstance(piece, Ink) else text(piece) for piece in pieces if piece is not None))


def number(value: float, digits: int = 2) -> str:
    """A length or coordinate, short."""
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") or "0"


def sled_link(controller: str, **also: str) -> str:
    """Where a controller's sled page stands, whatever page of ours links to it."""
    return "./?" + urlencode({"sled": controller, **also})


def _attribute(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _value(value: str | float | bool) -> str:
    if isinstance(value, Ink):
        return value  # a long path, made here
    if isinstance(value, str):
        return plain(value, 1000)
    return "true" if value is True else number(value)
