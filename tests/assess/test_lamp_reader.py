"""The lamp reader against the OCP Panel Indicator Specification 1.0, tables 6.1, 6.2 and 6.4.

As check-values.md, section 1, has them. The tables are written out here by hand, apart from the code's own.
"""

from __future__ import annotations

import itertools

import pytest

from collector.assess.lamp_reader import LOOK_LONGER, agreement, read_front, read_supply_front, seen_words
from collector.assess.lamps import Agreement, Panel, SupplyLamps
from collector.model import Lamps, LampState

OFF, ON, BLINK, UNKNOWN = LampState.OFF, LampState.ON, LampState.BLINK, LampState.UNKNOWN

SYSTEM = {
    (OFF, OFF): ("off", "may be serviced"),
    (ON, OFF): ("on", "well"),
    (OFF, ON): ("off", "fault"),
    (ON, ON): ("on", "fault"),
    (ON, BLINK): ("on", "locate lamp lit"),
    (OFF, BLINK): ("off", "locate lamp lit"),
}
MODULE = {(ON, OFF): "well", (OFF, ON): "missing or at fault"}
SUPPLY = {
    (ON, OFF, OFF, OFF): "input is well",
    (OFF, ON, OFF, OFF): "input is at fault",
    (OFF, ON, ON, OFF): "voltage is too low",
    (OFF, OFF, OFF, ON): "runs on the backup",
}
STATES = (OFF, ON, BLINK)


@pytest.mark.parametrize("seen", list(itertools.product(STATES, STATES)))
def test_a_systems_front(seen: tuple[LampState, LampState]) -> None:
    reading = read_front(Panel.SYSTEM, Lamps(*seen), None)
    assert reading.defined is (seen in SYSTEM)
    if reading.defined:
        power, rest = SYSTEM[seen]
        assert reading.certain
        assert reading.meaning.lower().startswith(power + ",")
        assert rest in reading.meaning
    else:
        assert LOOK_LONGER in reading.checks


@pytest.mark.parametrize("seen", list(itertools.product(STATES, STATES)))
def test_a_modules_front_on_which_both_on_means_nothing(seen: tuple[LampState, LampState]) -> None:
    reading = read_front(Panel.MODULE, Lamps(*seen), None)
    assert reading.defined is (seen in MODULE)
    if reading.defined:
        assert MODULE[seen] in reading.meaning
    else:
        assert "no such state" in reading.meaning


@pytest.mark.parametrize("seen", list(itertools.product((OFF, ON), repeat=4)))
def test_a_power_supplys_front(seen: tuple[LampState, LampState, LampState, LampState]) -> None:
    reading = read_supply_front(SupplyLamps(*seen), None)
    assert reading.defined is (seen in SUPPLY)
    if reading.defined:
        assert SUPPLY[seen] in reading.meaning


def test_a_lamp_that_was_not_looked_at_leaves_what_fits_the_other() -> None:
    reading = read_front(Panel.SYSTEM, Lamps(UNKNOWN, ON), None)
    assert (reading.defined, reading.certain) == (True, False)
    assert reading.meaning.startswith("One of 2: ")
    assert "off, with a fault" in reading.meaning
    assert "on, with a fault" in reading.meaning
    assert "Look at the other lamp as well." in reading.checks
    supply = read_front(Panel.POWER_SUPPLY, Lamps(OFF, ON), None)
    assert supply.meaning.startswith("One of 2: "), "an input fault, or one with too low a voltage"
    assert read_front(Panel.MODULE, Lamps(UNKNOWN, UNKNOWN), None).meaning == "No lamp was looked at."


@pytest.mark.parametrize(
    ("seen", "told", "found"),
    [
        ((ON, OFF), (ON, OFF), Agreement.AGREES),
        ((ON, OFF), (ON, ON), Agreement.DISAGREES),
        ((ON, UNKNOWN), (ON, ON), Agreement.AGREES),
        ((UNKNOWN, OFF), (ON, UNKNOWN), Agreement.NOT_TOLD),
        ((UNKNOWN, BLINK), (ON, ON), Agreement.DISAGREES),
    ],
)
def test_what_was_seen_against_what_is_told(
    seen: tuple[LampState, LampState], told: tuple[LampState, LampState], found: Agreement
) -> None:
    assert agreement(Lamps(*seen), Lamps(*told)) is found


@pytest.mark.parametrize(
    ("seen", "told", "said"),
    [
        ((ON, ON), (ON, OFF), "if amber does not blink then, the lamp is stuck"),
        ((ON, OFF), (ON, ON), "if amber stays dark then, the lamp is dead"),
        ((ON, OFF), (ON, BLINK), "switch it off and on again"),
        ((ON, BLINK), (ON, OFF), "see whether it follows"),
        ((OFF, OFF), (ON, OFF), "if they run, the lamp is dead"),
        ((ON, OFF), (OFF, OFF), "looks on and is told to be off"),
    ],
)
def test_a_disagreement_says_how_to_find_out_who_is_wrong(
    seen: tuple[LampState, LampState], told: tuple[LampState, LampState], said: str
) -> None:
    reading = read_front(Panel.SYSTEM, Lamps(*seen), Lamps(*told))
    assert reading.agreement is Agreement.DISAGREES
    assert said in " ".join(reading.checks)
    assert "right one" in reading.checks[0], "the commonest reason is another blade"
    assert seen_words(Lamps(*told)) in reading.told


def test_words() -> None:
    assert seen_words(Lamps(ON, BLINK)) == "blue on, amber blinking"
    assert seen_words(Lamps(UNKNOWN, OFF)) == "amber off"
