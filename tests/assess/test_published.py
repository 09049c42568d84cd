"""What the published example services (DMTF DSP2043) come to: every trouble in them once, and none that isn't there.

The examples' contradictions are those of redfish-notes.md section 7.
"""

from __future__ import annotations

import pytest

from collector.assess.watch import Watch
from collector.model import Assessment, Health, Inventory, Kind, Location, Subject
from collector.normalise.inventory import build
from tests.normalise.walks import example


def assessed(name: str) -> tuple[Inventory, Assessment]:
    inventory = build(example(name), Location())
    return inventory, Watch(name, 30.0).inventory(inventory, inventory.time)


def troubles(assessment: Assessment) -> list[tuple[Health, Subject, str]]:
    """Severity, subject and the last steps of the part's path."""
    return [
        (each.severity, each.subject, "/".join((each.part or "").rsplit("/", 2)[-2:])) for each in assessment.opened
    ]


def test_bladed_has_one_dead_fan_and_one_hot_processor() -> None:
    """Quirks 7 and 11: fan 2 stands at a true 0, Critical; one CPU is at 77 over 75, Warning; nothing is rolled up."""
    inventory, told = assessed("public-bladed")
    assert troubles(told) == [
        (Health.WARNING, Subject.THRESHOLD, "Processors/CPU"),
        (Health.CRITICAL, Subject.THRESHOLD, "Fans/2"),
    ]
    fan = next(each.part for each in told.opened if each.severity is Health.CRITICAL)
    hot = next(each.part for each in told.opened if each.severity is Health.WARNING)
    parts = {part.id: part for part in inventory.parts}
    enclosure = next(part for part in inventory.parts if part.kind is Kind.ENCLOSURE)
    assert inventory.statuses[enclosure.id].health is Health.OK, "so the service says, without a rollup"
    assert told.rolled[enclosure.id].own is Health.OK
    assert told.rolled[enclosure.id].worst is Health.CRITICAL
    assert told.rolled[enclosure.id].open_conditions == 2
    blades = [part.id for part in inventory.parts if part.kind is Kind.BLADE]
    assert len(blades) == 4
    assert all(told.rolled[blade].at_risk_through == (fan,) for blade in blades), "at risk through fan 2"
    inside = [blade for blade in blades if told.rolled[blade].worst is Health.WARNING]
    assert len(inside) == 1, "one broken blade, not four"
    assert hot is not None
    holder = parts[hot]
    while holder.parent is not None and holder.id not in blades:
        holder = parts[holder.parent]
    assert holder.id == inside[0]


def test_expansion_box_has_one_dead_fan() -> None:
    """Quirk 7."""
    assert troubles(assessed("public-expansion-box")[1]) == [(Health.CRITICAL, Subject.THRESHOLD, "Fans/2")]


def test_rackmount1_has_the_published_processor_supply_and_drive() -> None:
    """check-values.md section 5: CPU1Temp 44 °C is a Warning, which the service has waited for already."""
    _, told = assessed("public-rackmount1")
    assert sorted(troubles(told)) == sorted(
        [
            (Health.WARNING, Subject.THRESHOLD, "Processors/CPU1"),
            (Health.WARNING, Subject.STATUS, "PowerSupplies/Bay1"),
            (Health.WARNING, Subject.STATUS, "Devices/1"),
        ]
    )
    hot = next(each for each in told.opened if each.subject is Subject.THRESHOLD)
    assert (hot.evidence[0].value, hot.evidence[0].limit, hot.evidence[0].threshold) == (44.0, 42.0, "upper_caution")


def test_catfish_is_over_its_limit_whatever_it_says() -> None:
    """Quirk 10: Board Temp is 35 over its upper caution 30, yet its Health is OK."""
    _, told = assessed("public-catfish")
    (condition,) = told.opened
    assert (condition.subject, condition.severity) == (Subject.THRESHOLD, Health.WARNING)
    assert [each.value for each in condition.evidence] == [35.0], "nobody else speaks for it"


def test_iiot_is_critical_once_its_current_has_lasted() -> None:
    """Quirk 10: Conveyor draws 9.3 A over its upper critical 6 A, yet its Health is Warning."""
    inventory = build(example("public-iiot"), Location())
    watch = Watch("public-iiot", 30.0)
    (condition,) = watch.inventory(inventory, inventory.time).opened
    assert condition.subject is Subject.THRESHOLD
    assert {each.value for each in condition.evidence} == {9.3, None}


def test_pdu_is_fine_with_its_thresholds_out_of_order() -> None:
    """Quirk 9: PDUPower has its caution at 5800 W above its critical at 60.1; the reading 2734.8 W is OK."""
    assert assessed("public-pdu")[1].opened == ()


@pytest.mark.parametrize("name", ["public-localstorage", "public-telemetry", "public-smartnic", "public-cooling-unit"])
def test_every_condition_is_told_by_the_service_or_follows_from_its_thresholds(name: str) -> None:
    """Nothing is invented: a STATUS names a health that is not OK, a THRESHOLD a reading beyond the limit it names."""
    inventory, told = assessed(name)
    for each in told.opened:
        assert each.part is not None
        if each.subject is Subject.THRESHOLD:
            reading = next(evidence for evidence in each.evidence if evidence.value is not None)
            assert reading.value is not None
            assert reading.limit is not None
            upper = (reading.threshold or "").startswith("upper")
            assert reading.value > reading.limit if upper else reading.value < reading.limit
        else:
            assert each.subject is Subject.STATUS
            assert inventory.statuses[each.part].health is each.severity
    ill = {part for part, status in inventory.statuses.items() if status.health >= Health.WARNING}
    assert ill == {each.part for each in told.opened}, "and nothing is left out"
