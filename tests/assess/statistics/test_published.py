"""The statistics against published figures; each source stands beside its check, references are used only here."""

from __future__ import annotations

import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.rates import confint_poisson
from statsmodels.stats.rates import test_poisson_2indep as compare_rates

from collector.assess.statistics.drift import Cusum, Ewma
from collector.assess.statistics.poisson import (
    chi_square_quantile,
    gamma_below,
    more_often,
    mtbf_factors,
    mtbf_lower_without_failure,
    poisson_limits,
    rates_differ,
)
from collector.assess.statistics.robust import against, grubbs, modified_z, outliers
from collector.assess.statistics.trend import crossing, mann_kendall, theil_sen

MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip
"""Montgomery, Introduction to Statistical Quality Control, table 9.1."""


def test_modified_z_of_iglewicz_and_hoaglin() -> None:
    """Iglewicz & Hoaglin 1993, as NIST e-Handbook 1.3.5.17 quotes (data from memory)."""
    values = [2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3]
    assert outliers(values) == [8, 9]
    assert modified_z(values)[8:] == pytest.approx([25.86, 26.31], abs=0.01)


def test_modified_z_of_four_blades_accuses_nobody() -> None:
    """DSP2043 bladed mockup: CPU temperatures of four blades; blade 3 has M 1.97."""
    assert modified_z([62, 57, 77, 50])[2] == pytest.approx(1.97, abs=0.005)


def test_more_than_half_the_same_still_gives_a_scale() -> None:
    """Iglewicz & Hoaglin's fallback, M = (x - median) / (1.253314 mean deviation)."""
    assert modified_z([5, 5, 5, 5, 9])[4] == pytest.approx(4 / (1.253314 * 0.8))
    assert modified_z([5, 5, 5]) == [0, 0, 0]
    assert against(6.0, [5, 5, 5]) == math.inf
    assert against(6.0, [5, 5, 5], floor=0.5) == 2.0


def test_grubbs_of_nist() -> None:
    """NIST e-Handbook 1.3.5.17.1 (data from memory)."""
    values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    assert grubbs(values) == (7, pytest.approx(2.4688, abs=1e-4))
    assert modified_z(values)[7] == pytest.approx(29.96, abs=0.01)


def test_theil_sen_of_helsel_and_hirsch() -> None:
    """Helsel & Hirsch, Statistical Methods in Water Resources (data from memory)."""
    line = theil_sen([1, 2, 3, 4, 5, 6, 7], [1, 2, 3, 4, 5, 16, 7])
    assert (line.slope, line.intercept) == (1, 0)


def test_trend_of_gilbert() -> None:
    """Gilbert 1987 (from memory): slope 2.9167, one-sided Kendall p 1/6."""
    assert theil_sen([1, 2, 3, 4], [10, 15, 14, 20]).slope == pytest.approx(2.9167, abs=1e-4)
    assert mann_kendall([10, 15, 14, 20]).p / 2 == pytest.approx(1 / 6)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-20, 20), min_size=11, max_size=40))
def test_trend_as_scipy_and_pymannkendall_have_it(values: list[int]) -> None:
    x = list(range(len(values)))
    ours = theil_sen(x, values)
    scipys = stats.theilslopes(values, x, 0.95)
    assert ours.slope == pytest.approx(scipys.slope)
    assert ours.intercept == pytest.approx(scipys.intercept)
    assert (ours.low, ours.high) == pytest.approx((scipys.low_slope, scipys.high_slope))
    test = mann_kendall(values)
    theirs = pymannkendall.original_test(np.asarray(values, dtype=float))
    assert (test.s, test.variance) == (theirs.s, pytest.approx(theirs.var_s))
    assert test.p == pytest.approx(theirs.p, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.permutations(list(range(8))))
def test_exact_kendall_as_scipy_has_it(values: list[int]) -> None:
    theirs = stats.kendalltau(range(8), values, method="exact").pvalue
    assert mann_kendall(values).p == pytest.approx(theirs)


def test_a_forecast_only_where_the_data_carry_one() -> None:
    days = [float(day) for day in range(30)]
    falling = [90.0 - day + 0.3 * math.sin(7 * day) for day in days]
    found = crossing(days, falling, 50.0)
    assert found is not None
    assert found.earliest <= found.at <= found.latest
    assert found.at == pytest.approx(40, abs=0.5)
    assert crossing(days, falling, 5.0) is None, "further than was looked back"
    assert crossing(days, falling, 95.0) is None, "the other way"
    assert crossing(days[:5], falling[:5], 80.0) is None, "too few"
    assert crossing(days, [math.sin(7 * day) for day in days], 50.0) is None, "no trend"


def test_ewma_of_montgomery() -> None:
    """Montgomery's example 9.2: lambda 0.1, L 2.7, mean 10, sigma 1; first signal at 29."""
    chart = Ewma(10, 1, 0.1, 2.7)
    told = [(chart.take(value), chart.value) for value in MONTGOMERY]
    assert [number for number, (out, _) in enumerate(told, 1) if out] == [29, 30]
    assert [told[at][1] for at in (0, 28, 29)] == pytest.approx([9.945, 10.6468, 10.6341], abs=1e-4)
    assert 10 + chart.half_width == pytest.approx(10.6189, abs=1e-4)


def test_cusum_of_montgomery() -> None:
    """Montgomery's example 9.1: k 0.5, h 5."""
    chart = Cusum(10, 1)
    told = [(chart.take(value), chart.high) for value in MONTGOMERY]
    assert [number for number, (side, _) in enumerate(told, 1) if side] == [29, 30]
    assert [told[at][1] for at in (27, 28)] == pytest.approx([4.47, 5.28], abs=0.005)
    assert chart.take(math.nan) == 1


@pytest.mark.parametrize(
    ("failures", "factors"),
    [
        (1, (0.3340, 4.4814, 0.2571, 9.4912, 0.2108, 19.4957, 0.1795, 39.4979)),
        (2, (0.4674, 2.4260, 0.3758, 3.7607, 0.3177, 5.6281, 0.2768, 8.2573)),
        (3, (0.5440, 1.9543, 0.4490, 2.7222, 0.3869, 3.6689, 0.3422, 4.8491)),
        (5, (0.6324, 1.6184, 0.5391, 2.0554, 0.4756, 2.5379, 0.4285, 3.0798)),
        (10, (0.7326, 1.3719, 0.6491, 1.6074, 0.5895, 1.8432, 0.5438, 2.0853)),
    ],
)
def test_mtbf_factors_of_nist(failures: int, factors: tuple[float, ...]) -> None:
    """NIST e-Handbook 8.4.5.1: 60, 80, 90 and 95 %."""
    ours = [factor for confidence in (0.6, 0.8, 0.9, 0.95) for factor in mtbf_factors(failures, confidence)]
    assert ours == pytest.approx(factors, abs=6e-5)


def test_mtbf_of_nist() -> None:
    """NIST e-Handbook 8.4.5.1: 800 h, two failures, 90 %: 127 to 2251 h; none failed: T / -ln alpha."""
    low, high = mtbf_factors(2, 0.9)
    assert (400 * low, 400 * high) == pytest.approx((127, 2251), abs=0.5)
    assert mtbf_lower_without_failure(1.0) == pytest.approx(0.3338, abs=1e-4)


def test_no_failure_at_any_confidence() -> None:
    """NIST e-Handbook 8.4.5.1: without a failure the lower limit is T / -ln alpha; 95 %: 0.3338 T, 60 %: 1.0913 T."""
    for confidence in (0.6, 0.8, 0.9, 0.95, 0.99):
        wanted = 1000.0 / -math.log(1.0 - confidence)
        assert mtbf_lower_without_failure(1000.0, confidence) == pytest.approx(wanted, rel=1e-9)


def test_poisson_limits() -> None:
    """Garwood's exact limits: 3 events 0.619 to 8.767, none 0 to 3.689."""
    assert poisson_limits(3) == pytest.approx((0.619, 8.767), abs=5e-4)
    assert poisson_limits(0) == pytest.approx((0, 3.689), abs=5e-4)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 3000), st.sampled_from([0.6, 0.9, 0.95, 0.999]))
def test_poisson_limits_as_statsmodels_has_them(events: int, confidence: float) -> None:
    theirs = confint_poisson(events, 1.0, method="exact-c", alpha=1 - confidence)
    ours = poisson_limits(events, confidence)
    assert ours.high == pytest.approx(theirs[1], rel=1e-8)
    assert ours.low == pytest.approx(0.0 if events == 0 else theirs[0], rel=1e-8)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.5, 2000), st.floats(0, 4000), st.floats(0.001, 0.999))
def test_gamma_as_scipy_has_it(shape: float, x: float, probability: float) -> None:
    assert gamma_below(shape, x) == pytest.approx(stats.gamma.cdf(x, shape), rel=1e-8, abs=1e-12)
    theirs = stats.chi2.ppf(probability, 2 * shape)
    assert chi_square_quantile(probability, 2 * shape) == pytest.approx(theirs, rel=1e-8)


def test_conditional_exact_comparison() -> None:
    """12 against 4 events: p 0.0768 (binomial, exact)."""
    assert rates_differ(12, 1, 4, 1) == pytest.approx(0.0768, abs=5e-5)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 60), st.floats(0.1, 9), st.integers(1, 60), st.floats(0.1, 9))
def test_comparison_as_scipy_and_statsmodels_have_it(first: int, a: float, second: int, b: float) -> None:
    share = a / (a + b)
    if first + second:
        theirs = stats.binomtest(first, first + second, share).pvalue
        assert rates_differ(first, a, second, b) == pytest.approx(theirs, rel=1e-6, abs=1e-12)
        larger = compare_rates(first, a, second, b, method="exact-cond", alternative="larger").pvalue
        assert more_often(first, a, second, b) == pytest.approx(larger, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("wrong", [[], [math.nan, 1.0], [1.0]])
def test_nothing_is_made_of_nothing(wrong: list[float]) -> None:
    with pytest.raises(ValueError):
        theil_sen(range(len(wrong)), wrong)
    with pytest.raises(ValueError):
        poisson_limits(-1)
    with pytest.raises(ValueError):
        grubbs(wrong)
