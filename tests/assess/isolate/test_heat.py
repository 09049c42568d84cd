"""Heat in the wrong places: cold plates of liquid-cooled sleds, blades whose air is blocked, and what stands behind."""

from __future__ import annotations

from array import array

import pytest
from msgspec import structs

from collector.model import Frame, Inventory, Kind, Layout, Quantity, Sign
from tests.assess.isolate.kit import Bench, pid, sign, sled

COLD_PLATE = "its cold plate sits badly"
BLOCKED = "its air path is blocked"
SPREADS = (("Cpu1", Sign.HOT), ("Blade1", Sign.SHORT_OF_AIR), ("Bmc", Sign.HOT))
"""What a bad cold plate shows: the air gets what the coolant does not, and brings it to what stands behind."""
BEHIND = (("Blade1", Sign.SHORT_OF_AIR), ("Net", Sign.HOT), ("Psu1", Sign.HOT))


def liquid() -> Inventory:
    """A sled with a flow meter in its coolant: what makes it liquid-cooled to whoever reads it."""
    whole = sled()
    flow = structs.replace(whole.layout.sensors[0], sensor="flow", quantity=Quantity.LIQUID_FLOW, source="/flow")
    sensors = (*whole.layout.sensors, flow)
    frame = Frame(0.0, array("d", [50.0]) * len(sensors), bytes(len(sensors)))
    return structs.replace(whole, layout=Layout("s1", sensors), frame=frame)


def heard(inventory: Inventory, *seen: tuple[str, Sign]) -> Bench:
    """What is made of these signs, where heat of all that stands behind the blades can be seen."""
    bench = Bench(inventory)
    for path in ("Bmc", "Net", "Psu1", "Psu2"):
        bench.visible["s1"][pid("s1", path)] |= {Sign.HOT}
    bench.see("s1")
    bench.see("s1", *(sign(inventory, path, shown) for path, shown in seen))
    bench.settle()
    return bench


def test_a_cold_plate_that_sits_badly_is_the_processor_s() -> None:
    bench = heard(liquid(), *SPREADS)
    assert bench.firsts() == [(pid("s1", "Cpu1"), COLD_PLATE)]
    (trouble,) = bench.open
    first = trouble.suspects[0]
    assert (first.kind, first.remedy) == (Kind.PROCESSOR, "reseat its cold plate")
    assert first.probability > 0.7
    assert trouble.also == (), "it explains all of them"


def test_in_a_sled_cooled_by_air_the_same_signs_are_not_the_processor_s() -> None:
    bench = heard(sled(), *SPREADS)
    assert bench.firsts() == [(pid("s1", "Blade1"), BLOCKED)]
    assert not any(suspect.fault == COLD_PLATE for trouble in bench.open for suspect in trouble.suspects)


@pytest.mark.parametrize(
    ("inventory", "fault", "remedy"),
    [
        (liquid(), "its cold plate is loose", "reseat its cold plate"),
        (sled(), "its heat sink is loose", "reseat its heat sink"),
    ],
    ids=["liquid", "air"],
)
def test_a_hot_processor_alone_has_what_cools_it_in_its_sled(inventory: Inventory, fault: str, remedy: str) -> None:
    """Whoever is sent to a sled with coolant in it must be told of coolant."""
    bench = heard(inventory, ("Cpu1", Sign.HOT))
    assert bench.firsts() == [(pid("s1", "Cpu1"), fault)]
    assert bench.open[0].suspects[0].remedy == remedy


def test_a_processor_that_fails_still_does_in_a_liquid_sled() -> None:
    seen = (("Cpu1", Sign.FAULTY), ("Cpu1", Sign.UNCORRECTABLE))
    assert heard(liquid(), *seen).firsts() == [(pid("s1", "Cpu1"), "failing")]


@pytest.mark.parametrize(
    "more",
    [
        (),
        (("Sled", Sign.SHORT_OF_AIR),),
        (("Sled", Sign.WORKS_HARD),),
        (("Sled", Sign.SHORT_OF_AIR), ("Sled", Sign.WORKS_HARD)),
    ],
)
def test_a_blocked_blade_warms_what_is_behind_it_and_is_not_the_filter(more: tuple[tuple[str, Sign], ...]) -> None:
    bench = heard(sled(), *BEHIND, *more)
    assert bench.firsts() == [(pid("s1", "Blade1"), BLOCKED)]
    (trouble,) = bench.open
    assert trouble.also == (), "it explains what is behind it as well"


def test_several_blades_short_of_air_are_the_filter_s() -> None:
    blades = tuple((f"Blade{at}", Sign.SHORT_OF_AIR) for at in (1, 2, 3, 4))
    (first,) = heard(sled(), *blades, *BEHIND[1:], ("Sled", Sign.WORKS_HARD)).firsts()
    assert first[0] == "~" + pid("s1", "Sled") + "/filter"
