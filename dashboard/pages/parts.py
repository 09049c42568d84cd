"""Parts, addressed as ``?page=parts``: ``find``, ``kind``, ``gone`` say what is sought, ``how`` narrows the misfits."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import streamlit as st

from collector.assess.fit import row_of
from collector.model import Kind, Misfitting
from dashboard.drawings.ink import join, tag
from dashboard.export import MOST, as_csv, as_json
from dashboard.mount import show
from dashboard.pages.common import now, refreshing, source, tidy, zone
from dashboard.panels.frame import foot, head, not_running
from dashboard.panels.parts import found, misfits, rates, search, turned
from dashboard.queries import Source
from dashboard.views.parts import by_kind, kinds_there, stay_row

TITLE = "Parts"
_LONGEST = 120
"""Characters of a search."""


def page(state: Path) -> None:
    """Draw the page, and again every few seconds."""
    tidy()
    refreshing(TITLE, lambda: _show(source(state), state))


def _show(store: Source, state: Path) -> None:
    moment, here = now(), zone()
    find = (st.query_params.get("find") or "")[:_LONGEST].strip()
    kind = next((each for each in Kind if each.value == st.query_params.get("kind")), None)
    gone = bool(st.query_params.get("gone"))
    how = next((each for each in Misfitting if each.value == st.query_params.get("how")), None)
    shelves = store.shelves
    lines, fitting = shelves.lines(), shelves.fitting()
    asked = bool(find) or kind is not None or gone
    held = shelves.found(find, kind, not gone) if asked else None
    parts = sum(line.parts for line in lines)
    show(
        "top",
        head(TITLE, join(tag("b", f"{parts:,}"), " parts seen since the first walk"), back=True),
        not_running(store.collector(), moment, state),
        search(find, kind, gone, kinds_there(lines)),
    )
    stays, number = (held.stays, held.number) if held is not None else ((), 0)
    show("found", found(stays, number, asked, gone, moment, here))
    if stays:
        _files("parts", "these parts", lambda: [stay_row(each) for each in shelves.every(find, kind, not gone, MOST)])
    show("misfits", misfits(fitting.first.get(how, ()), fitting.numbers, how, find, kind))
    if fitting.numbers:
        _files("misfits", "what does not fit", lambda: [row_of(*each) for each in shelves.misfits(MOST)])
    show("turned", turned(shelves.turned(), moment, here))
    show("rates", rates(by_kind(lines)))
    if lines:
        _files("ledger", "the failure rates", lambda: [each.row() for each in lines])
    show("foot", foot(moment, here), beat=moment)


def _files(name: str, words: str, rows: Callable[[], list[dict[str, Any]]]) -> None:
    """Buttons for two files, made when one is asked for."""
    with st.container(horizontal=True, gap="small"):
        for ending, mime, made in (("CSV", "text/csv", as_csv), ("JSON", "application/json", as_json)):
            st.download_button(
                f"{ending} of {words}",
                data=_made(made, rows),
                file_name=f"sledkeeper-{name}.{ending.lower()}",
                mime=mime,
                key=f"{name}-{ending}",
                on_click="ignore",
                type="tertiary",
            )


def _made(made: Callable[[list[dict[str, Any]]], bytes], rows: Callable[[], list[dict[str, Any]]]) -> Any:
    return lambda: made(rows())
