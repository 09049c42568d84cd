"""Rows for people and programs: table, JSON, CSV."""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, TextIO

import msgspec

from collector.text import cell, plain, shown_json

FORMATS = ("table", "json", "csv")

Row = Mapping[str, Any]


def iso(time: float | None) -> str | None:
    """ISO 8601 in UTC, to the millisecond."""
    if time is None:
        return None
    return datetime.fromtimestamp(time, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def rows(items: Sequence[Row], columns: Sequence[str], format: str, out: TextIO | None = None) -> None:
    """Write rows as a table of ``columns``, or whole as JSON (a list) or CSV (nested values as JSON in a cell)."""
    out = out if out is not None else sys.stdout
    if format == "json":
        out.write(shown_json(msgspec.json.format(msgspec.json.encode(list(items)), indent=2).decode()) + "\n")
    elif format == "csv":
        out.write(_csv(items, columns))
    else:
        out.write(_table(items, columns))


def _csv(items: Sequence[Row], columns: Sequence[str]) -> str:
    fields = list(items[0]) if items else list(columns)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(fields)
    for item in items:
        writer.writerow([_csv_cell(item[name]) for name in fields])
    return text.getvalue()


def _csv_cell(value: Any) -> Any:
    if value is None or isinstance(value, (int, float)):
        return value
    if not isinstance(value, str):
        return shown_json(msgspec.json.encode(value).decode())
    return cell(value)


def _table(items: Sequence[Row], columns: Sequence[str]) -> str:
    if not items:
        return "(none)\n"
    cells = [[_cell(item[name]) for name in columns] for item in items]
    numeric = [all(_is_number(item[name]) for item in items) for name in columns]
    widths = [max(len(name), *(len(row[i]) for row in cells)) for i, name in enumerate(columns)]
    lines = [_line(list(columns), widths, numeric)]
    lines += [_line(row, widths, numeric) for row in cells]
    return "\n".join(lines) + "\n"


def _line(row: Sequence[str], widths: Sequence[int], numeric: Sequence[bool]) -> str:
    aligned = (
        text.rjust(width) if right else text.ljust(width)
        for text, width, right in zip(row, widths, numeric, strict=True)
    )
    return "  ".join(aligned).rstrip()


def _is_number(value: Any) -> bool:
    return value is None or (isinstance(value, (int, float)) and not isinstance(value, bool))


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return plain(str(value), 72)
