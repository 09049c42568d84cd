"""A QR code (ISO/IEC 18004) as a drawing: dark modules in one path, the quiet zone of four modules around them."""

from __future__ import annotations

import segno

from dashboard.drawings.ink import Ink, tag

QUIET = 4
"""Modules left free on each side, as the standard asks for."""
LONGEST = 600
"""Characters; what is longer makes modules too small to be read off paper."""


def code(words: str, name: str) -> Ink | None:
    """The code that says ``words``; None where they are too long to be read off paper.

    ``name``: what it is, for those who don't see it.
    """
    if not words or len(words) > LONGEST:
        return None
    matrix = segno.make_qr(words, error="m").matrix
    side = len(matrix) + 2 * QUIET
    return tag(
        "svg",
        tag("rect", width=side, height=side, class_="qr-ground"),
        tag("path", d=Ink("".join(_runs(matrix))), class_="qr-dark"),
        xmlns="http://www.w3.org/2000/svg",
        class_="qr",
        viewBox=f"0 0 {side} {side}",
        role="img",
        aria_label=name,
        data_qr=True,
    )


def _runs(matrix: tuple[bytearray, ...]) -> list[str]:
    """Each row's stretches of dark modules as closed rectangles."""
    found = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            if not row[x]:
                x += 1
                continue
            end = x
            while end < len(row) and row[end]:
                end += 1
            found.append(f"M{x + QUIET} {y + QUIET}h{end - x}v1h-{end - x}z")
            x = end
    return found
