"""Lamps against the tables of the OCP Panel Indicator Specification 1.0 as check-values.md section 1 gives them."""

from __future__ import annotations

import itertools

import pytest
from msgspec import structs

from collector.assess.lamps import (
    SUPPLY_TABLE,
    SYSTEM_TABLE,
    Agreement,
    Panel,
    SupplyLamps,
    SupplyState,
    compare,
    expected_lamps,
    module_lamps,
    panel_of,
    read_module,
    read_supply,
    read_system,
    supply_lamps,
    system_lamps,
)
from collector.model import Health, Kind, Lamps, LampState, LedState, PowerState, Rolled, State, Status
from tests.assess.fleet import part

OFF, ON, BLINK, UNKNOWN = LampState.OFF, LampState.ON, LampState.BLINK, LampState.UNKNOWN


@pytest.mark.parametrize(
    ("power_on", "fault", "locate", "blue", "amber"),
    [
        (False, False, False, OFF, OFF),  # off, serviceable
        (True, False, False, ON, OFF),  # on, OK
        (False, True, False, OFF, ON),  # off, fault
        (True, True, False, ON, ON),  # on, fault
        (True, False, True, ON, BLINK),  # on, locate
        (True, True, True, ON, BLINK),
        (False, False, True, OFF, BLINK),  # off, locate
        (False, True, True, OFF, BLINK),
    ],
)
def test_system_panel(power_on: bool, fault: bool, locate: bool, blue: LampState, amber: LampState) -> None:
    """Section 6.1."""
    assert system_lamps(power_on, fault, locate) == Lamps(blue, amber)


def test_module_panel() -> None:
    """Section 6.2."""
    assert module_lamps(False) == Lamps(ON, OFF)
    assert module_lamps(True) == Lamps(OFF, ON)


@pytest.mark.parametrize(
    ("state", "lamps"),
    [
        (SupplyState.INPUT_OK, SupplyLamps(blue=ON, fault=OFF, low_voltage=OFF, backup=OFF)),
        (SupplyState.INPUT_FAULT, SupplyLamps(blue=OFF, fault=ON, low_voltage=OFF, backup=OFF)),
        (SupplyState.UNDER_VOLTAGE, SupplyLamps(blue=OFF, fault=ON, low_voltage=ON, backup=OFF)),
        (SupplyState.ON_BACKUP, SupplyLamps(blue=OFF, fault=OFF, low_voltage=OFF, backup=ON)),
    ],
)
def test_supply_panel(state: SupplyState, lamps: SupplyLamps) -> None:
    """Section 6.4."""
    assert supply_lamps(state) == lamps
    assert read_supply(lamps).supply is state


def test_both_on_is_a_state_of_a_system_and_none_of_a_module() -> None:
    """Section 1's note: 'the decoder needs the panel type'."""
    both = Lamps(ON, ON)
    assert read_system(both).defined
    assert (read_system(both).power_on, read_system(both).fault) == (True, True)
    assert not read_module(both).defined
    assert read_module(both).fault is None


def test_what_is_shown_is_read_back() -> None:
    for row, lamps in SYSTEM_TABLE.items():
        meaning = read_system(lamps)
        assert (meaning.power_on, meaning.fault, meaning.locate) == (row.power_on, row.fault, row.locate)
    assert {lamps for lamps in SUPPLY_TABLE.values() if read_supply(lamps).defined} == set(SUPPLY_TABLE.values())
    assert read_module(module_lamps(True)).fault is True


def test_every_other_combination_is_undefined() -> None:
    seen = [Lamps(*pair) for pair in itertools.product((OFF, ON, BLINK, UNKNOWN), repeat=2)]
    assert sum(read_system(lamps).defined for lamps in seen) == 6
    assert sum(read_module(lamps).defined for lamps in seen) == 2


def test_the_unknown_is_never_guessed() -> None:
    assert system_lamps(None, False, False) == Lamps(UNKNOWN, OFF)
    assert system_lamps(True, None, False) == Lamps(ON, UNKNOWN)
    assert system_lamps(True, None, True) == Lamps(ON, BLINK), "locate outranks a fault, known or not"
    assert system_lamps(True, True, None) == Lamps(ON, UNKNOWN), "on, or blinking"
    assert module_lamps(None) == Lamps(UNKNOWN, UNKNOWN)
    assert set(supply_lamps(None).__struct_fields__) == {"blue", "fault", "low_voltage", "backup"}
    assert supply_lamps(None).fault is UNKNOWN
    assert not read_system(Lamps(UNKNOWN, OFF)).defined


def rolled(worst: Health) -> Rolled:
    return Rolled(own=Health.OK, worst=worst)


def status(power: PowerState = PowerState.ON, **more: object) -> Status:
    return Status(state=State.ENABLED, health=Health.OK, power=power, **more)  # type: ignore[arg-type]


BLADE, FAN, SUPPLY = part("b", Kind.BLADE), part("f", Kind.FAN), part("p", Kind.POWER_SUPPLY)


def test_expected_on_a_blade() -> None:
    assert expected_lamps(BLADE, status(), rolled(Health.OK)) == Lamps(ON, OFF)
    assert expected_lamps(BLADE, status(), rolled(Health.WARNING)) == Lamps(ON, ON)
    assert expected_lamps(BLADE, status(PowerState.OFF), rolled(Health.CRITICAL)) == Lamps(OFF, ON)
    assert expected_lamps(BLADE, status(locate=True), rolled(Health.CRITICAL)) == Lamps(ON, BLINK)
    assert expected_lamps(BLADE, status(led=LedState.BLINKING), rolled(Health.OK)) == Lamps(ON, BLINK)
    assert expected_lamps(BLADE, status(), rolled(Health.UNKNOWN)) == Lamps(ON, UNKNOWN)
    assert expected_lamps(BLADE, status(PowerState.POWERING_ON), rolled(Health.OK)) == Lamps(UNKNOWN, OFF)
    assert expected_lamps(BLADE, None, rolled(Health.UNKNOWN)) == Lamps(UNKNOWN, UNKNOWN)


def test_a_blade_that_tells_no_power_has_its_hosts() -> None:
    untold = Status(state=State.ENABLED, health=Health.OK)
    assert expected_lamps(BLADE, untold, rolled(Health.OK), hosts=(status(PowerState.OFF),)) == Lamps(OFF, OFF)
    two = (status(PowerState.OFF), status(PowerState.ON))
    assert expected_lamps(BLADE, untold, rolled(Health.OK), hosts=two) == Lamps(ON, OFF)
    assert expected_lamps(BLADE, untold, rolled(Health.OK), hosts=(status(PowerState.OFF), None)) == Lamps(UNKNOWN, OFF)


def test_a_hosts_locate_state_shows_on_its_blade() -> None:
    """Chassis schema, LocationIndicatorActive: a write may modify 'the functional view of this chassis'."""
    assert expected_lamps(BLADE, status(), rolled(Health.OK), hosts=(status(locate=True),)) == Lamps(ON, BLINK)


def test_expected_on_other_fronts() -> None:
    assert expected_lamps(FAN, status(), rolled(Health.OK)) == Lamps(ON, OFF)
    assert expected_lamps(FAN, status(), rolled(Health.CRITICAL)) == Lamps(OFF, ON)
    assert expected_lamps(SUPPLY, status(), rolled(Health.OK)) == Lamps(ON, OFF)
    assert expected_lamps(SUPPLY, status(), rolled(Health.CRITICAL)) == Lamps(OFF, ON)
    assert expected_lamps(SUPPLY, None, rolled(Health.UNKNOWN)) == Lamps(UNKNOWN, UNKNOWN)
    assert expected_lamps(part("d", Kind.MEMORY), status(), rolled(Health.OK)) is None
    assert expected_lamps(FAN, Status(state=State.ABSENT), rolled(Health.UNKNOWN)) is None


def test_which_front_has_which_panel() -> None:
    assert panel_of(Kind.BLADE) is Panel.SYSTEM
    assert panel_of(Kind.SLED) is Panel.MODULE
    assert panel_of(Kind.SLED, carries_host=True) is Panel.SYSTEM
    assert panel_of(Kind.POWER_SUPPLY) is Panel.POWER_SUPPLY
    assert panel_of(Kind.HOST, carries_host=True) is None
    assert panel_of(Kind.RACK) is None


@pytest.mark.parametrize(
    ("told", "lamps", "agreement"),
    [
        (Status(), Lamps(ON, OFF), Agreement.NOT_TOLD),
        (Status(locate=True), Lamps(ON, BLINK), Agreement.AGREES),
        (Status(locate=True), Lamps(ON, OFF), Agreement.DISAGREES),
        (Status(locate=False), Lamps(ON, ON), Agreement.AGREES),
        (Status(locate=False), Lamps(ON, BLINK), Agreement.DISAGREES),
        (Status(locate=True), Lamps(ON, UNKNOWN), Agreement.NOT_TOLD),
        (Status(led=LedState.BLINKING), Lamps(ON, BLINK), Agreement.AGREES),
        (Status(led=LedState.BLINKING), Lamps(ON, OFF), Agreement.DISAGREES),
        (Status(led=LedState.OFF), Lamps(OFF, BLINK), Agreement.DISAGREES),
        (Status(led=LedState.OFF), Lamps(ON, ON), Agreement.AGREES),
        (Status(led=LedState.LIT), Lamps(ON, OFF), Agreement.AGREES),
        (Status(led=LedState.LIT), Lamps(OFF, OFF), Agreement.DISAGREES),
        (Status(led=LedState.LIT), Lamps(UNKNOWN, OFF), Agreement.NOT_TOLD),
        (Status(locate=True, led=LedState.BLINKING), Lamps(ON, BLINK), Agreement.AGREES),
        (Status(locate=True, led=LedState.OFF), Lamps(ON, BLINK), Agreement.DISAGREES),
        (Status(locate=False, led=LedState.LIT), Lamps(ON, OFF), Agreement.AGREES),
        (Status(locate=False, led=LedState.BLINKING), Lamps(ON, OFF), Agreement.DISAGREES),
    ],
)
def test_comparison_with_what_the_controller_reports(told: Status, lamps: Lamps, agreement: Agreement) -> None:
    assert compare(Panel.SYSTEM, told, lamps) is agreement


def test_a_panel_without_locate_row_is_never_told_of() -> None:
    assert compare(Panel.MODULE, Status(locate=True), Lamps(ON, OFF)) is Agreement.NOT_TOLD
    assert compare(Panel.SYSTEM, None, Lamps(ON, OFF)) is Agreement.NOT_TOLD


@pytest.mark.parametrize("kind", [Kind.FAN, Kind.DRIVE, Kind.POWER_SUPPLY, Kind.SLED])
def test_a_module_that_is_looked_for_blinks_amber(kind: Kind) -> None:
    """Common practice, no source: the tables 6.2 and 6.4 have no row for locating."""
    part = structs.replace(BLADE, kind=kind)
    assert expected_lamps(part, status(locate=True), rolled(Health.OK)) == Lamps(ON, BLINK)
    assert expected_lamps(part, status(locate=False), rolled(Health.OK)) == Lamps(ON, OFF)
