"""Checks of two one-sided tests against R, statsmodels, scipy, enumeration, and simulations of their size."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load
from scipy import integrate, stats
from statsmodels.stats.weightstats import DescrStatsW

from fairhearing.statistics._listener_counts import listener_counts
from fairhearing.statistics.equivalence import equivalent_over_listeners, equivalent_proportion
from fairhearing.statistics.equivalence_power import (
    equivalence_power,
    equivalence_power_over_listeners,
    listeners_needed_for_equivalence,
    trials_needed_for_equivalence,
)

# Student 1908: hours of sleep gained with the one drug over the other.
SLEEP = [1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4]


@pytest.mark.parametrize("case", ["2", "2.5"])
def test_two_one_sided_t_tests_are_those_of_r(case: str) -> None:
    reference = load(f"F06.{case}")
    lower, upper = reference.inputs["equivalence_bounds"]
    found = equivalent_over_listeners(SLEEP, lower, upper)
    check(found.p_value, reference.expected["p_TOST"], reference)
    for bound, expected in zip((found.low, found.high), reference.expected["ci90"], strict=True):
        check(bound, expected, reference)
    assert found.p_upper == found.p_value
    assert found.p_lower == pytest.approx(stats.t.sf(reference.expected["t_lower"], 9), rel=1e-4)
    assert found.confidence == pytest.approx(0.9)
    assert found.within == (reference.expected["p_TOST"] <= 0.05)


@given(
    values=st.lists(st.integers(-30, 30), min_size=3, max_size=12).filter(lambda v: len(set(v)) > 1),
    width=st.integers(1, 30),
)
def test_two_one_sided_t_tests_are_those_of_statsmodels(values: list[int], width: int) -> None:
    tenths = [Fraction(value, 10) for value in values]
    found = equivalent_over_listeners(tenths, -width / 10, width / 10)
    p_value, lower, upper = DescrStatsW([value / 10 for value in values]).ttost_mean(-width / 10, width / 10)
    assert found.p_value == pytest.approx(p_value, rel=1e-7, abs=1e-12)
    assert found.p_lower == pytest.approx(lower[1], rel=1e-7, abs=1e-12)
    assert found.p_upper == pytest.approx(upper[1], rel=1e-7, abs=1e-12)
    inside = -width / 10 < found.low and found.high < width / 10
    assert found.within == inside or math.isclose(found.p_value, 0.05, rel_tol=1e-6)


def test_one_margin_alone_is_a_one_sided_t_test() -> None:
    below = equivalent_over_listeners(SLEEP, None, 2.5)
    assert below.p_value == pytest.approx(stats.ttest_1samp(SLEEP, 2.5, alternative="less").pvalue, rel=1e-9)
    assert below.p_lower is None
    above = equivalent_over_listeners(SLEEP, 0.5, None)
    assert above.p_value == pytest.approx(stats.ttest_1samp(SLEEP, 0.5, alternative="greater").pvalue, rel=1e-9)
    assert above.p_upper is None


def test_exchange_of_signs_stands_beside_t() -> None:
    found = equivalent_over_listeners(SLEEP, -2.5, 2.5)
    flips = [sum(sign * (2.5 - value) for sign, value in zip(signs, SLEEP, strict=True))
             for signs in np.array(np.meshgrid(*[[1, -1]] * 10)).reshape(10, -1).T]  # fmt: skip
    observed = sum(2.5 - value for value in SLEEP)
    assert found.sign_flip_p_value == pytest.approx(np.mean(np.array(flips) >= observed - 1e-9), abs=1e-12)
    assert equivalent_over_listeners(SLEEP, -1.0, 1.0).sign_flip_p_value == 1.0  # the mean is outside


def test_listeners_who_are_all_alike_show_nothing() -> None:
    found = equivalent_over_listeners([Fraction(1, 2)] * 8, 0.4, 0.6)
    assert found.p_value == 1.0
    assert not found.within
    assert math.isnan(found.low)
    assert math.isnan(found.high)


@pytest.mark.parametrize("n_listeners", [3, 6, 12, 40])
@pytest.mark.parametrize(("margin", "sd"), [(0.6, 0.0), (0.6, 0.8), (0.75, 0.8)])
def test_a_share_at_the_margin_is_called_within_in_alpha_at_most(n_listeners: int, margin: float, sd: float) -> None:
    n_sessions, n_trials = 800, 16
    chances = np.array(listener_counts(n_trials, margin, sd))
    draws = np.random.default_rng([n_listeners, 11]).choice(
        17, p=chances / chances.sum(), size=(n_sessions, n_listeners)
    )
    found = [equivalent_over_listeners([Fraction(int(k), n_trials) for k in row], None, margin) for row in draws]
    bound = 0.05 + 3 * math.sqrt(0.05 * 0.95 / n_sessions)
    assert np.mean([one.within for one in found]) <= bound
    assert np.mean([one.sign_flip_p_value <= 0.05 for one in found]) <= bound
    assert any(one.within for one in found)


# --- proportions ------------------------------------------------------------------------------------------------------


@given(
    data=st.data(),
    n_trials=st.integers(1, 80),
    lower=st.sampled_from([0.2, 1 / 3, 0.4]),
    alpha=st.sampled_from([0.01, 0.05]),
)
def test_exact_tests_are_those_of_scipy_and_agree_with_their_interval(
    data: st.DataObject, n_trials: int, lower: float, alpha: float
) -> None:
    n_right = data.draw(st.integers(0, n_trials))
    upper = 0.7
    found = equivalent_proportion(n_right, n_trials, lower, upper, alpha)
    assert found.p_upper == pytest.approx(
        stats.binomtest(n_right, n_trials, upper, alternative="less").pvalue, rel=1e-9
    )
    assert found.p_lower == pytest.approx(
        stats.binomtest(n_right, n_trials, lower, alternative="greater").pvalue, rel=1e-9
    )
    assert found.p_value == max(found.p_upper or 0.0, found.p_lower or 0.0)
    interval = stats.binomtest(n_right, n_trials).proportion_ci(1 - 2 * alpha, method="exact")
    assert (found.low, found.high) == (pytest.approx(interval.low, abs=1e-9), pytest.approx(interval.high, abs=1e-9))
    assert found.within == (lower <= found.low and found.high <= upper)


def test_no_better_than_a_margin_asks_the_upper_side_alone() -> None:
    found = equivalent_proportion(50, 100, None, 0.6)
    assert found.p_lower is None
    assert found.p_value == pytest.approx(stats.binom.cdf(50, 100, 0.6), rel=1e-12)
    assert equivalent_proportion(0, 100, None, 0.6).within
    assert not equivalent_proportion(0, 100, 0.4, 0.6).within


def within_counts(n_trials: int, lower: float | None, upper: float | None) -> list[int]:
    return [k for k in range(n_trials + 1) if equivalent_proportion(k, n_trials, lower, upper).within]


@pytest.mark.parametrize(("lower", "upper"), [(None, 0.6), (0.4, 0.6), (0.3, None), (1 / 3, 0.7)])
@pytest.mark.parametrize("n_trials", [4, 40, 73, 120])
def test_powers_are_sums_over_the_counts_that_are_within(
    lower: float | None, upper: float | None, n_trials: int
) -> None:
    counts = within_counts(n_trials, lower, upper)
    found = equivalence_power(n_trials, 0.5, lower, upper)
    assert (found.fewest, found.most) == ((counts[0], counts[-1]) if counts else (None, None))
    assert counts == list(range(counts[0], counts[-1] + 1)) if counts else found.power == 0.0
    assert found.power == pytest.approx(stats.binom.pmf(counts, n_trials, 0.5).sum() if counts else 0.0, abs=1e-12)
    sizes = [stats.binom.pmf(counts, n_trials, m).sum() if counts else 0.0 for m in (lower, upper) if m is not None]
    assert found.size == pytest.approx(max(sizes), abs=1e-12)
    assert found.size <= 0.05


@pytest.mark.parametrize(("lower", "upper", "most"), [(None, 0.65, 150), (0.35, 0.65, 200)])
def test_trials_needed_for_equivalence_are_those_of_a_scan(lower: float | None, upper: float, most: int) -> None:
    found = trials_needed_for_equivalence(0.5, lower, upper, most=most)
    powers = [equivalence_power(n, 0.5, lower, upper).power for n in range(most + 1)]
    assert found.first is not None
    assert found.every is not None
    assert found.first.n_trials == next(n for n, power in enumerate(powers) if power >= 0.8)
    assert found.every.n_trials == 1 + max(n for n, power in enumerate(powers) if power < 0.8)
    assert found.first.power == powers[found.first.n_trials]


def test_what_is_at_the_margin_is_never_shown_to_be_within() -> None:
    found = trials_needed_for_equivalence(0.6, None, 0.6)
    assert (found.first, found.every) == (None, None)


@given(n_trials=st.integers(0, 150), shares=st.lists(st.floats(0.5, 1.0), min_size=2, max_size=4))
def test_the_farther_from_the_middle_the_less_the_power(n_trials: int, shares: list[float]) -> None:
    powers = [equivalence_power(n_trials, share, 0.3, 0.7).power for share in sorted(shares)]
    assert all(later <= earlier + 1e-12 for earlier, later in itertools.pairwise(powers))


@pytest.mark.parametrize(("n_listeners", "mean"), [(4, 0.0), (12, 0.0), (12, 0.15), (40, -0.1)])
def test_power_over_listeners_is_that_of_the_integral_and_of_a_simulation(n_listeners: int, mean: float) -> None:
    sd, margin = 0.5, 0.4
    found = equivalence_power_over_listeners(n_listeners, mean, sd, -margin, margin)
    error, freedom = sd / math.sqrt(n_listeners), n_listeners - 1
    critical = stats.t.isf(0.05, freedom)

    def shown(square: float) -> float:
        scale = critical * math.sqrt(square / freedom)
        inside = stats.norm.cdf((margin - mean) / error - scale) - stats.norm.cdf((-margin - mean) / error + scale)
        return max(0.0, float(inside)) * float(stats.chi2.pdf(square, freedom))

    last = freedom * (margin / error / critical) ** 2
    assert found == pytest.approx(integrate.quad(shown, 0.0, last, limit=200)[0], abs=2e-4)
    draws = np.random.default_rng(5).normal(mean, sd, (40_000, n_listeners))
    half = critical * draws.std(axis=1, ddof=1) / math.sqrt(n_listeners)
    within = (np.abs(draws.mean(axis=1)) + half) <= margin
    assert found == pytest.approx(within.mean(), abs=0.01)


def test_listeners_needed_for_equivalence_reach_the_power_and_one_less_does_not() -> None:
    for mean, sd, lower in ((0.0, 0.5, -0.4), (0.1, 0.8, -0.5), (0.0, 0.3, None)):
        found = listeners_needed_for_equivalence(mean, sd, lower, 0.4)
        assert found is not None
        assert equivalence_power_over_listeners(found, mean, sd, lower, 0.4) >= 0.8
        assert equivalence_power_over_listeners(found - 1, mean, sd, lower, 0.4) < 0.8
    assert listeners_needed_for_equivalence(0.4, 0.5, -0.4, 0.4, most=300) is None


def test_one_margin_alone_is_noncentral_t() -> None:
    found = equivalence_power_over_listeners(12, 0.5, 0.15, None, 0.65)
    assert found == pytest.approx(stats.nct.sf(stats.t.isf(0.05, 11), 11, 0.15 * math.sqrt(12) / 0.15), abs=1e-6)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: equivalent_proportion(5, 4, None, 0.6), "can't be tested"),
        (lambda: equivalent_proportion(0, 0, None, 0.6), "can't be tested"),
        (lambda: equivalent_proportion(2, 4, None, None), "margins are None and None"),
        (lambda: equivalent_proportion(2, 4, 0.6, 0.6), "margins are"),
        (lambda: equivalent_proportion(2, 4, None, 1.0), "margins are"),
        (lambda: equivalent_proportion(2, 4, None, 0.6, 0.5), "alpha is 0.5"),
        (lambda: equivalent_over_listeners([0.5], None, 0.6), "1 listeners"),
        (lambda: equivalent_over_listeners([0.5, math.nan], None, 0.6), "nan is among"),
        (lambda: equivalent_over_listeners([0.5, 0.6], 0.7, 0.6), "margins are"),
        (lambda: equivalence_power(-1, 0.5, None, 0.6), "n_trials is -1"),
        (lambda: equivalence_power(5, 2.0, None, 0.6), "proportion is 2"),
        (lambda: trials_needed_for_equivalence(0.5, None, 0.6, power=1.0), "power is 1"),
        (lambda: trials_needed_for_equivalence(0.5, None, 0.6, most=0), "most is 0"),
        (lambda: equivalence_power_over_listeners(1, 0.5, 0.1, None, 0.6), "n_listeners is 1"),
        (lambda: equivalence_power_over_listeners(5, 0.5, 0.0, None, 0.6), "spread"),
        (lambda: listeners_needed_for_equivalence(0.5, 0.1, None, 0.6, power=0.0), "power is 0"),
        (lambda: listeners_needed_for_equivalence(0.5, 0.1, None, 0.6, most=1), "most is 1"),
    ],
)
def test_numbers_that_make_no_sense_are_refused(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=words):
        call()
