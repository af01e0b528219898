"""Checks of d-prime in same-different trials against scipy's distributions, simulated listeners and a worked rate."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load
from scipy import stats

from fairhearing.statistics.same_different import Rule, rates, same_different_d_prime

RULES: tuple[Rule, ...] = ("differencing", "independent")


@pytest.mark.parametrize(("sensitivity", "criterion"), [(0.0, 1.0), (0.7, 0.4), (1.5, 1.5), (3.0, 2.2)])
def test_rates_of_the_differencing_rule_follow_the_noncentral_chi_square(sensitivity: float, criterion: float) -> None:
    # (x1 - x2)^2 / 2 is chi-square with one degree of freedom, noncentral by d'^2 / 2: another function of scipy's.
    found = rates(sensitivity, criterion)
    assert found.false_alarms == pytest.approx(stats.chi2.sf(criterion**2 / 2, 1), rel=1e-9)
    if sensitivity:
        assert found.hits == pytest.approx(stats.ncx2.sf(criterion**2 / 2, 1, sensitivity**2 / 2), rel=1e-8)


def test_the_independent_rule_follows_the_unbiased_proportion_of_a_published_example() -> None:
    reference = load("E10")
    d_prime = same_different_d_prime(reference.inputs["hits"], reference.inputs["false_alarms"], "independent")
    # Both percepts judged right, or both wrong, at the middle (Macmillan and Creelman 2005, equation 9.6, from memory).
    right = stats.norm.cdf(d_prime / 2)
    check(float(right**2 + (1 - right) ** 2), reference.expected["pc_unbiased"], reference)


def simulated(rule: Rule, sensitivity: float, n_trials: int) -> tuple[float, float]:
    """Rates of "different" of listeners who decide by the rule, from drawn percepts."""
    generator = np.random.default_rng(20260511)
    kinds = generator.integers(0, 2, (2, n_trials))  # which condition each of the two intervals holds
    percepts = generator.normal(sensitivity * kinds, 1.0)
    different = kinds[0] != kinds[1]
    if rule == "differencing":
        said = np.abs(percepts[0] - percepts[1]) > 1.3
    else:
        middle = percepts > sensitivity / 2
        said = middle[0] != middle[1]
    return float(np.mean(said[different])), float(np.mean(said[~different]))


@pytest.mark.parametrize("rule", RULES)
def test_simulated_listeners_get_the_sensitivity_back_that_they_have(rule: Rule) -> None:
    # 400 000 trials: a standard error of about 0.005 in d-prime; the other rule is off by 0.3 and more.
    hits, false_alarms = simulated(rule, 1.8, 400_000)
    assert same_different_d_prime(hits, false_alarms, rule) == pytest.approx(1.8, abs=0.018)
    other = RULES[1 - RULES.index(rule)]
    assert abs(same_different_d_prime(hits, false_alarms, other) - 1.8) > 0.2


@given(st.floats(min_value=0.05, max_value=5.0), st.floats(min_value=0.1, max_value=4.0))
def test_d_prime_undoes_the_rates(sensitivity: float, criterion: float) -> None:
    found = rates(sensitivity, criterion)
    assert found.hits > found.false_alarms
    if found.hits < 1 - 1e-9 and found.hits - found.false_alarms > 1e-6:
        back = same_different_d_prime(found.hits, found.false_alarms, "differencing")
        assert back == pytest.approx(sensitivity, rel=1e-5)


@given(
    st.floats(min_value=0.05, max_value=0.9), st.floats(min_value=0.02, max_value=0.9),
    st.floats(min_value=0.01, max_value=0.05), st.sampled_from(RULES),
)  # fmt: skip
def test_more_hits_raise_and_more_false_alarms_lower_it(hits: float, alarms: float, more: float, rule: Rule) -> None:
    here = same_different_d_prime(hits, alarms, rule)
    raised, lowered = (
        same_different_d_prime(hits + more, alarms, rule),
        same_different_d_prime(hits, alarms + more, rule),
    )
    assert lowered <= here <= raised
    if hits > alarms:
        assert lowered < here < raised


@pytest.mark.parametrize("rule", RULES)
def test_edges_have_no_estimate_or_none_above_zero(rule: Rule) -> None:
    assert same_different_d_prime(1.0, 0.3, rule) == math.inf
    assert same_different_d_prime(0.4, 0.0, rule) == math.inf
    assert same_different_d_prime(0.3, 0.3, rule) == 0.0
    assert same_different_d_prime(0.2, 0.3, rule) == 0.0
    assert math.isnan(same_different_d_prime(0.0, 0.0, rule))
    assert math.isnan(same_different_d_prime(1.0, 1.0, rule))


def test_values_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match=r"the rates are 1\.2 and 0\.1"):
        same_different_d_prime(1.2, 0.1, "independent")
    with pytest.raises(ValueError, match="rule is 'threshold'"):
        same_different_d_prime(0.7, 0.1, "threshold")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"d-prime is -1"):
        rates(-1.0, 1.0)
    with pytest.raises(ValueError, match="criterion nan"):
        rates(1.0, math.nan)
