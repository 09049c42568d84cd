"""Figures on pages: words, bounds and order, and what stands where nothing is known yet."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from collector.model import Figure, FigureKind, Identity, Kind, Location, Part
from dashboard.panels.worked import drew, ending, worked_block
from dashboard.views.units import Units
from dashboard.views.worked import NOT_YET, Worked, amount_words, endings, racks_drew, worked


def figure(part: str, kind: FigureKind, value: float, unit: str, **more: object) -> Figure:
    plain = Figure(controller=None, part=part, kind=kind, time=100.0, value=value, unit=unit, basis="read")
    return Figure(**{name: getattr(plain, name) for name in plain.__struct_fields__} | more)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (13.46, "K", "13.5 K"),
        (0.06384, "m3/s", "0.0638 m³/s"),
        (1.04, "1", "1.04 times"),
        (2310.4, "W", "2,310 W"),
        (8.28e6, "J", "2.30 kWh"),  # 3.6 MJ are a kilowatt-hour (SI Brochure, table 8)
    ],
)
def test_amounts_in_words(value: float, unit: str, words: str) -> None:
    assert amount_words(value, unit) == words


def test_air_in_cubic_feet_where_asked_for() -> None:
    # 1 ft = 0.3048 m exactly (NIST SP 811, appendix B.8): 0.0638 m3/s are 135.2 ft3/min
    assert amount_words(0.0638, "m3/s", Units(cfm=True)).startswith("135.2 ")


def test_figures_come_by_part_and_kind_with_their_bounds() -> None:
    told = [
        figure("c:/blade2", FigureKind.AIR_FLOW, 0.02, "m3/s"),
        figure("c:/blade1", FigureKind.PEAK_POWER, 400.0, "W"),
        figure("c:/blade1", FigureKind.AIR_RISE, 13.0, "K", low=12.1, high=14.1),
    ]
    lines = worked(told, {})
    assert [(line.figure.part, line.figure.kind) for line in lines] == [
        ("c:/blade1", FigureKind.AIR_RISE),
        ("c:/blade1", FigureKind.PEAK_POWER),
        ("c:/blade2", FigureKind.AIR_FLOW),
    ]
    assert [line.bounds for line in lines] == ["12.1 to 14.1 K", "", ""]


def test_racks_stand_by_their_peaks_and_one_that_has_none_yet_says_so() -> None:
    rows = racks_drew(
        [
            figure("B", FigureKind.PEAK_POWER, 3000.0, "W"),
            figure("A", FigureKind.PEAK_POWER, 9000.0, "W"),
            figure("C", FigureKind.BUSBAR_CURRENT, 120.0, "A"),
        ]
    )
    assert [(row.rack, row.peak, row.current) for row in rows] == [
        ("A", "9,000 W", "–"),
        ("B", "3,000 W", "–"),
        ("C", "–", "120.0 A"),
    ]
    assert [row.basis for row in rows] == ["read", "read", NOT_YET]
    page = ET.fromstring(drew(rows) or "")
    said = {row.get("data-rack-drew"): "".join(row.itertext()) for row in page.iter("tr") if row.get("data-rack-drew")}
    assert list(said) == ["A", "B", "C"]
    assert NOT_YET in said["C"]
    assert NOT_YET not in said["A"] + said["B"]
    assert [row.rack for row in racks_drew([figure("A", FigureKind.ENERGY, 1.0, "J")], "B")] == []
    assert drew(()) is None


def test_lives_that_end_stand_by_their_dates_with_what_to_order() -> None:
    def ends(part: str, days: float, **more: object) -> Figure:
        return figure(part, FigureKind.LIFE_ENDS, 86_400.0 * days, "s", controller="c", of="media life left", **more)

    drives = {
        f"c:/d{at}": Part(
            id=f"c:/d{at}",
            controller="c",
            kind=Kind.DRIVE,
            name=f"Drive {at}",
            uri=f"/d{at}",
            location=Location(rack="R02", sled="3"),
            identity=Identity(part_number="WD-<b>" if at else None),
        )
        for at in (0, 1)
    }
    # 20,454 days after 1970-01-01 it is 2026-01-01 (by the calendar: 56 years, 14 of them leap years)
    told = [
        ends("c:/d1", 20_464.0, low=86_400.0 * 20_454.0, high=None),
        ends("c:/d0", 20_454.0, low=86_400.0 * 20_453.0, high=86_400.0 * 20_455.0),
        ends("c:/pulled", 1.0),
    ]
    first, second = endings(told, drives)
    assert (first.at, first.bounds, first.number) == ("2026-01-01", "2025-12-31 to 2026-01-02", "–")
    assert (second.at, second.bounds, second.number) == ("2026-01-11", "2026-01-01 or later", "WD-<b>")
    page = ET.fromstring(ending((first, second), 40) or "")
    said = ["".join(line.itertext()) for line in page.iter("li")]
    assert len(said) == 2
    assert "part number WD-<b>" in said[1]
    assert "R02" in said[0]
    assert "all that the samples carry a date for" in "".join(page.itertext())
    assert "the 2 soonest" in (ending((first, second), 2) or "")
    assert ending((), 40) is None
    (line, *_) = worked(told[:1], drives)
    assert (line.value, line.bounds) == ("2026-01-11", "2026-01-01 or later")
    assert line.name.endswith("media life left")
    assert worked(told[2:], {})[0].bounds == ""


def test_the_front_parts_own_figures_are_not_folded() -> None:
    of_all = worked(
        [figure("c:/sled", FigureKind.AIR_RISE, 13.0, "K"), figure("c:/blade1", FigureKind.AIR_RISE, 9.0, "K")], {}
    )
    page = ET.fromstring(worked_block(of_all, "c:/sled") or "")
    folded = {line.get("data-figure-part") for fold in page.iter("details") for line in fold.iter("li")}
    assert folded == {"c:/blade1"}
    assert {line.get("data-figure-part") for line in page.iter("li")} == {"c:/sled", "c:/blade1"}
    assert worked_block((), None) is None


def test_what_a_controller_says_in_a_figure_is_no_markup() -> None:
    line = Worked(figure("c:/<b>", FigureKind.AIR_RISE, 1.0, "K", basis="<script>"), "<i>x</i>", "1.0 K", "")
    page = ET.fromstring(worked_block((line,), "c:/<b>") or "")
    assert not list(page.iter("script"))
    assert not list(page.iter("i"))
    assert "<script>" in "".join(page.itertext())
