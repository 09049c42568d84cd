"""Units and choices of a viewer, against published factors."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from collector.model import Quantity
from dashboard.panels.preferences import choices
from dashboard.views import turned
from dashboard.views.preferences import CHOICES, Preferences, chosen, written
from dashboard.views.units import PLAIN, Units
from dashboard.views.words import difference, figure
from tests.dashboard.reading import find, parse, words
from tests.dashboard.test_pages import visit, whole

OTHER = Units(fahrenheit=True, cfm=True)


@pytest.mark.parametrize(("celsius", "fahrenheit"), [(-40, -40), (0, 32), (37, 98.6), (100, 212), (-273.15, -459.67)])
def test_temperatures_in_fahrenheit(celsius: float, fahrenheit: float) -> None:
    """NIST SP 811 (2008), B.8: t/F = 1.8 t/C + 32; the points are of common knowledge."""
    assert OTHER.value(celsius, "Cel") == pytest.approx(fahrenheit, abs=1e-9)
    assert PLAIN.value(celsius, "Cel") == celsius


def test_a_difference_of_temperatures_has_no_offset() -> None:
    """NIST SP 811, B.8: an interval of 1 K is one of 1.8 F."""
    assert OTHER.span(10, "Cel") == OTHER.span(10, "K") == 18
    assert difference(10, Quantity.TEMPERATURE, "Cel") == "10.0 K"
    assert difference(10, Quantity.TEMPERATURE, "Cel", OTHER) == "18.0 °F"


def test_air_in_cubic_feet_a_minute() -> None:
    """Check values, 2: 1 m3/s = 2118.88 CFM; 0.2393 m3/s = 507 CFM; 8, UCUM: [ft_i]3/min = 4.719474e-4 m3/s."""
    assert OTHER.value(1, "m3/s") == pytest.approx(2118.88, abs=0.005)
    assert OTHER.value(0.2393, "m3/s") == pytest.approx(507, abs=0.5)
    assert OTHER.value(4.719474e-4, "m3/s") == pytest.approx(1, rel=1e-6)


def test_air_and_heat_worked_in_both_units() -> None:
    """Check values, 2: CFM = 1.757 W / K = 3.162 W / F at 1.2 kg/m3 (cp 1005 J/kg K), tol 0.5 %."""
    air = 800.0 / (1.2 * 1005.0 * 10.0)
    assert OTHER.value(air, "m3/s") == pytest.approx(1.757 * 800 / 10, rel=0.005)
    assert OTHER.value(air, "m3/s") == pytest.approx(3.162 * 800 / OTHER.span(10, "K"), rel=0.005)


def test_figures_carry_the_chosen_unit_and_others_stay() -> None:
    assert figure(61.04, Quantity.TEMPERATURE, "Cel", OTHER) == "141.9 °F"
    assert figure(0.0413, Quantity.AIR_FLOW, "m3/s", OTHER) == "87.5 CFM"
    for quantity, unit in ((Quantity.POWER, "W"), (Quantity.LIQUID_FLOW, "L/min"), (Quantity.ROTATION, "{rev}/min")):
        assert figure(70.0, quantity, unit, OTHER) == figure(70.0, quantity, unit)
    assert figure(math.nan, Quantity.TEMPERATURE, "Cel", OTHER) == "no value"


def test_choices_are_written_and_read_back() -> None:
    every = [
        chosen(f"{a}.{b}.{c}.{d}")
        for a in ("here", "utc")
        for b in "CF"
        for c in ("m3s", "cfm")
        for d in ("blink", "still")
    ]
    assert len(set(every)) == 16
    for each in every:
        assert chosen(written(each)) == each
        assert chosen(written(each), Preferences(OTHER, utc=True, still=True)) == each


def test_words_that_are_not_known_choose_nothing() -> None:
    before = chosen("F.still")
    assert chosen("", before) == chosen("kelvin.<script>..", before) == before


def test_each_button_changes_one_choice_and_the_taken_ones_are_pressed() -> None:
    now = chosen("F.utc")
    buttons = find(parse(choices(now, "./?view=x")), data_prefer="")
    assert len(buttons) == 2 * len(CHOICES)
    for button in buttons:
        told = chosen(button.get("data-prefer", ""), now)
        assert (told == now) is (button.get("aria-pressed") == "true")


def test_temperatures_in_the_assessments_sentences_turn() -> None:
    assert turned.words("above upper caution, 40 °C", OTHER) == "above upper caution, 104 °F"
    assert turned.words("from -40 °C to 21.5 °C", OTHER) == "from -40 °F to 70.7 °F"
    assert turned.words("above upper caution, 40 °C", PLAIN) == "above upper caution, 40 °C"
    assert turned.words("below 1200 rpm", OTHER) == "below 1200 rpm"


def test_the_pages_tell_what_was_chosen(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    choices_begin = "Times, units and motion"
    sled = words(whole(visit(filled[0], monkeypatch, sled="r03-s1", view="F"))).partition(choices_begin)[0]
    assert "°F" in sled
    rounds = words(whole(visit(filled[0], monkeypatch, view="F"))).partition(choices_begin)[0]
    assert "°C" not in rounds
