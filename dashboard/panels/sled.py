"""The sled page's parts: front and lamps, shared parts, conditions, name plates, events, defects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo

from collector.assess.folding import Folded
from collector.assess.folding import folded as causes
from collector.model import Condition, ControllerState, Defect, Event, Evidence, Health, Part, Seconds
from dashboard.drawings.ink import Ink, join, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.things import Standing
from dashboard.panels.care import cared
from dashboard.panels.frame import folded
from dashboard.views.attention import marks
from dashboard.views.floor import unheard
from dashboard.views.places import Places, label, named, without_name
from dashboard.views.sled import NamePlate, SharedPart
from dashboard.views.words import age, clock, count, threshold_words, unit_words

_VERDICTS = 3
_EVENTS = 8
"""Events shown at once; the rest unfolds."""


def contact(state: ControllerState, now: Seconds, zone: tzinfo | None) -> Ink:
    """One line on how this sled's controller is heard."""
    silent = unheard(state)
    pieces = [f"controller {state.controller}"]
    if state.product:
        pieces.append(state.product)
    pieces.append(silent or "answering")
    if state.last_good is not None:
        pieces.append(f"readings {age(now - state.last_good)} old")
    if state.round_seconds is not None:
        pieces.append(f"a round takes {state.round_seconds:.2g} s")
    if state.insecure:
        pieces.append("certificate not checked")
    return join(" · ".join(pieces))


def conditions(open_: Sequence[Condition], places: Places, now: Seconds, zone: tzinfo | None) -> Ink:
    """Open conditions with their evidence."""
    title = tag("h2", "Open conditions", tag("span", str(len(open_)), class_="count") if open_ else None)
    if not open_:
        return tag("section", title, tag("p", "None.", class_="nothing"), data_block="conditions")
    return tag(
        "section",
        title,
        tag("ol", condition_lines(open_, places, now, zone), class_="lines"),
        data_block="conditions",
    )


def condition_lines(open_: Sequence[Condition], places: Places, now: Seconds, zone: tzinfo | None) -> Ink:
    """Open conditions, each with its evidence and what follows from it."""
    return join(*(_folded(each, places, now, zone) for each in causes(open_)))


def _folded(fold: Folded, places: Places, now: Seconds, zone: tzinfo | None) -> Ink:
    """A condition with its consequences under it, each with its own evidence."""
    inner = [_condition(each, places, now, zone) for each in fold.consequences]
    outside = None if fold.condition.cause is None else tag("p", _cause(fold.condition), class_="aside small")
    if not inner:
        return _condition(fold.condition, places, now, zone, outside)
    words = f"{count(len(inner), 'condition')} that {'follows' if len(inner) == 1 else 'follow'} from it"
    under = tag(
        "details",
        tag("summary", words, class_="small"),
        tag("ol", *inner, class_="lines"),
        id=f"follows-{fold.condition.id}"[:200],
        class_="aside",
        data_follows=len(inner),
    )
    return _condition(fold.condition, places, now, zone, join(outside, under))


def _condition(
    condition: Condition, places: Places, now: Seconds, zone: tzinfo | None, under: Ink | None = None
) -> Ink:
    part = places.parts.get(condition.part) if condition.part is not None else None
    name = named(part) if part is not None else condition.controller
    about = f"{condition.subject.value}, {condition.sensor}" if condition.sensor else condition.subject.value
    return tag(
        "li",
        tag(
            "div",
            tag("span", worded(Standing(condition.severity)), class_="stands"),
            tag("span", tag("b", name), f": {without_name(condition.text, part)}", class_="what"),
            tag("span", about, class_="where"),
            tag(
                "span",
                f"for {age(now - condition.opened)}",
                class_="when",
                title=f"since {clock(condition.opened, now, zone)}",
            ),
            class_="line",
        ),
        tag(
            "details",
            tag("summary", f"since {clock(condition.opened, now, zone)}: evidence", class_="small"),
            tag("ul", *(_evidence(each, now, zone) for each in condition.evidence), class_="evidence"),
            id=f"evidence-{condition.id}"[:200],
        ),
        cared(marks(condition), now, zone),
        under,
        data_condition=condition.id,
        data_health=condition.severity.word,
    )


def _cause(condition: Condition) -> str:
    """Said of a condition that follows from one that is not this controller's."""
    return (
        "It follows from trouble elsewhere; its part itself is well."
        if condition.inherited
        else ("It follows from trouble elsewhere.")
    )


def _evidence(evidence: Evidence, now: Seconds, zone: tzinfo | None) -> Ink:
    facts = []
    unit = f" {unit_words(evidence.unit)}" if evidence.unit else ""
    if evidence.value is not None:
        facts.append(f"value {evidence.value:.6g}{unit}")
    if evidence.limit is not None:
        which = threshold_words(evidence.threshold) if evidence.threshold else "limit"
        facts.append(f"{which} {evidence.limit:.6g}{unit}")
    told = f"; {', '.join(facts)}" if facts else ""
    return tag(
        "li",
        f"{clock(evidence.time, now, zone)}: {evidence.text}{told}",
        tag("div", evidence.source, class_="small") if evidence.source else None,
    )


def shared(parts: Sequence[SharedPart], blades: Sequence[Part]) -> Ink:
    """What leans on what: a row a shared part, a column a blade."""
    title = tag("h2", "Shared parts", tag("span", "what each does for which blade", class_="count"))
    if not parts:
        words = "The controller tells of no part that its blades share."
        return tag("section", title, tag("p", words, class_="nothing"), data_block="shared")
    heads = [tag("th", label(blade), scope="col") for blade in blades]
    rows = [_shared_row(each, blades) for each in parts]
    table = tag(
        "table",
        tag("thead", tag("tr", tag("th", "part", scope="col"), *heads)),
        tag("tbody", *rows),
        class_="leans",
    )
    troubled = [named(each.part) for each in parts if each.standing.health > Health.OK]
    words = f"in trouble: {', '.join(troubled)}" if troubled else f"{count(len(parts), 'part')}, none in trouble"
    fold = tag("details", tag("summary", words), tag("div", table, class_="scroll"), id="shared", open=bool(troubled))
    return tag("section", title, fold, data_block="shared")


_DOES = {"powered by": "powers", "cooled by": "cools", "managed by": "manages", "connected through": "links"}
"""A dependency told from the other end."""


def _shared_row(each: SharedPart, blades: Sequence[Part]) -> Ink:
    troubled = each.standing.health > 1
    cells = []
    for blade in blades:
        ways = each.leans.get(blade.id, ())
        words = ", ".join(_DOES.get(way, way) for way in ways) or "–"
        look = ("tie tied troubled" if troubled else "tie tied") if ways else "tie"
        cells.append(tag("td", words, class_=look))
    return tag(
        "tr",
        tag(
            "td",
            tag("div", tag("b", named(each.part)), worded(each.standing), class_="named"),
            tag("div", each.state, class_="small") if each.state else None,
        ),
        *cells,
        data_shared=each.part.id,
        data_health=each.standing.health.word,
    )


def name_plates(plates: Sequence[NamePlate]) -> Ink:
    """Serials, part numbers, models and firmware, folded."""
    title = tag("h2", "Parts", tag("span", count(len(plates), "part"), class_="count"))
    if not plates:
        return tag("section", title, tag("p", "None told.", class_="nothing"), data_block="plates")
    heads = ("part", "made by", "model", "part number", "serial", "firmware")
    rows = [
        tag(
            "tr",
            tag(
                "td",
                tag("button", plate.place, class_="pick", type="button", data_pick=f"place={plate.part.id}"),
                f" ({plate.part.kind.value})",
            ),
            *(
                tag("td", told or ("–" if told is None else ""))
                for told in (
                    plate.identity.manufacturer,
                    plate.identity.model,
                    plate.identity.part_number,
                    plate.identity.serial,
                    plate.identity.firmware,
                )
            ),
            data_plate=plate.part.id,
        )
        for plate in plates
    ]
    table = tag(
        "table",
        tag("thead", tag("tr", *(tag("th", head, scope="col") for head in heads))),
        tag("tbody", *rows),
        class_="plates",
    )
    return tag(
        "section",
        title,
        tag(
            "details",
            tag("summary", "Every part that names itself; a part's place opens it"),
            tag("div", table, class_="scroll"),
            id="plates",
        ),
        data_block="plates",
    )


def lately(events: Sequence[Event], places: Places, now: Seconds, zone: tzinfo | None) -> Ink:
    """What happened here, newest first."""
    title = tag("h2", "Lately", tag("span", count(len(events), "event"), class_="count") if events else None)
    if not events:
        return tag("section", title, tag("p", "Nothing recorded.", class_="nothing"), data_block="events")
    lines = [_event(event, places.parts, now, zone) for event in events]
    return tag(
        "section",
        title,
        tag("ol", *lines[:_EVENTS], class_="lines"),
        folded(lines[_EVENTS:], "earlier"),
        data_block="events",
    )


def event_lines(events: Sequence[Event], places: Places, now: Seconds, zone: tzinfo | None) -> Ink:
    """What happened, a line each."""
    return join(*(_event(event, places.parts, now, zone) for event in events))


def _event(event: Event, parts: Mapping[str, Part], now: Seconds, zone: tzinfo | None) -> Ink:
    part = parts.get(event.part) if event.part is not None else None
    loud = event.severity > Health.OK
    return tag(
        "li",
        tag(
            "div",
            tag("span", worded(Standing(event.severity)) if loud else None, class_="stands"),
            tag(
                "span",
                tag("b", named(part)) if part is not None else None,
                f" {without_name(event.text, part)}",
                class_="what",
            ),
            tag("span", event.subject, class_="where"),
            tag("span", f"{age(now - event.time)} ago", class_="when", title=clock(event.time, now, zone)),
            class_="line",
        ),
    )


def defects(found: Sequence[Defect]) -> Ink | None:
    """What this controller offers that can't be read as the standard means it; None when there is nothing."""
    if not found:
        return None
    rows = [
        tag(
            "li",
            tag("b", each.kind.value),
            f": {each.detail}",
            tag("div", f"{each.resource}{each.property}", class_="small"),
        )
        for each in found[:100]
    ]
    more = f"The first 100 of {len(found)}." if len(found) > 100 else None
    return tag(
        "section",
        tag("h2", "Can't be read", tag("span", f"{count(len(found), 'defect')} in what it offers", class_="count")),
        tag("details", tag("summary", "Show them"), tag("ul", *rows), id="defects"),
        tag("p", more, class_="small") if more else None,
        data_block="defects",
    )
