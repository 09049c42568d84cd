"""The posterior against textbook tables and against another implementation of exact inference (pgmpy)."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.assess.isolate.posterior import Evidence, Posterior, noisy_or, normalised, weigh


def evidence(
    priors: Sequence[float],
    chances: Sequence[Sequence[float]],
    leaks: Sequence[float],
    weights: Sequence[float] | None = None,
    absent: Sequence[Sequence[float]] = (),
    exclusive: Sequence[int] | None = None,
) -> Evidence:
    """``chances``: faults by present signs; ``absent``: faults by visibly absent signs."""
    silent = [sum(math.log1p(-chance) for chance in row) for row in absent] or [0.0] * len(priors)
    return Evidence(
        priors=np.array(priors),
        exclusive=np.array(range(len(priors)) if exclusive is None else exclusive),
        chances=np.array(chances, dtype=float).reshape(len(priors), len(leaks)),
        silent=np.array(silent),
        leaks=np.array(leaks),
        weights=np.ones(len(leaks)) if weights is None else np.array(weights),
        background=np.ones(len(leaks)),
    )


# Russell & Norvig, 'Artificial Intelligence: A Modern Approach': fever of cold, flu, malaria, inhibitors 0.6, 0.2, 0.1.
@pytest.mark.parametrize(
    ("causes", "fever"),
    [((), 0.0), ("M", 0.9), ("F", 0.8), ("FM", 0.98), ("C", 0.4), ("CM", 0.94), ("CF", 0.88), ("CFM", 0.988)],
)
def test_noisy_or_of_the_textbook(causes: str, fever: float) -> None:
    chances = {"C": 0.4, "F": 0.8, "M": 0.9}
    assert noisy_or(0.0, [chances[cause] for cause in causes]) == pytest.approx(fever, abs=1e-12)


def test_leak_is_one_more_cause() -> None:
    assert noisy_or(0.1, [0.5, 0.5]) == pytest.approx(1 - 0.9 * 0.25)


def test_burglary_of_the_textbook() -> None:
    """AIMA's alarm network: its tables give P(B|j,m) 0.28417, P(E|j,m) 0.17607, P(B|a) 0.37355, P(B|a,e) 0.003268."""
    prior_b, prior_e = 0.001, 0.002
    alarm = {(True, True): 0.95, (True, False): 0.94, (False, True): 0.29, (False, False): 0.001}

    def both_call(b: bool, e: bool) -> float:
        return alarm[b, e] * 0.9 * 0.7 + (1 - alarm[b, e]) * 0.05 * 0.01

    def given_that(likelihood: dict[tuple[bool, bool], float]) -> tuple[float, float, float, float]:
        odds_b, odds_e = math.log(prior_b / (1 - prior_b)), math.log(prior_e / (1 - prior_e))
        log = {key: math.log(value) for key, value in likelihood.items()}
        none, singles, pairs = normalised(
            log[False, False],
            np.array([odds_b + log[True, False], odds_e + log[False, True]]),
            np.array([odds_b + odds_e + log[True, True]]),
        )
        return none, float(singles[0]), float(singles[1]), float(pairs[0])

    calls = {key: both_call(*key) for key in alarm}
    _, b, e, both = given_that(calls)
    assert b + both == pytest.approx(0.28417, abs=1e-5)
    assert e + both == pytest.approx(0.17607, abs=1e-5)
    _, b, e, both = given_that(alarm)
    assert b + both == pytest.approx(0.37355, abs=1e-5)
    assert both / (both + e) == pytest.approx(0.003268, abs=1e-5)  # the earthquake explains the burglar away


ALARM = {(True, True): 0.95, (True, False): 0.94, (False, True): 0.29, (False, False): 0.001}
CALLS = {"J": (0.90, 0.05), "M": (0.70, 0.01)}
"""AIMA's tables: P(A|B,E), and P(call|A), P(call|not A)."""


def _ours(who: str) -> dict[str, float]:
    """Burglary and earthquake given calls, by the posterior's own sums, the alarm summed out of the likelihoods."""
    likelihood = {}
    for causes, alarm in ALARM.items():
        heard, unheard = (math.prod(CALLS[each][at] for each in who) for at in (0, 1))
        likelihood[causes] = math.log(alarm * heard + (1 - alarm) * unheard)
    odds_b, odds_e = (math.log(prior / (1 - prior)) for prior in (0.001, 0.002))
    _, singles, pairs = normalised(
        likelihood[False, False],
        np.array([odds_b + likelihood[True, False], odds_e + likelihood[False, True]]),
        np.array([odds_b + odds_e + likelihood[True, True]]),
    )
    return {"B": float(singles[0] + pairs[0]), "E": float(singles[1] + pairs[0])}


@pytest.mark.filterwarnings("ignore")
def test_the_textbook_s_whole_table_and_pgmpy_on_its_network() -> None:
    """AIMA (1st to 3rd edition): P(B|j,m) 0.28417, P(E|j,m) 0.17607, P(B|j) 0.01628, and, by pgmpy on the same network,
    P(A|j,m) 0.76069 and P(j,m,a,not b,not e) 0.000628: the tables are those that are meant."""
    network = pytest.importorskip("pgmpy.models").DiscreteBayesianNetwork(
        [("B", "A"), ("E", "A"), ("A", "J"), ("A", "M")]
    )
    cpd = pytest.importorskip("pgmpy.factors.discrete").TabularCPD
    elimination = pytest.importorskip("pgmpy.inference").VariableElimination
    on = [ALARM[b, e] for b in (False, True) for e in (False, True)]
    network.add_cpds(
        cpd("B", 2, [[0.999], [0.001]]),
        cpd("E", 2, [[0.998], [0.002]]),
        cpd("A", 2, [[1 - p for p in on], on], ["B", "E"], [2, 2]),
        *(cpd(who, 2, [[1 - no, 1 - yes], [no, yes]], ["A"], [2]) for who, (yes, no) in CALLS.items()),
    )
    network.check_model()
    query = elimination(network)

    def asked(of: str, **told: int) -> float:
        return float(query.query([of], evidence=told, show_progress=False).values[1])

    for who, said in (("JM", {"B": 0.28417, "E": 0.17607}), ("J", {"B": 0.01628}), ("M", {})):
        ours = _ours(who)
        assert {name: ours[name] for name in said} == pytest.approx(said, abs=1e-5)
        assert ours == pytest.approx({name: asked(name, **dict.fromkeys(who, 1)) for name in "BE"}, abs=1e-12)
    assert asked("A", J=1, M=1) == pytest.approx(0.76069, abs=1e-5)
    joint = query.query(["B", "E", "A", "J", "M"], show_progress=False)
    assert float(joint.get_value(B=0, E=0, A=1, J=1, M=1)) == pytest.approx(0.000628, abs=1e-6)


@pytest.mark.parametrize("shown", [True, False])
def test_a_fever_s_causes_by_bayes_on_the_textbook_s_noisy_or(shown: bool) -> None:
    """The fever network with priors of our own: the posterior of at most two causes by plain enumeration."""
    priors, chances = [0.05, 0.02, 0.001], [[0.4], [0.8], [0.9]]
    told = evidence(priors, chances, [1e-3]) if shown else evidence(priors, [[], [], []], [], absent=chances)
    total_, marginal = 0.0, [0.0] * 3
    for state in itertools.product((0, 1), repeat=3):
        if sum(state) > 2:
            continue
        fever = noisy_or(1e-3 if shown else 0.0, [chances[at][0] for at in range(3) if state[at]])
        weight = math.prod(p if on else 1 - p for p, on in zip(priors, state, strict=True))
        weight *= fever if shown else 1.0 - fever
        total_ += weight
        marginal = [sum_ + weight * on for sum_, on in zip(marginal, state, strict=True)]
    assert weigh(told).marginals == pytest.approx([each / total_ for each in marginal], abs=1e-12)


def test_explaining_away() -> None:
    """Once a second sign speaks for one cause, the other loses what the shared sign had given it."""
    shared = evidence([0.01, 0.01], [[0.9], [0.9]], [1e-4])
    settled = evidence([0.01, 0.01], [[0.9, 0.0], [0.9, 0.9]], [1e-4, 1e-4])
    before, after = weigh(shared).marginals, weigh(settled).marginals
    assert before[0] == pytest.approx(before[1])
    assert after[1] > 0.99
    assert after[0] < 0.05 < before[0]


def test_a_part_fails_in_one_way_at_a_time() -> None:
    found = weigh(evidence([0.1, 0.1, 0.1], [[0.9], [0.9], [0.9]], [0.01], exclusive=[0, 0, 1]))
    assert sorted(zip(found.first.tolist(), found.second.tolist(), strict=True)) == [(0, 2), (1, 2)]


def test_certainty_in_the_tables_is_borne() -> None:
    found = weigh(evidence([0.1, 0.1], [[1.0], [0.0]], [0.0]))
    assert found.marginals[0] == pytest.approx(1.0)
    with pytest.raises(ValueError, match="no explanation"):
        weigh(evidence([0.1], [[0.0]], [0.0]))


def _with_pgmpy(
    priors: Sequence[float],
    chances: np.ndarray,
    leaks: Sequence[float],
    shown: Sequence[bool],
) -> list[float]:
    """Marginals of each fault by variable elimination, given the signs and that at most two faults are there."""
    network = pytest.importorskip("pgmpy.models").DiscreteBayesianNetwork()
    cpd = pytest.importorskip("pgmpy.factors.discrete").TabularCPD
    elimination = pytest.importorskip("pgmpy.inference").VariableElimination
    faults = [f"f{at}" for at in range(len(priors))]
    network.add_nodes_from(faults)
    for name, prior in zip(faults, priors, strict=True):
        network.add_cpds(cpd(name, 2, [[1 - prior], [prior]]))
    states = list(itertools.product((0, 1), repeat=len(faults)))
    for at, leak in enumerate(leaks):
        name = f"s{at}"
        network.add_edges_from((fault, name) for fault in faults)
        on = [noisy_or(leak, [chances[f, at] for f, is_on in enumerate(state) if is_on]) for state in states]
        network.add_cpds(cpd(name, 2, [[1 - p for p in on], on], faults, [2] * len(faults)))
    network.add_edges_from((fault, "few") for fault in faults)
    few = [float(sum(state) <= 2) for state in states]
    network.add_cpds(cpd("few", 2, [[1 - p for p in few], few], faults, [2] * len(faults)))
    network.check_model()
    query = elimination(network)
    told = {f"s{at}": int(is_on) for at, is_on in enumerate(shown)} | {"few": 1}
    return [float(query.query([fault], evidence=told, show_progress=False).values[1]) for fault in faults]


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", range(6))
def test_random_graphs_as_pgmpy_has_them(seed: int) -> None:
    random = np.random.default_rng(seed)
    faults, signs = int(random.integers(2, 6)), int(random.integers(1, 5))
    priors = random.uniform(0.001, 0.3, faults)
    chances = random.uniform(0, 0.95, (faults, signs)) * (random.random((faults, signs)) < 0.7)
    leaks = random.uniform(0.001, 0.1, signs)
    shown = random.random(signs) < 0.6
    ours = weigh(
        evidence(
            priors.tolist(),
            chances[:, shown].tolist(),
            leaks[shown].tolist(),
            absent=chances[:, ~shown].tolist(),
        )
    )
    theirs = _with_pgmpy(priors.tolist(), chances, leaks.tolist(), shown.tolist())
    assert ours.marginals == pytest.approx(theirs, abs=1e-9)


# What must hold of any evidence

PROBABILITY = st.floats(0.001, 0.5)
CHANCE = st.one_of(st.just(0.0), st.floats(0.01, 0.99))


@st.composite
def cases(draw: st.DrawFn) -> tuple[list[float], list[list[float]], list[float], list[float]]:
    faults, signs = draw(st.integers(1, 6)), draw(st.integers(1, 5))
    return (
        draw(st.lists(PROBABILITY, min_size=faults, max_size=faults)),
        [draw(st.lists(CHANCE, min_size=signs, max_size=signs)) for _ in range(faults)],
        draw(st.lists(st.floats(1e-6, 0.1), min_size=signs, max_size=signs)),
        draw(st.lists(st.floats(0.05, 1.0), min_size=signs, max_size=signs)),
    )


def total(found: Posterior) -> float:
    return found.none + float(found.singles.sum()) + float(found.pairs.sum())


@settings(deadline=None)
@given(cases())
def test_probabilities_are_probabilities(case: tuple[list[float], list[list[float]], list[float], list[float]]) -> None:
    found = weigh(evidence(*case))
    assert total(found) == pytest.approx(1.0, abs=1e-9)
    for each in (found.singles, found.pairs, found.marginals):
        assert (each >= 0).all()
        assert (each <= 1 + 1e-9).all()


@settings(deadline=None)
@given(cases(), st.randoms(use_true_random=False))
def test_order_makes_no_difference(
    case: tuple[list[float], list[list[float]], list[float], list[float]], random: object
) -> None:
    priors, chances, leaks, weights = case
    faults, signs = list(range(len(priors))), list(range(len(leaks)))
    random.shuffle(faults)  # type: ignore[attr-defined]
    random.shuffle(signs)  # type: ignore[attr-defined]
    straight = weigh(evidence(*case)).marginals
    turned = weigh(
        evidence(
            [priors[f] for f in faults],
            [[chances[f][s] for s in signs] for f in faults],
            [leaks[s] for s in signs],
            [weights[s] for s in signs],
        )
    ).marginals
    assert turned == pytest.approx([straight[f] for f in faults], abs=1e-9)


@settings(deadline=None)
@given(PROBABILITY, st.floats(0.05, 0.99), st.floats(1e-6, 0.04), st.floats(0.3, 1.0), st.floats(0.3, 1.0))
def test_surer_signs_make_surer_faults(prior: float, chance: float, leak: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    less, more = (weigh(evidence([prior], [[chance]], [leak], [w])).marginals[0] for w in (low, high))
    assert less <= more + 1e-12


@settings(deadline=None)
@given(PROBABILITY, st.floats(0.05, 0.99), st.floats(1e-6, 0.04), st.floats(0.01, 0.999))
def test_no_fault_is_surer_than_the_sign_it_rests_on(prior: float, chance: float, leak: float, weight: float) -> None:
    """Jeffrey's rule: the posterior is the mean of those with the sign and without it, by how sure that is, at least
    as sure as was to be expected."""
    found = weigh(evidence([prior], [[chance]], [leak], [weight])).marginals[0]
    with_it = weigh(evidence([prior], [[chance]], [leak])).marginals[0]
    without = weigh(evidence([prior], np.empty((1, 0)), [], absent=[[chance]])).marginals[0]  # type: ignore[arg-type]
    sure = max(weight, prior * noisy_or(leak, [chance]) + (1 - prior) * leak)
    assert found == pytest.approx(sure * with_it + (1 - sure) * without, abs=1e-9)


def test_a_doubtful_sign_does_not_decide_between_what_a_sure_one_leaves_open() -> None:
    """A part that fails in one of two ways shows the sure sign in both; the doubtful one only in the rarer."""
    priors, chances, leaks = [2e-4, 5e-5], [[0.9, 0.0], [0.5, 0.4]], [1e-6, 1e-6]
    sure = weigh(evidence(priors, [[row[0]] for row in chances], leaks[:1])).singles
    doubted = weigh(evidence(priors, chances, leaks, [1.0, 0.45])).singles
    shown = weigh(evidence(priors, chances, leaks, [1.0, 1.0])).singles
    assert sure[0] > 5 * sure[1]
    assert sure[1] < doubted[1] < 0.5
    assert shown[1] > 0.99


@settings(deadline=None)
@given(cases(), st.floats(0.05, 0.95))
def test_a_missing_sign_speaks_against_whoever_would_show_it(
    case: tuple[list[float], list[list[float]], list[float], list[float]], chance: float
) -> None:
    priors, chances, leaks, weights = case
    before = weigh(evidence(priors, chances, leaks, weights)).marginals[0]
    absent = [[chance], *([0.0] for _ in priors[1:])]
    assert weigh(evidence(priors, chances, leaks, weights, absent)).marginals[0] <= before + 1e-12
