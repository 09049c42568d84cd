"""Ends of drives' lives in ``sledkeeper figures``: dates for people, seconds for programs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from collector.cli.main import main
from collector.model import Figure, FigureKind
from tests.store.invented import NOON, assessed, writer


@pytest.mark.parametrize("later", [True, False])
async def test_a_date_is_told_as_a_date_in_the_table_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], later: bool
) -> None:
    # 20,454 days after 1970-01-01 it is 2026-01-01 (by the calendar: 56 years, 14 of them leap years)
    at = 86_400.0 * 20_454
    end = Figure(
        controller="c1",
        part="c1:drive",
        kind=FigureKind.LIFE_ENDS,
        of="media life left",
        time=NOON,
        value=at,
        low=at - 86_400.0,
        high=at + 86_400.0 if later else None,
        unit="s",
        basis="12 % left",
    )
    async with writer(tmp_path, "c1") as opened:
        await opened.put(assessed("c1", figures=(end,)))
    assert main(["figures", "--state", str(tmp_path), "--format", "json"]) == 0
    (row,) = json.loads(capsys.readouterr().out)
    assert (row["value"], row["low"], row["high"], row["unit"]) == (end.value, end.low, end.high, "s")
    assert main(["figures", "--state", str(tmp_path)]) == 0
    table = capsys.readouterr().out
    assert "2026-01-01" in table
    assert "2025-12-31" in table
    assert ("2026-01-02" in table) is later
    assert "e+09" not in table
