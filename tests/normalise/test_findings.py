"""Defects are bounded in number and length, named once, and safe to show."""

from __future__ import annotations

from collector.model import Defect, DefectKind
from collector.normalise.findings import MAX_DEFECTS, Findings

WALKED = Defect(controller="n1", resource="/r", property="/a", kind=DefectKind.MISSING, detail="seen by the walk")


def test_a_place_is_blamed_once_for_one_kind() -> None:
    findings = Findings("n1", [WALKED])
    findings.add("/r", "/a", DefectKind.MISSING, "the same again")
    findings.add("/r", "/a", DefectKind.WRONG_TYPE, "something else")
    assert [defect.detail for defect in findings.take()] == ["seen by the walk", "something else"]
    findings.add("/r", "/a", DefectKind.WRONG_TYPE, "still")
    assert findings.take() == ()


def test_too_many_are_counted_in_the_end() -> None:
    findings = Findings("n1")
    for number in range(MAX_DEFECTS + 37):
        findings.add("/r", f"/{number}", DefectKind.MISSING, "is missing")
    taken = findings.take()
    assert len(taken) == MAX_DEFECTS + 1
    assert (taken[-1].kind, taken[-1].detail) == (DefectKind.TOO_BIG, "37 more defects are not listed")


def test_the_bound_holds_from_walk_to_walk_not_from_round_to_round() -> None:
    findings = Findings("n1", limit=3)
    kept = 0
    for number in range(10):
        findings.add("/r", f"/{number}", DefectKind.MISSING, "is missing")
        kept += sum(1 for defect in findings.take() if defect.kind is DefectKind.MISSING)
    assert kept == 3


def test_texts_are_shortened_and_show_no_controls() -> None:
    findings = Findings("n1")
    findings.add("/r\x00" * 1000, "/\u202e" * 1000, DefectKind.MISSING, "a\x1b[2Jb\nc" * 1000)
    (defect,) = findings.take()
    assert (len(defect.resource), len(defect.property), len(defect.detail)) == (500, 200, 300)
    assert (defect.resource + defect.property + defect.detail).isprintable()
