"""QR codes on work orders say what they should, as read by a decoder that is not of the library that wrote them."""

from __future__ import annotations

import re

import numpy as np
import pytest
import zxingcpp

from dashboard.drawings.qr import LONGEST, QUIET, code
from tests.dashboard.reading import one, parse

MODULE = 5
"""Pixels a module."""


def pixels(markup: str) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """The drawing as a grey picture: its path's rectangles, black on white."""
    svg = one(parse(markup), data_qr="true")
    side = int((svg.get("viewBox") or "").split()[2])
    picture = np.full((side * MODULE, side * MODULE), 255, dtype=np.uint8)
    path = next(each.get("d", "") for each in svg.iter() if each.get("class") == "qr-dark")
    runs = re.findall(r"M(\d+) (\d+)h(\d+)v1h-\3z", path)
    assert "".join(f"M{x} {y}h{wide}v1h-{wide}z" for x, y, wide in runs) == path
    for x, y, wide in runs:
        left, top = int(x) * MODULE, int(y) * MODULE
        picture[top : top + MODULE, left : left + int(wide) * MODULE] = 0
    return picture


@pytest.mark.parametrize(
    "words",
    [
        "http://127.0.0.1:8460/?sled=r01-e1-s2",
        "https://pages.example/rack/?sled=r01-e1-s2&place=r01-e1-s2%3A%2Fredfish%2Fv1%2FChassis%2FSled%2FThermal%23%2F0",
        "https://pages.example/?sled=" + "x" * 500,
    ],
)
def test_another_decoder_reads_what_was_written(words: str) -> None:
    markup = code(words, "to the sled page")
    assert markup is not None
    found = zxingcpp.read_barcodes(pixels(markup))
    assert [each.text for each in found] == [words]


def test_the_quiet_zone_is_four_modules_wide() -> None:
    markup = code("http://127.0.0.1:8460/?sled=a", "to the sled page")
    assert markup is not None
    picture = pixels(markup)
    edge = QUIET * MODULE
    assert QUIET == 4  # ISO/IEC 18004: four modules for QR Code, from memory
    assert picture[:edge].min() == picture[-edge:].min() == picture[:, :edge].min() == picture[:, -edge:].min() == 255
    assert picture[edge, edge] == 0


def test_what_no_paper_could_hold_is_not_drawn() -> None:
    assert code("x" * (LONGEST + 1), "too long") is None
    assert code("", "nothing") is None
