"""Contact: lost, slow, restarted, a wrong clock, one that comes and goes."""

from __future__ import annotations

import pytest
from msgspec import structs

from collector.assess.looks.contact import ContactLook
from collector.model import (
    Outcome,
    Sign,
)
from tests.assess.fleet import FINE, NAME, inventory
from tests.assess.looks.seeing import BMC, seen, signs


def contact() -> ContactLook:
    look = ContactLook(NAME)
    look.inventory(inventory(), 0.0)
    return look


@pytest.mark.parametrize(
    ("outcome", "sign"),
    [
        (Outcome.UNREACHABLE, Sign.CUT_OFF),
        (Outcome.TIMED_OUT, Sign.SILENT),
        (Outcome.UNAVAILABLE, Sign.SILENT),
        (Outcome.MALFORMED, Sign.SILENT),
    ],
)
def test_contact_is_lost_after_two_rounds_and_regained_with_one(outcome: Outcome, sign: Sign) -> None:
    look = contact()
    assert not look.round(seen(30, outcome=outcome))
    assert look.round(seen(60, outcome=outcome))
    assert signs(look) == {("bmc", sign)}
    assert next(iter(look.present.values())).since == 30
    assert look.round(seen(90, []))
    assert (BMC, sign, None) not in look.present


@pytest.mark.parametrize("outcome", [Outcome.LOGIN_REFUSED, Outcome.UNTRUSTED])
def test_what_people_must_mend_is_no_sign_of_a_part(outcome: Outcome) -> None:
    look = contact()
    for turn in range(5):
        look.round(seen(30.0 * turn, outcome=outcome))
    assert not look.present


def test_slow_is_against_its_own_past_and_half_a_second_an_answer() -> None:
    look = contact()
    for turn in range(20):
        look.round(seen(30.0 * turn, [], seconds=0.05))
    for turn in range(20, 30):
        look.round(seen(30.0 * turn, [], seconds=0.45))
    assert not look.present, "nine times slower, yet nobody waits for it"
    look = contact()
    for turn in range(20):
        look.round(seen(30.0 * turn, [], seconds=2.0))
    look.round(seen(600.0, [], seconds=12.0))
    look.round(seen(630.0, [], seconds=2.0))
    assert not look.present, "once is chance"
    for turn in range(3):
        look.round(seen(660.0 + 30 * turn, [], seconds=12.0))
    assert signs(look) == {("bmc", Sign.SLOW)}
    for turn in range(3):
        look.round(seen(760.0 + 30 * turn, [], seconds=2.0))
    assert not look.present


def test_a_round_that_asks_for_more_is_no_slower_and_one_that_asks_for_little_no_faster() -> None:
    look = contact()
    for turn in range(20):
        look.round(seen(30.0 * turn, [], seconds=0.4, requests=20))
    for turn in range(20, 30):
        look.round(seen(30.0 * turn, [], seconds=16.0, requests=800))
    assert not look.present
    look.round(seen(900.0, [], seconds=60.0, requests=20))
    look.round(seen(930.0, [], seconds=3.0, requests=1))
    assert signs(look) == {("bmc", Sign.SLOW)}, "much slower in each of two rounds, of which one asked for little"


def test_a_restart_is_told_or_guessed_from_absence() -> None:
    look = contact()
    look.round(seen(1e6, [], statuses={"bmc": structs.replace(FINE, last_reset=9e5)}))
    look.round(seen(1e6 + 60, [], statuses={"bmc": structs.replace(FINE, last_reset=1e6 + 10)}))
    assert signs(look) == {("bmc", Sign.RESTARTED)}
    look.round(seen(1e6 + 60 + 1800, [], statuses={"bmc": structs.replace(FINE, last_reset=1e6 + 10)}))
    assert not look.present
    look = contact()
    look.round(seen(30, outcome=Outcome.UNREACHABLE))
    look.round(seen(90, []))
    assert signs(look) == {("bmc", Sign.RESTARTED)}
    (only,) = look.present.values()
    assert only.weight == 0.5


def test_a_clock_is_off_beyond_a_minute() -> None:
    look = contact()
    look.round(seen(30, [], clock=59.0))
    assert not look.present
    look.round(seen(60, [], clock=-3600.0))
    assert signs(look) == {("bmc", Sign.CLOCK_OFF)}
    look.round(seen(90, []))
    assert look.present, "not read this time"
    look.round(seen(120, [], clock=0.5))
    assert not look.present


def test_contact_that_comes_and_goes() -> None:
    look = contact()
    for turn in range(6):
        look.round(seen(60.0 * turn, [] if turn % 2 else None, outcome=Outcome.OK if turn % 2 else Outcome.UNREACHABLE))
    assert ("bmc", Sign.UNSTEADY) in signs(look)
    for turn in range(70):
        look.round(seen(400 + 60.0 * turn, []))
    assert ("bmc", Sign.UNSTEADY) not in signs(look)


def test_a_controller_that_was_never_walked_has_a_name() -> None:
    look = ContactLook(NAME)
    for turn in range(2):
        look.round(seen(turn, outcome=Outcome.UNREACHABLE))
    assert [key[0] for key in look.present] == [f"~controller:{NAME}"]
    look.inventory(inventory(), 2.0)
    assert signs(look) == {("bmc", Sign.CUT_OFF)}
