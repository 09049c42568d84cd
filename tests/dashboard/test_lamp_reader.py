"""What is seen at a front: decoded by the specification's tables, compared with the controllers, with a next step."""

from __future__ import annotations

import itertools

from collector.assess.lamps import Panel
from collector.model import Kind, Lamps, LampState
from dashboard.views.lamps import Decoded, Seen, alike, decode, fronts, panel_kind, seen_from
from tests.dashboard.test_cutaway import blades, case, part

OFF, ON, BLINK, UNKNOWN = LampState.OFF, LampState.ON, LampState.BLINK, LampState.UNKNOWN
GOOD = Lamps(ON, OFF)


def found(
    blue: LampState,
    amber: LampState,
    expected: Lamps | None = GOOD,
    panel: Panel = Panel.SYSTEM,
    heard: bool = True,
) -> Decoded:
    decoded = decode(panel, Seen(blue, amber), expected, heard)
    assert decoded is not None
    return decoded


def test_nothing_is_said_before_both_lamps_were_told() -> None:
    assert decode(Panel.SYSTEM, Seen(blue=ON), GOOD, True) is None
    assert decode(Panel.SYSTEM, Seen(amber=ON), GOOD, True) is None


def test_agreement_and_disagreement_are_told_apart() -> None:
    assert found(ON, OFF).fits is True
    assert found(ON, ON).fits is False
    assert found(ON, ON).against == "The controllers say otherwise: it should show blue on, amber off."
    assert found(OFF, OFF, Lamps(ON, UNKNOWN)).fits is False
    assert found(ON, OFF, None).fits is None
    silent = found(ON, ON, heard=False)
    assert silent.fits is None
    assert "does not answer now" in silent.against


def test_a_supply_whose_other_lamps_were_not_looked_at_may_be_several_things() -> None:
    # Table 6.4: input fault and under-voltage differ in the low-voltage lamp alone.
    assert "One of 2" in found(OFF, ON, None, Panel.POWER_SUPPLY).says
    low = decode(Panel.POWER_SUPPLY, Seen(OFF, ON, low=ON, backup=OFF), None, True)
    assert low is not None
    assert "voltage is too low" in low.says


def test_every_combination_gets_a_meaning_and_a_next_step() -> None:
    states = (OFF, ON, BLINK)
    expectations = [None, *(Lamps(*pair) for pair in itertools.product((*states, UNKNOWN), repeat=2))]
    for panel, blue, amber, expected, heard in itertools.product(Panel, states, states, expectations, (True, False)):
        decoded = found(blue, amber, expected, panel, heard)
        assert decoded.says
        assert decoded.next
        assert decoded.against
        if decoded.fits is False:
            assert "label" in " ".join(decoded.next)


def test_an_address_that_says_nonsense_says_nothing() -> None:
    assert seen_from({"blue": "on", "amber": "<script>"}) == Seen(blue=ON)
    assert seen_from({}).lamps is None


def test_fronts_are_what_one_stands_before() -> None:
    places, _ = case(
        *blades(2), part("Systems/1", Kind.HOST, "c:/redfish/v1/Chassis/B1"), part("Psu", Kind.POWER_SUPPLY)
    )
    assert [each.kind for each in fronts("c", places)] == [Kind.SLED, Kind.BLADE, Kind.BLADE]
    assert [panel_kind(each, places) for each in fronts("c", places)] == [Panel.MODULE, Panel.SYSTEM, Panel.SYSTEM]
    shelf, _ = case(part("Psu", Kind.POWER_SUPPLY), kind=Kind.ENCLOSURE)
    assert [panel_kind(each, shelf) for each in fronts("c", shelf)] == [Panel.MODULE, Panel.POWER_SUPPLY]
    assert fronts("nobody", places) == ()


def test_fronts_that_should_show_something_are_found_and_counted() -> None:
    told = {f"p{n}": GOOD if n % 2 else Lamps(ON, ON) for n in range(10)}
    assert alike(told, Lamps(ON, ON), 3) == (["p0", "p2", "p4"], 5)
