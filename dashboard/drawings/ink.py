"""Markup that is safe to show: every string that a controller told goes through here, and only here, onto a page.

The pages are well-formed XML (XHTML with SVG inside), so that tests read what people see.
"""

from __future__ import annotations

import re
from functools import lru_cache
from urllib.parse import urlencode
from xml.sax.saxutils import escape, quoteattr

from collector.text import plain

_LONGEST = 1000
"""Characters of an attribute."""
LONG = 240
"""Characters of a controller's text that a page shows at most; names are cut much shorter where they are drawn."""


class Ink(str):
    """Markup made here. Whatever is not ``Ink`` is text, and is escaped when it is put into a tag."""

    __slots__ = ()


def text(words: str, limit: int = LONG) -> Ink:
    """Text made inert: controls and direction marks replaced, cut to ``limit`` characters, escaped."""
    return Ink(escape(plain(words, limit)))


def tag(name: str, /, *children: str | None, **attributes: str | float | bool | None) -> Ink:
    """One element. Attribute names take ``_`` for ``-`` and drop a trailing one; ``None`` and ``False`` leave out.

    The pages' hot path: a page is some thousands of these.
    """
    pieces = ["<", name]
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        pieces.append(_attribute(key))
        pieces.append(_quoted(value))
    pieces.append(">")
    bare = len(pieces)
    for child in children:
        if child is not None:
            pieces.append(child if isinstance(child, Ink) else text(child))
    if len(pieces) == bare or not any(pieces[bare:]):
        pieces[bare - 1 :] = ["/>"]
    else:
        pieces.append(f"</{name}>")
    return Ink("".join(pieces))


def join(*pieces: str | None) -> Ink:
    """Several pieces, one after the other."""
    return Ink("".join(piece if isinstance(piece, Ink) else text(piece) for piece in pieces if piece is not None))


def number(value: float, digits: int = 2) -> str:
    """A length or coordinate, short."""
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") or "0"


def sled_link(controller: str, **also: str) -> str:
    """Where a controller's sled page stands, whatever page of ours links to it."""
    return "./?" + urlencode({"sled": controller, **also})


@lru_cache(maxsize=1024)
def _attribute(key: str) -> str:
    return f" {key.rstrip('_').replace('_', '-')}="


_NOT_BARE = re.compile(r"[^ !#-%'-;=?-~]")
"""Anything but ASCII that can be seen and stands for itself between double quotes."""


def _quoted(value: str | float | bool) -> str:
    if isinstance(value, Ink):
        return quoteattr(value)  # a long path, made here
    if isinstance(value, str):
        if len(value) <= _LONGEST and _NOT_BARE.search(value) is None:
            return f'"{value}"'
        return quoteattr(plain(value, _LONGEST))
    return '"true"' if value is True else f'"{number(value)}"'
