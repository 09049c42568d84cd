"""Reads a metric report, round after round: which values are new, which still hold, and whether it has stopped."""

from __future__ import annotations

import re
from typing import Any

from collector.model import NO_VALUE, DefectKind, Seconds
from collector.normalise import reading
from collector.normalise.bodies import rows
from collector.normalise.findings import shown
from collector.normalise.reports import Metric, Report
from collector.normalise.rounds import Round
from collector.normalise.shapes import ToldMetric, ToldReport

_NUMBER = re.compile(r"\s*[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?\s*", re.ASCII)


class Reported:
    """What one report has told since the walk."""

    __slots__ = ("_at", "_by_key", "_count", "_heard", "_report", "_since", "_stamp", "_values")

    def __init__(self, report: Report, metrics: list[Metric], values: list[float], walked: Seconds) -> None:
        """``metrics``: those that are read from here; ``values``: what each was at the walk, at that time."""
        self._report = report
        self._by_key = {metric.key: (index, metric) for index, metric in enumerate(metrics)}
        self._count = len(metrics)
        self._values = values
        self._at = [walked] * len(metrics)
        """When each value was taken, as far as known."""
        self._heard = [walked] * len(metrics)
        """When each was last told."""
        self._stamp: str | None = None
        self._since = walked

    def take(self, told: ToldReport, received: Seconds, here: Round) -> None:
        """Takes the values of one body."""
        here.columns.filled = True
        values = [one for one in told.MetricValues or () if one is not None]
        stamp = told.Timestamp or max((one.Timestamp or "" for one in values), default="")
        if stamp != self._stamp:
            self._stamp, self._since = stamp, received
        elif self._report.limit and received - self._since > self._report.limit:
            here.shape_changed = True  # it has stopped: a new walk will find another way
            return
        made = self._acquired(told.Timestamp, received)
        fresh = self._take_values(values, made, received, here)
        if self._report.suppressed:
            self._carry_on(fresh, made, received)
        elif len(fresh) < self._count:
            here.shape_changed = True
        columns = here.columns
        for index, metric in self._by_key.values():
            if index in fresh or self._report.suppressed:
                columns.values[metric.column] = self._values[index]
                if self._at[index]:
                    columns.times[metric.column] = self._at[index]
                    columns.timed = True

    def _take_values(
        self, values: list[ToldMetric], made: Seconds | None, received: Seconds, here: Round
    ) -> dict[int, Seconds]:
        """The newest value of each metric; gives which were told, and when they were taken."""
        fresh: dict[int, Seconds] = {}
        for place, one in enumerate(values):
            known = self._by_key.get(one.MetricProperty if one.MetricProperty is not None else one.MetricId or "")
            if known is None:
                continue
            index, metric = known
            at = self._acquired(one.Timestamp, received) or made or 0.0
            if at < fresh.get(index, 0.0):
                continue  # reports that append have several values of one metric
            fresh[index] = at
            self._at[index], self._heard[index] = at, received
            self._values[index] = self._number(one.MetricValue, metric, place, here)
        return fresh

    def _carry_on(self, fresh: dict[int, Seconds], made: Seconds | None, received: Seconds) -> None:
        """What is left out has not changed, for as long as the heartbeat lets it be left out."""
        patience = 2 * self._report.heartbeat + self._report.limit if self._report.heartbeat else 0.0
        for index in range(self._count):
            if index in fresh:
                continue
            if patience and received - self._heard[index] > patience:
                self._values[index], self._at[index] = NO_VALUE, 0.0
            else:
                self._at[index] = made or 0.0

    def _number(self, told: str | float | None, metric: Metric, place: int, here: Round) -> float:
        if told is None:
            return NO_VALUE
        reader = metric.reader
        number: float | None
        if isinstance(told, str):
            number = float(told) if _NUMBER.fullmatch(told) else None
            if reader.duration:
                number = reading.span(told)
        else:
            number = told
        if number is None or number - number != 0.0:  # no number, or one that is none
            detail = f"MetricValue of {metric.key} is {shown(told)}, not a number"
            at = f"/MetricValues/{place}/MetricValue"
            here.findings.add(self._report.uri, at, DefectKind.NOT_A_NUMBER, detail)
            return NO_VALUE
        value = number * reader.scale + reader.offset
        if not reader.low <= value <= reader.high:
            reading.blame_range(reader, number, here.findings)
            return NO_VALUE
        return value

    @staticmethod
    def _acquired(told: str | None, received: Seconds) -> Seconds | None:
        return reading.acquired(told, received) if told is not None else None


def salvaged(body: dict[str, Any], uri: str, here: Round) -> ToldReport:
    """A report that does not fit its type, less what is wrong with it."""
    kept: list[ToldMetric | None] = []
    for index, row in enumerate(rows(body.get("MetricValues"))):
        if not isinstance(row, dict):
            kept.append(None)
            continue
        value = row.get("MetricValue")
        if isinstance(value, bool) or not isinstance(value, str | int | float | None):
            detail = f"MetricValue is {shown(value)}, neither text nor a number"
            here.findings.add(uri, f"/MetricValues/{index}/MetricValue", DefectKind.WRONG_TYPE, detail)
            value = None
        elif isinstance(value, int):
            value = str(value)
        kept.append(
            ToldMetric(_text(row.get("MetricProperty")), _text(row.get("MetricId")), value, _text(row.get("Timestamp")))
        )
    return ToldReport(_text(body.get("Timestamp")), kept)


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None
