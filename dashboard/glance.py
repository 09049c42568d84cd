"""What Rounds asks of the store: summaries of the whole fleet, and details of only what it shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from msgspec import structs

from collector.model import CollectorState, Condition, Health, Location, Seconds, Trouble, WorkOrder
from collector.store.overview import Chosen, FrontRow, RackCount, Totals
from collector.store.reader import Reader
from dashboard.drawings.things import Rack, Sled
from dashboard.kept import Kept, Shelf
from dashboard.views import filters, since
from dashboard.views.attention import Ranked, Silent, Task, ranked, silent, task
from dashboard.views.floor import Floor, Opened, floor, in_order, opened
from dashboard.views.places import Places, Whereabouts, label
from dashboard.views.since import Changes, Raw

_CHOICES = 48
"""Choices, and looks, kept at once."""
_A_RACK = 400
"""Controllers read of one rack at most."""
_TASKS = 40
_SILENT = 40
_HOMELESS = 40
_CONDITIONS = 5000
"""Open conditions read at most, the worst first; more are counted."""
_NEWS = 2000
_PATIENCE = 2.0
"""Times the time between rounds after which readings are late."""
_USUAL = 30.0


@dataclass(frozen=True, slots=True)
class Wrong:
    """Parts in trouble: the first of them, and how many."""

    tasks: tuple[Task, ...]
    aside: tuple[Task, ...]
    """What people have set aside."""
    counts: Mapping[Health, int]
    """Of those not set aside, by severity."""
    set_aside: int
    unread: int = 0
    """Open conditions that were too many to read."""

    @property
    def more(self) -> int:
        """Parts in trouble that are not among the tasks."""
        return sum(self.counts.values()) - len(self.tasks)


@dataclass(frozen=True, slots=True)
class Rounds:
    """The fleet at one moment, as far as the page shows it."""

    collector: CollectorState | None
    totals: Totals
    racks: tuple[RackCount, ...]
    """Chosen ones."""
    opened: Opened
    floor: Floor
    """The racks that are open, drawn, and the first of what can't be drawn."""
    wrong: Wrong
    silent: tuple[Silent, ...]
    silent_number: int
    orders: tuple[WorkOrder, ...]
    """Open ones that are chosen, most urgent first."""


class Glance:
    """Reads all of it. Raises :class:`~collector.store.errors.StoreError`."""

    def __init__(
        self,
        open_reader: Callable[[], Reader],
        orders: Kept[tuple[WorkOrder, ...]],
        troubles: Kept[tuple[Trouble, ...]],
        changes: Kept[dict[str, int]],
        clock: Callable[[], Seconds],
    ) -> None:
        self._open = open_reader
        self._orders = orders
        self._troubles = troubles
        self._clock = clock

        def stamp(*subjects: str) -> Callable[[], object]:
            return lambda: tuple(changes.get().get(subject, 0) for subject in subjects)

        self._totals = Kept(self._read_totals, 1.0)
        self._racks = Shelf(self._read_racks, 1.0, _CHOICES)
        self._conditions = Kept(self._read_conditions, 1.0, stamp=stamp("conditions", "fronts"))
        self._leaning = Kept(lambda: self._open().overview.leaning(), 2.0, stamp=stamp("fronts"))
        self._ranked = Kept(self._read_ranked, 1.0, stamp=stamp("conditions", "fronts", "answers"))
        self._ways = Kept(self._read_ways, 5.0, stamp=stamp("fronts"))
        self._where = Kept(self._read_where, 3.0, stamp=stamp("fronts"))
        self._rounds = Shelf(self._read_rounds, 1.0, _CHOICES)
        self._news = Shelf(self._read_news, 2.0, _CHOICES, stamp("conditions", "answers", "events"))

    def rounds(self, chosen: Chosen) -> Rounds:
        """The page, narrowed to what is chosen."""
        return self._rounds.get(chosen)

    def ways(self) -> tuple[filters.Ways, ...]:
        """All that can be chosen."""
        return self._ways.get()

    def where(self) -> Whereabouts:
        """Where every controller's sled is."""
        return self._where.get()

    def sleds(self, most: int) -> tuple[tuple[Sled, ...], int]:
        """Some sleds, the worst first, and how many there are."""
        rows = self._open().overview.worst_fronts(Chosen(), most)
        ranks = {row.controller: rank for rank, row in enumerate(rows)}
        sleds = sorted(self._drawn(rows).sleds, key=lambda sled: ranks[sled.controller])
        return tuple(sleds), self._totals.get().controllers

    def stands(self, controller: str) -> tuple[Rack, Sled] | None:
        """A controller's sled and the rack it is drawn in; None where it is in none."""
        overview = self._open().overview
        own = overview.fronts(Chosen(names=(controller,)), 1)
        at = own[0].front.location if own else Location()
        if not at.rack:
            return None
        rows = overview.fronts(Chosen(site=at.site or "", row=at.row or "", rack=at.rack), _A_RACK)
        for row in self._drawn(rows).rows:
            for rack in row.racks:
                for sled in rack.sleds:
                    if sled.controller == controller:
                        return rack, sled
        return None

    def racks(self) -> tuple[RackCount, ...]:
        """Every rack in order; what is in none stands under an empty name."""
        return tuple(sorted(self._racks.get(Chosen()), key=in_order))

    def inside(self, rack: RackCount) -> Floor:
        """What stands in one rack, or in none that is told."""
        overview = self._open().overview
        if not rack.rack:
            return self._drawn(overview.fronts(Chosen(state="in no rack"), _A_RACK))
        here = overview.fronts(Chosen(site=rack.site, row=rack.line, rack=rack.rack), _A_RACK)
        return self._drawn([row for row in here if _in(row, rack)])

    def changes(self, look: Seconds, chosen: Chosen) -> Changes:
        """What changed since a moment, about what is chosen."""
        raw = self._news.get(float(int(look)))
        if filters.narrow(chosen):
            raw = since.about(raw, self._open().overview.names(chosen))
        return since.changes(raw, self._places(since.newest(raw).controllers))

    # --- reading ----------------------------------------------------------------------------------------------------

    def _read_totals(self) -> Totals:
        reader = self._open()
        collector = reader.collector()
        usual = collector.poll_interval if collector is not None and collector.poll_interval else _USUAL
        return reader.overview.totals(self._clock() - _PATIENCE * usual)

    def _read_racks(self, chosen: Chosen) -> tuple[RackCount, ...]:
        return tuple(self._open().overview.racks(chosen))

    def _read_conditions(self) -> tuple[Condition, ...]:
        return tuple(self._open().conditions(limit=_CONDITIONS))

    def _read_ranked(self) -> tuple[Ranked, ...]:
        mended = {order.trouble for order in self._orders.get()}
        troubles = self._troubles.get()
        explained = frozenset(each for trouble in troubles if trouble.id in mended for each in trouble.conditions)
        return ranked(self._conditions.get(), self._leaning.get(), explained)

    def _read_ways(self) -> tuple[filters.Ways, ...]:
        return filters.ways(self._racks.get(Chosen()), self._open().overview.holdings())

    def _read_where(self) -> Whereabouts:
        return Whereabouts(self._open().overview.locations())

    def _read_rounds(self, chosen: Chosen) -> Rounds:
        overview = self._open().overview
        orders, found = self._orders.get(), self._ranked.get()
        if filters.narrow(chosen):
            chosen, found = self._narrowed(chosen, found)
            names = overview.names(chosen)
            orders = tuple(
                each
                for each in orders
                if each.controller in names and (not filters.of_parts(chosen) or filters.fits_order(chosen, each))
            )
        racks = self._racks.get(chosen)
        open_ = opened(racks)
        rows: list[FrontRow] = []
        for rack in open_.racks:
            if rack.rack:
                here = structs.replace(chosen, site=rack.site, row=rack.line, rack=rack.rack)
                rows += [row for row in overview.fronts(here, _A_RACK) if _in(row, rack)]
        if any(not rack.rack for rack in racks):
            rows += overview.worst_fronts(structs.replace(chosen, state=chosen.state or "in no rack"), _HOMELESS)
        silent_rows = [] if filters.of_parts(chosen) else overview.silent(chosen, _SILENT)
        return Rounds(
            collector=self._open().collector(),
            totals=self._totals.get(),
            racks=racks,
            opened=open_,
            floor=self._drawn(rows),
            wrong=self._wrong(found),
            silent=silent(silent_rows, self._conditions.get(), self._places(row.controller for row in silent_rows)),
            silent_number=sum(rack.silent for rack in racks),
            orders=orders,
        )

    def _narrowed(self, chosen: Chosen, found: Sequence[Ranked]) -> tuple[Chosen, tuple[Ranked, ...]]:
        """The choice with what its words say of conditions taken in, and the ranks that it leaves."""
        overview = self._open().overview
        names = overview.names(chosen)
        said: set[str] = set()
        if chosen.text:
            around = overview.names(filters.without_words(chosen))
            told = {each.controller for each in found if filters.says(chosen.text, each.first.text)}
            said = (told & around) - names
        parts = overview.parts(each.part for each in found if each.part) if filters.of_parts(chosen) else {}
        left = [
            each
            for each in found
            if (each.controller in names or (each.controller in said and filters.says(chosen.text, each.first.text)))
            and (not chosen.severity or each.first.severity.word == chosen.severity)
            and filters.fits_part(chosen, parts.get(each.part or ""))
        ]
        if said:
            chosen = structs.replace(filters.without_words(chosen), names=tuple(sorted(names | said)))
        return chosen, tuple(left)

    def _wrong(self, found: Sequence[Ranked]) -> Wrong:
        loud = [each for each in found if not each.set_aside]
        aside = [each for each in found if each.set_aside]
        shown = (*loud[:_TASKS], *aside[:_TASKS])
        places = self._places({each.controller for each in shown})
        unread = max(0, len(self._conditions.get()) - _CONDITIONS + 1)
        return Wrong(
            tuple(task(each, places) for each in loud[:_TASKS]),
            tuple(task(each, places) for each in aside[:_TASKS]),
            Counter(each.first.severity for each in loud),
            len(aside),
            unread,
        )

    def _read_news(self, look: Seconds) -> Raw:
        overview = self._open().overview
        return Raw(
            tuple(overview.opened(look, _NEWS)),
            tuple(overview.closed(look, _NEWS)),
            tuple(each for each in self._orders.get() if each.opened >= look),
            tuple(overview.orders_closed(look, _NEWS)),
            tuple(overview.events_about(since.PART_SUBJECTS, look, _NEWS)),
        )

    def _places(self, controllers: object) -> Places:
        names = sorted(set(controllers))  # type: ignore[call-overload]
        if not names:
            return Places([])
        overview = self._open().overview
        return Places(overview.parts_of(names), overview.placed(names))

    def _drawn(self, rows: Sequence[FrontRow]) -> Floor:
        causes = {
            cause
            for row in rows
            for risk in (row.health.risk, *(risk for _, risk, _ in row.health.blades))
            for cause in risk
        }
        names = {part: label(found) for part, found in self._open().overview.parts(causes).items()} if causes else {}
        return floor(rows, names)


def _in(row: FrontRow, rack: RackCount) -> bool:
    at = row.front.location
    return (at.site or "", at.row or "", at.rack or "") == (rack.site, rack.line, rack.rack)
