"""The parts page: what it says, draws and hands out as files."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import openpyxl
import pytest

from collector.assess.fit import row_of
from collector.assess.ledger import Line
from collector.model import Identity, Kind, Stay, Turn
from collector.text import cell
from dashboard.drawings.rates import axis, rate
from dashboard.export import as_csv, as_json
from dashboard.queries import Source
from dashboard.views.parts import by_kind, decades, figure, hours_words, rate_words, stay_row, turned_words
from tests.dashboard.invented import DRIVE, FAN
from tests.dashboard.reading import find, one, parse, words
from tests.dashboard.test_ink import HOSTILE
from tests.dashboard.test_pages import visit, whole

FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", "\uff1d1+1"]


def line(kind: Kind = Kind.FAN, failures: int = 0, hours: float = 1000.0, **more: object) -> Line:
    given = {
        "part_number": "FN-1",
        "model": None,
        "firmware": None,
        "parts": 4,
        "rate": 1e6 * failures / hours,
        "low": 300.0 if failures else 0.0,
        "high": 4000.0,
        "p": None,
        "more_than_its_kind": False,
    }
    return Line(kind=kind, failures=failures, hours=hours, **{**given, **more})  # type: ignore[arg-type]


def test_kinds_that_fail_come_first_and_loud_ones_before_them() -> None:
    loud = line(Kind.DRIVE, 1, 9000.0, more_than_its_kind=True, p=1e-5)
    groups = by_kind([line(Kind.PUMP), line(Kind.FAN, 2), loud, line(Kind.DRIVE, hours=50.0)])
    assert [(each.kind, each.failures) for each in groups] == [(Kind.DRIVE, 1), (Kind.FAN, 2), (Kind.PUMP, 0)]
    assert groups[0].lines[0] is loud
    assert groups[1].rate == pytest.approx(2000.0)
    assert groups[2].rate is None


def test_a_scale_holds_every_limit_and_leaves_room_where_there_is_no_lower_one() -> None:
    assert decades([line(failures=1)]) == (2, 4)
    assert decades([line(failures=1, high=900.0)]) == (2, 3)
    assert decades([line()]) == (2, 4)
    assert decades([line(high=None, low=None, rate=None)]) == (0, 3)


def test_rates_and_hours_in_words() -> None:
    assert rate_words(line()) == "at most 4,000 a million hours (90 % limit)"
    assert rate_words(line(failures=1)) == "1,000 a million hours, 90 % limits 300 to 4,000"
    assert rate_words(line(high=None)) == "no hours yet"
    assert [figure(value) for value in (0.0, 0.314, 12.4, 1337.0, 61e6)] == ["0", "0.31", "12", "1,300", "61 million"]
    assert (hours_words(0.4), hours_words(1234.0)) == ("24 min", "1,234 h")


def test_the_drawing_spans_the_limits_on_a_scale_of_powers_of_ten() -> None:
    """A rate of 1,000 between 100 and 10,000 stands in the middle; both limits at the ends."""
    drawn = parse(rate(100.0, 1000.0, 10_000.0, 1000.0, (2, 4)))
    span = next(each for each in drawn.iter() if each.get("class") == "span")
    left, wide = float(span.get("x", "")), float(span.get("width", ""))
    needle = next(each for each in drawn.iter() if each.get("class") == "needle")
    assert needle.get("d", "").startswith(f"M{left + wide / 2:.1f} ")
    usual = next(each for each in drawn.iter() if each.get("class") == "usual")
    assert usual.get("d", "").split()[0] == needle.get("d", "").split()[0]
    nothing = parse(rate(0.0, 0.0, 4000.0, None, (2, 4)))
    assert not [each for each in nothing.iter() if each.get("class") in ("needle", "usual", "span")]
    assert [each.get("x") for each in nothing.iter() if each.get("class") == "span open"] == ["0"]
    assert words(parse(axis(2, 4))) == "100 1,000 10,000"


def gone(**more: object) -> Stay:
    given = {
        "identity": Identity(serial="F1", firmware="1.0"),
        "until": 20.0,
        "ended": Turn.SWAPPED,
        "name": "Fan 1",
        "kind": Kind.FAN,
    }
    return Stay(
        controller="c",
        position="c:/f",
        part="c:/f",
        since=10.0,
        began=Turn.APPEARED,
        **{**given, **more},  # type: ignore[arg-type]
    )


def test_what_was_changed_in_words() -> None:
    new = gone(identity=Identity(serial="F2"), until=None, ended=None)
    assert turned_words(gone(), new) == "F1 swapped; now F2"
    assert turned_words(gone(ended=Turn.MISSING), None) == "F1 missing; nothing stands there now"
    newer = gone(identity=Identity(serial="F1", firmware="1.2"), until=None, ended=None)
    assert turned_words(gone(ended=Turn.FIRMWARE), newer) == "F1 firmware changed; now firmware 1.2, was 1.0"
    assert turned_words(gone(ended=Turn.MOVED, went_to="d:/a/Bay2"), None).startswith("F1 moved; went to Bay2")


@pytest.mark.parametrize("told", [*FORMULAS, *HOSTILE])
def test_no_cell_of_a_file_is_a_formula_or_hides_anything(told: str, tmp_path: Path) -> None:
    """Read back by the csv module and, as a spreadsheet would hold it, by openpyxl (a cell that begins with = is one).

    Source of the characters: OWASP, CSV Injection.
    """
    rows = [stay_row(gone(name=told, identity=Identity(serial=told, part_number=told)))]
    read = list(csv.DictReader(io.StringIO(as_csv(rows).decode("utf-8-sig"))))
    assert len(read) == 1
    book = openpyxl.Workbook()
    assert book.active is not None
    for value in (read[0]["name"], read[0]["serial"], read[0]["part_number"]):
        assert value.strip()[:1] not in set("=+-@\uff1d\uff0b\uff0d\uff20")
        assert not set(value) & set("\x1b\x00\r\n\t\u202e\u2066\u2069")
        book.active.append([value])
    assert {row[0].data_type for row in book.active.iter_rows()} == {"s"}
    assert json.loads(as_json(rows))[0]["name"] == told
    assert cell(told) == read[0]["name"]


def test_files_tell_times_in_utc_and_leave_out_what_is_not_told() -> None:
    rows = [stay_row(gone())]
    (read,) = csv.DictReader(io.StringIO(as_csv(rows).decode("utf-8-sig")))
    assert (read["since"], read["model"]) == ("1970-01-01T00:00:10+00:00", "")
    assert json.loads(as_json(rows))[0]["until"] == "1970-01-01T00:00:20+00:00"
    assert as_csv([]) == b""
    assert json.loads(as_json([])) == []


def test_the_page_finds_parts_by_serial_place_and_kind(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, page="parts", find="f2"))
    row = one(page, data_part_found="F2")
    assert "Quellmark / A / R01" in words(row)
    assert one(row, href=f"./?sled=r01-s2&place={FAN.replace(':', '%3A').replace('/', '%2F')}") is not None
    page = whole(visit(filled[0], monkeypatch, page="parts", find="r02", kind="drive"))
    found = find(page, data_part_found="")
    assert found
    assert all("/ R02 /" in words(each) and " drive " in f" {words(each)} " for each in found)
    page = whole(visit(filled[0], monkeypatch, page="parts", find="nothing like it"))
    assert "No part is like that" in words(page)
    page = whole(visit(filled[0], monkeypatch, page="parts", gone="1"))
    assert one(page, data_part_found="F1") is not None


def test_the_page_tells_rates_misfits_and_changes(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(filled[0], monkeypatch, page="parts"))
    assert "Search for a part number" in words(one(page, data_block="found"))
    wrong = one(page, data_misfit="wrong")
    assert wrong.get("data-of") == DRIVE
    assert "part number QD-7" in words(wrong)
    assert len(find(page, data_misfit="")) == 2
    narrowed = whole(visit(filled[0], monkeypatch, page="parts", how="firmware behind"))
    assert [each.get("data-misfit") for each in find(narrowed, data_misfit="")] == ["firmware behind"]
    assert "F1 swapped; now F2" in words(one(page, data_turned="F1"))
    fans = one(page, data_section="fan")
    assert fans.get("open") == "true"
    assert "1 failure" in words(fans)
    assert sum(int(each.get("data-failures", "0")) for each in find(page, data_ledger="")) == 1


def test_a_file_of_misfits_tells_the_place_of_each_sled(source: Source) -> None:
    rows = [row_of(*each) for each in source.shelves.misfits(10)]
    assert {row["how"] for row in rows} == {"wrong", "firmware behind"}
    assert {row["place"] for row in rows} == {"Quellmark / A / R02 / U3 / E1 / Sled 1"}
    assert [row_of(each, None)["place"] for each, _ in source.shelves.misfits(1)] == [DRIVE.partition(":")[0]]
