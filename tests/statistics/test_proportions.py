"""Checks of exact binomial tests and intervals against printed tables, scipy, statsmodels and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from fairhearing.statistics.proportions import (
    binomial_p_greater,
    binomial_p_two_sided,
    clopper_pearson,
    critical_number,
    wilson,
)

EXACT_CASES = ["8_10", "12_16", "13_16", "14_20", "15_20", "17_25", "18_25", "20_30", "60_100"]
INTERVAL_CASES = ["0_16", "16_16", "7_10", "81_263"]


@st.composite
def counts(draw: st.DrawFn) -> tuple[int, int]:
    n_trials = draw(st.integers(min_value=1, max_value=120))
    return draw(st.integers(min_value=0, max_value=n_trials)), n_trials


def test_critical_numbers_are_those_of_iso_4120_for_the_triangle() -> None:
    reference = load("E01")
    for n_trials, row in zip(reference.inputs["n"], reference.expected["min_correct"], strict=True):
        for alpha, expected in zip(reference.inputs["alpha"], row, strict=True):
            assert critical_number(n_trials, alpha, 1 / 3) == expected, (n_trials, alpha)


def test_critical_numbers_are_those_of_iso_10399_and_iso_5495_for_one_in_two() -> None:
    reference = load("E02")
    for n_trials, row in zip(reference.inputs["n"], reference.expected["min_correct"], strict=True):
        for alpha, expected in zip(reference.inputs["alpha"], row, strict=True):
            assert critical_number(n_trials, alpha) == expected, (n_trials, alpha)


def test_the_true_size_of_a_five_percent_rule_is_below_five_percent() -> None:
    reference = load("E05")
    rows = zip(reference.inputs["n"], reference.expected["crit"], reference.expected["actual_alpha"], strict=True)
    for n_trials, expected, size in rows:
        found = critical_number(n_trials, reference.inputs["max_alpha"])
        assert found == expected
        check(binomial_p_greater(expected, n_trials), size, reference)


@pytest.mark.parametrize("case", EXACT_CASES)
def test_exact_p_values_agree_with_outside_values(case: str) -> None:
    reference = load(f"E04.{case}")
    correct, trials = reference.inputs["correct"], reference.inputs["trials"]
    check(binomial_p_greater(correct, trials, 0.5), reference.expected["one_sided_p"], reference)
    check(binomial_p_two_sided(correct, trials, 0.5), reference.expected["two_sided_p"], reference)


@pytest.mark.parametrize("case", INTERVAL_CASES)
def test_intervals_agree_with_outside_values(case: str) -> None:
    reference = load(f"E14.{case}")
    x, n, confidence = reference.inputs["x"], reference.inputs["n"], reference.inputs["conf"]
    for name, interval in (
        ("clopper_pearson", clopper_pearson(x, n, confidence)),
        ("wilson", wilson(x, n, confidence)),
    ):
        check(interval.low, reference.expected[name][0], reference)
        check(interval.high, reference.expected[name][1], reference)


@given(counts(), st.sampled_from([0.5, 1 / 3, 0.2, 0.37]))
def test_exact_p_values_agree_with_scipy(pair: tuple[int, int], chance: float) -> None:
    n_correct, n_trials = pair
    greater = stats.binomtest(n_correct, n_trials, chance, alternative="greater").pvalue
    two_sided = stats.binomtest(n_correct, n_trials, chance).pvalue
    assert binomial_p_greater(n_correct, n_trials, chance) == pytest.approx(greater, rel=1e-9)
    assert binomial_p_two_sided(n_correct, n_trials, chance) == pytest.approx(two_sided, rel=1e-6)


@given(counts(), st.sampled_from([0.8, 0.95, 0.99]))
def test_intervals_agree_with_statsmodels(pair: tuple[int, int], confidence: float) -> None:
    n_correct, n_trials = pair
    for method, interval in (("beta", clopper_pearson), ("wilson", wilson)):
        low, high = proportion_confint(n_correct, n_trials, alpha=1 - confidence, method=method)
        found = interval(n_correct, n_trials, confidence)
        assert (found.low, found.high) == pytest.approx((low, high), rel=1e-8, abs=1e-12)


@given(counts())
def test_right_and_wrong_exchanged_mirror_the_intervals_and_keep_the_two_sided_p(pair: tuple[int, int]) -> None:
    n_correct, n_trials = pair
    for interval in (clopper_pearson, wilson):
        here, there = interval(n_correct, n_trials), interval(n_trials - n_correct, n_trials)
        assert here.low == pytest.approx(1 - there.high, abs=1e-12)
        assert here.low <= n_correct / n_trials <= here.high
    assert binomial_p_two_sided(n_correct, n_trials) == binomial_p_two_sided(n_trials - n_correct, n_trials)


@given(counts())
def test_the_lower_bound_leaves_chance_just_when_the_one_sided_test_does(pair: tuple[int, int]) -> None:
    n_correct, n_trials = pair
    assert (clopper_pearson(n_correct, n_trials, 0.9).low > 0.5) == (binomial_p_greater(n_correct, n_trials) < 0.05)


@given(st.integers(min_value=1, max_value=60), st.sampled_from([0.5, 1 / 3]))
def test_the_critical_number_is_the_first_that_reaches_alpha(n_trials: int, chance: float) -> None:
    reaching = [k for k in range(n_trials + 1) if binomial_p_greater(k, n_trials, chance) <= 0.05]
    assert critical_number(n_trials, 0.05, chance) == (min(reaching) if reaching else None)


def test_a_p_that_equals_alpha_counts_as_reached() -> None:
    assert binomial_p_greater(5, 5) == 1 / 32
    assert critical_number(5, 1 / 32) == 5


def test_the_clopper_pearson_interval_covers_at_least_as_often_as_it_says() -> None:
    for truth in (0.03, 0.5, 0.71, 0.94):
        intervals = [clopper_pearson(k, 17) for k in range(18)]
        weights = stats.binom.pmf(np.arange(18), 17, truth)
        covered = sum(w for w, i in zip(weights, intervals, strict=True) if i.low <= truth <= i.high)
        assert 0.95 <= covered < 1.0


def test_counts_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="5 right answers out of 4"):
        binomial_p_greater(5, 4)
    with pytest.raises(ValueError, match="chance is 1"):
        binomial_p_two_sided(1, 4, 1.0)
    with pytest.raises(ValueError, match="no trials"):
        clopper_pearson(0, 0)
    with pytest.raises(ValueError, match="confidence is 95"):
        wilson(1, 4, 95.0)
    with pytest.raises(ValueError, match="alpha is 0"):
        critical_number(4, 0.0)
