"""Checks of power over listeners against enumeration, scipy, R's pwr, statsmodels and the tests themselves."""

from __future__ import annotations

import itertools
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load
from scipy import integrate, stats
from statsmodels.stats.power import TTestPower

from fairhearing.statistics._listener_counts import listener_counts
from fairhearing.statistics._student import t_above, t_critical, t_power
from fairhearing.statistics.clustered_power import (
    ERROR_OF_T,
    EXACT,
    LARGEST_SIMULATED,
    NEAR_T,
    SIMULATED,
    _is_found,
    fewest_listeners,
    listeners_needed,
    listeners_needed_for_rating,
    preference_power,
    rating_power,
)
from fairhearing.statistics.listeners import smallest_sign_flip_p
from fairhearing.statistics.power import binomial_power
from fairhearing.statistics.resampling import sign_flip_test


def enumerated_power(n_listeners: int, n_trials: int, share: float, sd: float, alpha: float) -> float:
    """Over all multisets of listeners' counts."""
    chances = listener_counts(n_trials, share, sd)
    total = 0.0
    for counts in itertools.combinations_with_replacement(range(n_trials + 1), n_listeners):
        if sign_flip_test([2 * count - n_trials for count in counts]).p_value <= alpha:
            ways = math.factorial(n_listeners)
            for repeats in Counter(counts).values():
                ways //= math.factorial(repeats)
            total += ways * math.prod(chances[count] for count in counts)
    return total


@pytest.mark.parametrize("alpha", [0.2, 0.1, 0.0625, 0.05, 0.01, 0.001])
def test_the_fewest_listeners_are_the_first_whose_smallest_p_is_alpha(alpha: float) -> None:
    found = fewest_listeners(alpha)
    assert smallest_sign_flip_p(found) <= alpha
    assert found == 1 or smallest_sign_flip_p(found - 1) > alpha


def test_six_listeners_can_show_something_and_five_cannot() -> None:
    assert fewest_listeners(0.05) == 6
    assert preference_power(5, 16, 0.99) == preference_power(5, 16, 0.99, seed=1)
    assert preference_power(5, 16, 0.99).power == 0.0
    assert preference_power(6, 16, 0.99).power > 0.9


@pytest.mark.parametrize(("n_trials", "share", "sd"), [(4, 0.7, 0.8), (8, 0.4, 0.8), (5, 0.5, 0.0), (16, 0.9, 1.6)])
def test_counts_of_people_who_differ_are_those_of_the_integral(n_trials: int, share: float, sd: float) -> None:
    chances = listener_counts(n_trials, share, sd)
    assert math.fsum(chances) == pytest.approx(1.0, abs=1e-12)
    assert math.fsum(k * chance for k, chance in enumerate(chances)) / n_trials == pytest.approx(share, abs=1e-12)
    if sd == 0.0:
        np.testing.assert_allclose(chances, stats.binom.pmf(range(n_trials + 1), n_trials, share), rtol=1e-12)
        return
    # The logit mean is found anew, by scipy.
    from scipy.optimize import brentq

    def mean(mu: float) -> float:
        return float(integrate.quad(lambda z: stats.norm.pdf(z) / (1 + math.exp(-mu - sd * z)), -12, 12)[0])

    mu = brentq(lambda m: mean(m) - share, -10.0, 10.0, xtol=1e-12)
    for k in (0, n_trials // 2, n_trials):
        expected = integrate.quad(
            lambda z, k=k: stats.norm.pdf(z) * stats.binom.pmf(k, n_trials, 1 / (1 + math.exp(-mu - sd * z))), -12, 12
        )[0]
        assert chances[k] == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("n_listeners", "n_trials", "share", "sd"),
    [(6, 8, 0.8, 0.8), (7, 6, 0.7, 0.0), (8, 4, 0.75, 0.8), (6, 5, 0.5, 1.6)],
)
def test_simulated_power_is_that_of_all_outcomes(n_listeners: int, n_trials: int, share: float, sd: float) -> None:
    expected = enumerated_power(n_listeners, n_trials, share, sd, 0.05)
    found = preference_power(n_listeners, n_trials, share, sd, n_sessions=6000)
    assert found.method == SIMULATED
    assert found.standard_error == pytest.approx(math.sqrt(found.power * (1 - found.power) / 6000), rel=1e-12)
    assert abs(found.power - expected) < 3.5 * found.standard_error


def test_with_one_trial_each_it_is_the_two_sided_binomial_test() -> None:
    found = preference_power(30, 1, 0.75)
    assert found.power == binomial_power(30, 0.5, 0.75, 0.05, two_sided=True).power
    assert (found.standard_error, found.method) == (0.0, EXACT)
    assert found.power == pytest.approx(stats.binom.sf(20, 30, 0.75) + stats.binom.cdf(9, 30, 0.75), rel=1e-9)


@given(deviations=st.lists(st.integers(-16, 16), min_size=1, max_size=14), alpha=st.sampled_from([0.2, 0.05, 0.01]))
def test_what_is_found_is_what_the_sign_flip_test_finds(deviations: list[int], alpha: float) -> None:
    assert _is_found(deviations, alpha) == (sign_flip_test(deviations).p_value <= alpha)


@pytest.mark.parametrize("n_trials", [4, 9, 16])
def test_no_preference_is_found_in_alpha_at_most(n_trials: int) -> None:
    found = preference_power(12, n_trials, 0.5)
    assert found.power <= 0.05 + 3 * found.standard_error
    assert found.power > 0.02


@pytest.mark.parametrize(("n_trials", "share"), [(4, 0.6), (7, 0.6), (16, 0.57)])
def test_beyond_what_is_simulated_t_is_as_near_as_it_says(n_trials: int, share: float) -> None:
    n_listeners = LARGEST_SIMULATED + 10
    near = preference_power(n_listeners, n_trials, share)
    assert (near.method, near.standard_error) == (NEAR_T, ERROR_OF_T)
    draws = np.random.default_rng(3).choice(
        n_trials + 1, p=np.array(p := listener_counts(n_trials, share, 0.8)) / sum(p), size=(1500, n_listeners)
    )
    found = np.mean([sign_flip_test((2 * row - n_trials).tolist()).p_value <= 0.05 for row in draws])
    assert abs(near.power - found) < ERROR_OF_T + 3 * math.sqrt(found * (1 - found) / 1500)


def test_listeners_needed_reach_the_power_and_one_less_does_not() -> None:
    found = listeners_needed(10, 0.7, n_sessions=1000)
    assert found.n_listeners is not None
    assert found.power == preference_power(found.n_listeners, 10, 0.7, n_sessions=1000).power >= 0.8
    assert preference_power(found.n_listeners - 1, 10, 0.7, n_sessions=1000).power < 0.8


def test_more_difference_between_listeners_takes_more_listeners() -> None:
    needed = [listeners_needed(12, 0.7, sd, n_sessions=400).n_listeners or 0 for sd in (0.0, 0.8, 1.6)]
    assert needed[0] < needed[1] < needed[2]


def test_sure_listeners_are_still_no_fewer_than_six() -> None:
    assert listeners_needed(50, 0.97, 0.1, n_sessions=200).n_listeners == 6


def test_what_no_number_of_listeners_reaches_is_none() -> None:
    found = listeners_needed(4, 0.52, most=20, n_sessions=300)
    assert (found.n_listeners, found.most) == (None, 20)
    assert found.power < 0.8


@given(share=st.floats(0.05, 0.95), n_listeners=st.integers(6, 9))
def test_a_preference_for_the_other_one_is_as_easily_found(share: float, n_listeners: int) -> None:
    one, other = (preference_power(n_listeners, 6, s, n_sessions=400) for s in (share, 1.0 - share))
    assert abs(one.power - other.power) < 5 * (one.standard_error + other.standard_error)


# --- ratings ----------------------------------------------------------------------------------------------------------


def test_the_number_of_pairs_is_that_of_r() -> None:
    reference = load("F30.pairs")
    told, n_pairs = reference.inputs["paired_t_power"], reference.expected["n_pairs"]
    found = listeners_needed_for_rating(told["d"], 1.0, told["alpha"], told["power"])
    assert found.n_listeners == math.ceil(n_pairs)
    assert rating_power(math.floor(n_pairs), told["d"], 1.0).power < told["power"]
    # R's number is not whole: the power there, by noncentral t with as many degrees of freedom, is what was asked for.
    critical = stats.t.isf(told["alpha"] / 2, n_pairs - 1)
    assert stats.nct.sf(critical, n_pairs - 1, told["d"] * math.sqrt(n_pairs)) == pytest.approx(0.8, abs=1e-4)
    check(float(TTestPower().solve_power(effect_size=0.5, alpha=0.05, power=0.8)), n_pairs, reference)


@pytest.mark.parametrize("n_listeners", [2, 3, 6, 12, 40, 200])
@pytest.mark.parametrize("effect", [0.0, 0.2, 0.8, 2.0])
def test_the_power_of_ratings_is_that_of_noncentral_t(n_listeners: int, effect: float) -> None:
    found = rating_power(n_listeners, 0.3 * effect, 0.3, 0.05)
    freedom, shift = n_listeners - 1, effect * math.sqrt(n_listeners)
    critical = stats.t.isf(0.025, freedom)
    expected = stats.nct.sf(critical, freedom, shift) + stats.nct.cdf(-critical, freedom, shift)
    assert found.power == pytest.approx(expected, abs=3e-7)
    if n_listeners > 2:  # statsmodels, where it has a power at all
        assert found.power == pytest.approx(TTestPower().power(effect, n_listeners, 0.05), abs=3e-7)


@pytest.mark.parametrize("freedom", [1, 2, 3, 8, 39, 200])
def test_students_t_is_that_of_scipy(freedom: int) -> None:
    for t in (-3.0, -0.4, 0.0, 0.7, 2.0, 9.0):
        assert t_above(t, freedom) == pytest.approx(stats.t.sf(t, freedom), rel=1e-9, abs=1e-13)
    for tail in (0.2, 0.05, 0.025, 0.005):
        assert t_critical(tail, freedom) == pytest.approx(stats.t.isf(tail, freedom), rel=1e-9)
    one_sided = t_power(1.5, freedom, 0.05, two_sided=False)
    assert one_sided == pytest.approx(stats.nct.sf(stats.t.isf(0.05, freedom), freedom, 1.5), abs=3e-7)


def test_a_rating_difference_that_is_too_small_is_not_reached() -> None:
    found = listeners_needed_for_rating(0.01, 1.0, most=50)
    assert found.n_listeners is None
    assert found.power == rating_power(50, 0.01, 1.0).power


def test_ratings_need_no_fewer_listeners_than_the_sign_flip_test() -> None:
    assert listeners_needed_for_rating(5.0, 0.1).n_listeners == 6


def test_the_sign_flip_test_of_ratings_shows_little_less_than_t() -> None:
    values = np.random.default_rng(7).normal(0.9, 1.0, (1500, 12)).round(1)
    found = np.mean([sign_flip_test((10 * row).astype(int).tolist()).p_value <= 0.05 for row in values])
    assert -0.01 < rating_power(12, 0.9, 1.0).power - found < 0.05


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fewest_listeners(0.0), "alpha is 0"),
        (lambda: preference_power(0, 5, 0.6), "n_listeners is 0"),
        (lambda: preference_power(8, 0, 0.6), "n_trials is 0"),
        (lambda: preference_power(8, 5, 1.0), "share is 1.0"),
        (lambda: preference_power(8, 5, 0.6, -1.0), "logit_sd is -1.0"),
        (lambda: preference_power(8, 5, 0.6, n_sessions=0), "n_sessions is 0"),
        (lambda: listeners_needed(5, 0.5), "share is 1/2"),
        (lambda: listeners_needed(5, 0.6, power=1.0), "power is 1.0"),
        (lambda: listeners_needed(5, 0.6, most=0), "most is 0"),
        (lambda: listener_counts(0, 0.5, 0.8), "n_trials is 0"),
        (lambda: rating_power(1, 0.5, 1.0), "n_listeners is 1"),
        (lambda: rating_power(8, 0.5, 0.0), "spread"),
        (lambda: rating_power(8, math.nan, 1.0), "finite"),
        (lambda: listeners_needed_for_rating(0.0, 1.0), "difference is 0"),
        (lambda: listeners_needed_for_rating(0.5, 1.0, most=1), "most is 1"),
    ],
)
def test_numbers_that_make_no_sense_are_refused(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=words):
        call()
