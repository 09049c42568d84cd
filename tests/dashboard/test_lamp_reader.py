"""What is seen at a front: decoded by the specification's tables, compared with the controllers, with a next step."""

from __future__ import annotations

import itertools

import pytest

from collector.assess.lamps import Panel
from collector.model import Health, Kind, Lamps, LampState
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
    health: Health = Health.OK,
) -> Decoded:
    decoded = decode(panel, Seen(blue, amber), expected, heard, health)
    assert decoded is not None
    return decoded


@pytest.mark.parametrize(
    ("blue", "amber", "says"),
    [
        # OCP Panel Indicator Specification rev 1.0, table 6.1
        (OFF, OFF, "It is powered off, without a fault."),
        (ON, OFF, "It is running, without a fault."),
        (OFF, ON, "It is powered off, with a fault in it."),
        (ON, ON, "It is running, with a fault in it."),
        (ON, BLINK, "It is running, and somebody asked for it to be found."),
        (OFF, BLINK, "It is powered off, and somebody asked for it to be found."),
    ],
)
def test_a_system_panel_is_read_by_its_table(blue: LampState, amber: LampState, says: str) -> None:
    assert found(blue, amber).says.startswith(says)
    assert found(blue, amber).defined


@pytest.mark.parametrize("amber", [OFF, ON, BLINK])
def test_a_blue_lamp_that_blinks_is_no_state_of_any_panel(amber: LampState) -> None:
    for panel in (Panel.SYSTEM, Panel.MODULE):
        decoded = found(BLINK, amber, panel=panel)
        assert not decoded.defined
        assert "three seconds" in decoded.next[0]


def test_a_module_and_a_supply_are_read_by_their_own_tables() -> None:
    # Tables 6.2 and 6.4 of the same specification.
    assert found(ON, OFF, panel=Panel.MODULE).says == "All modules in it are there and well."
    assert found(OFF, ON, panel=Panel.MODULE).says == "A module in it is missing or at fault."
    assert not found(ON, ON, panel=Panel.MODULE).defined
    assert found(ON, OFF, panel=Panel.POWER_SUPPLY).says == "Its input is fine."
    for seen, says in (
        (Seen(OFF, ON), "Its input is at fault."),
        (Seen(OFF, ON, low=ON), "Its input voltage is too low."),
        (Seen(OFF, OFF, backup=ON), "Its input is out; it runs on backup."),
    ):
        decoded = decode(Panel.POWER_SUPPLY, seen, GOOD, True, Health.OK)
        assert decoded is not None
        assert decoded.says == says


def test_nothing_is_said_before_both_lamps_were_told() -> None:
    assert decode(Panel.SYSTEM, Seen(blue=ON), GOOD, True, Health.OK) is None
    assert decode(Panel.SYSTEM, Seen(amber=ON), GOOD, True, Health.OK) is None


def test_agreement_and_disagreement_are_told_apart() -> None:
    assert found(ON, OFF).fits is True
    assert found(ON, ON).fits is False
    assert found(ON, ON).against == "The controllers say otherwise: it should show blue on, amber off."
    assert found(ON, OFF, Lamps(ON, UNKNOWN)).fits is None
    assert found(OFF, OFF, Lamps(ON, UNKNOWN)).fits is False
    assert found(ON, OFF, None).fits is None
    silent = found(ON, ON, heard=False)
    assert silent.fits is None
    assert "does not answer now" in silent.against


def test_what_to_check_next_follows_from_how_they_differ() -> None:
    def steps(*told: object, **more: object) -> str:
        return " ".join(found(*told, **more).next)  # type: ignore[arg-type]

    assert "has lost its power" in steps(OFF, OFF, GOOD)
    assert "does not show" in steps(ON, OFF, Lamps(ON, ON))
    assert "no controller tells of" in steps(ON, ON, GOOD)
    assert "Ask who is looking" in steps(ON, BLINK, GOOD)
    assert "does not blink" in steps(ON, OFF, Lamps(ON, BLINK))
    assert "lamp may be stuck" in steps(ON, OFF, Lamps(OFF, ON), Panel.MODULE)
    assert "may just be starting" in steps(ON, OFF, Lamps(OFF, OFF))
    assert "work order" in steps(ON, ON, Lamps(ON, ON))
    assert "being looked for" in steps(ON, BLINK, Lamps(ON, BLINK))
    assert "If you were sent here" in steps(ON, OFF, GOOD)


def test_every_combination_gets_an_answer_and_a_next_step() -> None:
    states = (OFF, ON, BLINK)
    expectations = [None, *(Lamps(*pair) for pair in itertools.product((*states, UNKNOWN), repeat=2))]
    for panel, blue, amber, expected, heard in itertools.product(Panel, states, states, expectations, (True, False)):
        decoded = found(blue, amber, expected, panel, heard)
        assert decoded.says
        assert decoded.next
        assert decoded.against
        if decoded.fits is False:
            assert "Record what you see" in decoded.next[-1] or not decoded.defined


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
