"""Two updates of one controller made one, for a follower that fell behind: it skips steps, never state."""

from __future__ import annotations

from msgspec import structs

from collector.model import Assessment, Condition, Defect, Event, Inventory, Round, Stay, Update

EVENTS_KEPT = 1000
"""Newest events that a merged update carries."""


def merged(older: Update, newer: Update) -> Update:
    """One update that leaves a follower where the two, one after the other, would have left it.

    The newest inventory, frame and round count; statuses, rollups and lamps are laid over each other; of each condition
    the final word stands; events follow each other, the newest :data:`EVENTS_KEPT` of them. Of a part that one walk
    misses and a later one finds again, the follower is told to forget what it knew before.
    """
    return Update(
        controller=newer.controller,
        inventory=newer.inventory or older.inventory,
        round=_rounds(older.round, newer.round, newer.inventory),
        assessment=_assessments(_of_parts(older.assessment, newer.inventory), newer.assessment),
        found_anew=_found_anew(older, newer),
        contact=newer.contact or older.contact,
        heard=older.heard if newer.heard is None else newer.heard,
        learnt=older.learnt if newer.learnt is None else newer.learnt,
    )


def _rounds(older: Round | None, newer: Round | None, walked: Inventory | None) -> Round | None:
    if walked is not None:
        return newer  # a walk tells every status, reading and defect anew
    if older is None or newer is None:
        return newer or older
    return structs.replace(
        newer,
        frame=newer.frame or older.frame,
        statuses={**older.statuses, **newer.statuses},
        defects=_defects(older.defects, newer.defects),
    )


def _defects(older: tuple[Defect, ...], newer: tuple[Defect, ...]) -> tuple[Defect, ...]:
    return tuple({defect_key(defect): defect for defect in (*older, *newer)}.values())


def defect_key(defect: Defect) -> tuple[str, str, str]:
    """What makes two defects of one controller the same."""
    return (defect.resource, defect.property, defect.kind.value)


def _of_parts(assessment: Assessment | None, walked: Inventory | None) -> Assessment | None:
    """Without the rollups and lamps of parts that a later walk no longer found, nor the defects of before that."""
    if assessment is None or walked is None:
        return assessment
    parts = {part.id for part in walked.parts}
    return structs.replace(
        assessment,
        rolled={part: rolled for part, rolled in assessment.rolled.items() if part in parts},
        lamps={part: lamps for part, lamps in assessment.lamps.items() if part in parts},
        defects=(),
    )


def _found_anew(older: Update, newer: Update) -> frozenset[str]:
    """Parts that a walk in between had not found. Those that the newest does not find are forgotten without a word."""
    anew = older.found_anew | newer.found_anew
    if older.inventory is None or newer.inventory is None:
        return anew
    return anew | ({part.id for part in newer.inventory.parts} - {part.id for part in older.inventory.parts})


def _assessments(older: Assessment | None, newer: Assessment | None) -> Assessment | None:
    if older is None or newer is None:
        return newer or older
    opened: dict[str, Condition] = {}
    changed: dict[str, Condition] = {}
    closed: dict[str, Condition] = {}
    for step in (older, newer):
        for condition in step.opened:
            closed.pop(condition.id, None)
            changed.pop(condition.id, None)
            opened[condition.id] = condition
        for condition in step.changed:
            (opened if condition.id in opened else changed)[condition.id] = condition
        for condition in step.closed:
            opened.pop(condition.id, None)
            changed.pop(condition.id, None)
            closed[condition.id] = condition
    return Assessment(
        controller=newer.controller,
        time=newer.time,
        opened=tuple(opened.values()),
        changed=tuple(changed.values()),
        closed=tuple(closed.values()),
        rolled={**older.rolled, **newer.rolled},
        lamps={**older.lamps, **newer.lamps},
        events=_events(older.events, newer.events),
        stays=_stays(older.stays, newer.stays),
        troubles=tuple({each.id: each for each in (*older.troubles, *newer.troubles)}.values()),
        orders=tuple({each.id: each for each in (*older.orders, *newer.orders)}.values()),
        margins=tuple(
            {(each.part, each.kind, each.sensor): each for each in (*older.margins, *newer.margins)}.values()
        ),
        figures=tuple({each.key: each for each in (*older.figures, *newer.figures)}.values()),
        defects=_defects(older.defects, newer.defects),
        misfits=older.misfits if newer.misfits is None else newer.misfits,
    )


def _stays(older: tuple[Stay, ...], newer: tuple[Stay, ...]) -> tuple[Stay, ...]:
    """The final word of each."""
    if not older or not newer:
        return older or newer
    return tuple({(stay.position, stay.since): stay for stay in (*older, *newer)}.values())


def _events(older: tuple[Event, ...], newer: tuple[Event, ...]) -> tuple[Event, ...]:
    return (older + newer)[-EVENTS_KEPT:]
