"""Rows as files that people take away: CSV after RFC 4180 that no spreadsheet takes for formulas, and JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from collector.text import cell

MOST = 100_000
"""Rows in a file."""
_TIMES = frozenset({"since", "until", "opened", "time"})


def as_csv(rows: Sequence[dict[str, Any]]) -> bytes:
    """A head and a line a row, UTF-8 with a mark at its beginning, by which spreadsheets know it; empty for no rows."""
    if not rows:
        return b""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(rows[0])
    for row in rows:
        writer.writerow([_cell(name, value) for name, value in row.items()])
    return text.getvalue().encode("utf-8-sig", "replace")


def as_json(rows: Sequence[dict[str, Any]]) -> bytes:
    """A list of objects, times as ISO 8601 in UTC; what was told stands as it was told, escaped as JSON has it."""
    told = [{name: _iso(value) if name in _TIMES else value for name, value in row.items()} for row in rows]
    return json.dumps(told, indent=1).encode()


def _cell(name: str, value: Any) -> Any:
    if name in _TIMES:
        return _iso(value)
    return cell(value) if isinstance(value, str) else value


def _iso(value: float | None) -> str | None:
    return None if value is None else datetime.fromtimestamp(value, UTC).isoformat(timespec="seconds")
