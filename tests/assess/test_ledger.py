"""The parts ledger: hours, failures, exact limits, and who fails more than its kind."""

from __future__ import annotations

from typing import Any

import pytest
from scipy import stats

from collector.assess.ledger import ledger
from collector.model import Health, Identity, Kind, Stay, Suspect, Trouble, Turn

HOUR = 3600.0


def stay(serial: str | None, number: str = "FN-1", until: float | None = None, **more: Any) -> Stay:
    given: dict[str, Any] = {"since": 0.0, "kind": Kind.FAN, "part": f"c1:{serial}", "began": Turn.APPEARED}
    identity = Identity(serial=serial, part_number=number, firmware=more.pop("firmware", None))
    return Stay(
        controller="c1", position=f"c1:{serial}", name="Fan", identity=identity, until=until, **{**given, **more}
    )


def trouble(part: str, opened: float = HOUR, probability: float = 0.95) -> Trouble:
    suspect = Suspect(part=part, controller="c1", kind=Kind.FAN, name="Fan", fault="seized", probability=probability)
    return Trouble(id=f"{part} {opened}", opened=opened, changed=opened, severity=Health.WARNING, suspects=(suspect,))


def test_hours_parts_and_failures_with_the_limits_of_chi_square() -> None:
    """Source: NIST/SEMATECH e-Handbook 8.4.5.1, as scipy's chi-square gives it: 800 h, 2 failures, 90 %."""
    stays = [stay(f"s{n}") for n in range(8)]
    (line,) = ledger(stays, [trouble("c1:s0"), trouble("c1:s1")], 100 * HOUR)
    assert (line.parts, line.hours, line.failures) == (8, 800.0, 2)
    assert line.rate == pytest.approx(2500.0)
    assert line.low is not None
    assert line.high is not None
    assert line.low == pytest.approx(1e6 * stats.chi2.ppf(0.05, 4) / 1600)
    assert line.high == pytest.approx(1e6 * stats.chi2.ppf(0.95, 6) / 1600)
    assert 1e6 / line.high == pytest.approx(127, abs=0.5)
    assert 1e6 / line.low == pytest.approx(2251, abs=0.5)


def test_a_part_fails_once_and_a_weak_suspicion_is_no_failure() -> None:
    told = [trouble("c1:s0"), trouble("c1:s0", 2 * HOUR), trouble("c1:s1", probability=0.4)]
    (line,) = ledger([stay("s0"), stay("s1")], told, 10 * HOUR)
    assert line.failures == 1


def test_the_part_that_stood_there_then_is_charged() -> None:
    old = stay("old", "FN-1", 5 * HOUR, part="c1:place")
    new = stay("new", "FN-2", since=5 * HOUR, part="c1:place")
    lines = {line.part_number: line for line in ledger([old, new], [trouble("c1:place", 3 * HOUR)], 10 * HOUR)}
    assert lines["FN-1"].failures == 1
    assert lines["FN-2"].failures == 0
    assert lines["FN-2"].hours == 5.0


def test_a_part_number_that_fails_more_than_its_kind_is_named_and_chance_is_not() -> None:
    """The conditional test is binomial: held against scipy's binomtest."""
    stays = [stay(f"a{n}", "FN-1") for n in range(50)] + [stay(f"b{n}", "FN-2") for n in range(50)]
    told = [trouble(f"c1:a{n}") for n in range(12)] + [trouble("c1:b0")]
    lines = {line.part_number: line for line in ledger(stays, told, 1000 * HOUR)}
    assert lines["FN-1"].more_than_its_kind
    assert not lines["FN-2"].more_than_its_kind
    assert lines["FN-1"].p == pytest.approx(stats.binomtest(12, 13, 0.5, "greater").pvalue)
    few = [trouble("c1:a0"), trouble("c1:a1")]
    assert not any(line.more_than_its_kind for line in ledger(stays, few, 1000 * HOUR))


def test_no_hours_no_rate_and_no_others_no_comparison() -> None:
    (line,) = ledger([stay("s0")], [], 0.0)
    assert (line.rate, line.low, line.p, line.more_than_its_kind) == (None, None, None, False)
    assert ledger([], [trouble("c1:s0")], 5.0) == []
