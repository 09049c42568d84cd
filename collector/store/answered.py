"""Troubles, work orders, margins, figures and misfits, as they are read; how they are kept stands in ``answers``."""

from __future__ import annotations

from typing import TypeVar

from collector.model import Figure, FigureKind, Margin, Misfit, Misfitting, Trouble, WorkOrder
from collector.store import answers
from collector.store.records import NO_LIMIT, Records

T = TypeVar("T")


class Answers:
    """Reads what was worked out of all that controllers tell."""

    def __init__(self, records: Records) -> None:
        self._records = records

    def troubles(self, open_only: bool = True, limit: int | None = None) -> list[Trouble]:
        """Troubles with their suspects, worst first, then the longest open."""
        return self._answers(answers.OPEN_TROUBLES if open_only else answers.TROUBLES, Trouble, limit)

    def orders(self, open_only: bool = True, limit: int | None = None) -> list[WorkOrder]:
        """Work orders, by bundle."""
        return self._answers(answers.OPEN_ORDERS if open_only else answers.ORDERS, WorkOrder, limit)

    def closed_orders(self, limit: int = 20) -> list[WorkOrder]:
        """Work orders that closed, the newest first."""
        return self._answers(answers.CLOSED_ORDERS, WorkOrder, limit)

    def margins(self, controller: str | None = None, limit: int | None = None) -> list[Margin]:
        """What is left, by kind, least first; of one controller's parts only where it is given."""
        statement = answers.MARGINS if controller is None else answers.MARGINS_OF
        return self._answers(statement, Margin, limit, controller=controller)

    def figures(self, controller: str | None = None, limit: int | None = None) -> list[Figure]:
        """What was worked out of readings, by part and kind; of one controller's parts only where it is given."""
        statement = answers.FIGURES if controller is None else answers.FIGURES_OF
        return self._answers(statement, Figure, limit, controller=controller)

    def figures_of_places(self, limit: int | None = None) -> list[Figure]:
        """What was worked out for places that are no controller's: racks."""
        return self._answers(answers.FIGURES_OF_PLACES, Figure, limit)

    def figures_of_kind(self, kind: FigureKind, limit: int | None = None) -> list[Figure]:
        """What was worked out of one kind for the parts of all controllers, the least first."""
        return self._answers(answers.FIGURES_OF_KIND, Figure, limit, which=kind.value)

    def misfits(self, how: Misfitting | None = None, limit: int | None = None) -> list[Misfit]:
        """How sleds differ from their designs as the last walks found; in one way only where it is given."""
        return self._answers(answers.MISFITS, Misfit, limit, how=None if how is None else how.value)

    def how_many_misfits(self) -> dict[Misfitting, int]:
        """How many there are of each sort; those of which there are none are left out."""
        return {
            self._records.word(how, Misfitting): number for how, number in self._records.rows(answers.HOW_MANY_MISFITS)
        }

    def _answers(self, statement: str, kind: type[T], limit: int | None, **given: str | None) -> list[T]:
        rows = self._records.rows(statement, {"limit": NO_LIMIT if limit is None else limit, **given})
        return [self._records.record(row[0], kind) for row in rows]
