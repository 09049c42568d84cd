"""The readings of a sled as a table, and the history of one of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from collector.model import Health, History, Seconds
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.drawings.trace import chart, strip
from dashboard.views.readings import ReadingLine, Section
from dashboard.views.trend import Trend
from dashboard.views.words import age, clock, count

OLD = 180.0
"""Seconds after which a reading's age is written beside it."""
SPANS = {"15 min": 900.0, "1 h": 3600.0, "6 h": 21600.0, "24 h": 86400.0}
"""How far back a history can look, s."""
DEFAULT_SPAN = "1 h"
_SHORTEST = 300.0
"""Seconds that a time axis shows at least."""


def readings(groups: Sequence[Section], now: Seconds, zone: tzinfo | None) -> Ink:
    """Every reading with its nearest limit and margin, by blade, folded; a pick opens its part with its history."""
    lines = [line for group in groups for line in group.lines]
    told = sum(1 for line in lines if line.value is not None)
    title = tag(
        "h2", "Readings", tag("span", f"{told} of {len(lines)} have a value", class_="count") if lines else None
    )
    if not lines:
        words = "The controller tells of no sensor."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="readings")
    folds = [_section(group, now, zone) for group in groups]
    return tag("section", title, *folds, data_block="readings")


def _section(group: Section, now: Seconds, zone: tzinfo | None) -> Ink:
    troubled = group.worst > Health.OK
    said = count(len(group.lines), "reading")
    if (closest := group.closest) is not None:
        said += f"; closest to a limit: {closest.sensor.sensor}, {closest.margin}"
    summary = tag(
        "summary",
        tag("h3", group.name),
        " ",
        worded(Standing(group.worst)) if troubled else None,
        tag("span", f" {said}", class_="small"),
    )
    rows = table(group.lines, None, None, now, zone, verb="reading")
    return tag("details", summary, rows, id=f"of-{group.part}", data_section=group.part)


def history(
    line: ReadingLine,
    samples: History,
    span: str,
    since: Seconds,
    now: Seconds,
    zone: tzinfo | None,
    trend: Trend | None = None,
    wear: str = "",
) -> Ink:
    """The history of one sensor with its thresholds, its trend, and how far back to look.

    ``wear``: what is said of a drive's life or of errors, in the trend's stead. The time axis begins at ``since``, or
    with the first sample where that is later.
    """
    unit = line.unit
    begin = min(max(since, samples.times[0]), now - _SHORTEST) if samples.times else since
    drawn = chart(samples, line.lines, begin, now, unit, zone)
    quantity = line.sensor.quantity.value + (f" in {unit}" if unit else "")
    axis = f"{quantity}, times {'UTC' if zone is None else 'of your clock'}"
    body = (
        join(drawn, tag("p", f"{axis}; {_told(samples)}", class_="small"))
        if drawn
        else tag("p", f"No sample in the last {age(now - since)}.", class_="nothing")
    )
    spans = [
        tag(
            "button",
            words,
            type="button",
            class_="pick span",
            data_pick=f"span={words}",
            aria_pressed="true" if words == span else "false",
        )
        for words in SPANS
    ]
    said = None
    if wear:
        said = tag("p", f"Wear: {wear}.", data_wear=True)
    elif trend is not None:
        forecast = f"; {trend.forecast}" if trend.forecast else ""
        said = tag("p", f"Trend: {trend.says}{forecast}.", data_trend=True)
    return tag("div", tag("p", "look back ", *spans, class_="small spans"), body, said, data_history=line.key)


def _told(samples: History) -> str:
    gaps = sum(1 for value in samples.values if value != value)
    told = count(len(samples.values) - gaps, "sample")
    return f"{told}, {gaps} without a value" if gaps else told


def table(
    lines: Sequence[ReadingLine],
    opened: ReadingLine | None,
    unfolded: Ink | None,
    now: Seconds,
    zone: tzinfo | None,
    verb: str = "sensor",
) -> Ink:
    """Readings with their limits, a row each; the opened one with its history below it. ``verb``: what a pick of a
    sensor begins with."""
    rows: list[Ink] = []
    before = None
    for line in lines:
        is_open = opened is not None and line.key == opened.key
        rows.append(_row(line, line.part if line.sensor.part != before else None, is_open, now, zone, verb))
        before = line.sensor.part
        if is_open and unfolded is not None:
            rows.append(tag("tr", tag("td", unfolded, colspan="7"), class_="unfolded"))
    heads = ("part", "sensor", "value", "among its limits", "nearest limit", "margin", "reported")
    return tag(
        "table",
        tag("thead", tag("tr", *(tag("th", head, scope="col", class_=f"of-{head[:5].strip()}") for head in heads))),
        tag("tbody", *rows),
        class_="readings",
    )


def _row(line: ReadingLine, part: str | None, is_open: bool, now: Seconds, zone: tzinfo | None, verb: str) -> Ink:
    crossed = line.crossed if line.crossed > Health.OK else None
    name = tag(
        "button",
        line.sensor.sensor,
        type="button",
        class_="pick",
        data_pick=f"fold={line.key}" if is_open else f"{verb}={line.key}",
        aria_expanded="true" if is_open else "false",
        title=f"{line.sensor.quantity.value}, read {clock(line.time, now, zone)}",
    )
    old = now - line.time > OLD
    return tag(
        "tr",
        tag("td", part, class_="part-cell"),
        tag("td", name),
        tag(
            "td",
            line.words,
            tag("div", f"{age(now - line.time)} old", class_="small") if old else None,
            class_="figure",
        ),
        tag("td", strip(line.value, line.lines, line.low, line.high), class_="strip-cell"),
        tag("td", line.limit or "no limit told", class_="limit-cell small"),
        tag(
            "td",
            worded(Standing(crossed), line.margin) if crossed is not None else join(line.margin),
            class_="margin-cell narrow",
        ),
        tag(
            "td", line.health.word, class_="narrow small reported-cell" + (" quiet" if line.health is Health.OK else "")
        ),
        class_="first" if part is not None else None,
        data_reading=line.key,
        data_crossed=crossed.word if crossed is not None else None,
    )
