"""Checks of the sign-flip test against full enumeration, scipy, and its own laws."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references import helper
from scipy import stats

from fairhearing.statistics import resampling
from fairhearing.statistics.resampling import BOUNDED, ENUMERATED, EXACT, sign_flip_test

HALF = Fraction(1, 2)
shares = st.lists(
    st.tuples(st.integers(min_value=1, max_value=24), st.integers(min_value=0, max_value=48)).map(
        lambda pair: Fraction(min(pair[1], 2 * pair[0]), 2 * pair[0])
    ),
    min_size=1,
    max_size=9,
)


def enumerated(values: list[Fraction], centre: Fraction) -> float:
    """The definition, written out: every choice of signs, sums as fractions."""
    deviations = [value - centre for value in values]
    observed = abs(sum(deviations))
    extreme = sum(
        abs(sum(sign * d for sign, d in zip(signs, deviations, strict=True))) >= observed
        for signs in product((-1, 1), repeat=len(deviations))
    )
    return extreme / 2 ** len(deviations)


@given(shares)
def test_it_agrees_with_every_choice_of_signs(values: list[Fraction]) -> None:
    found = sign_flip_test(values, HALF)
    assert found.p_value == enumerated(values, HALF)
    assert (found.method, found.n_values) == (EXACT, len(values))


def test_it_agrees_with_scipys_permutation_test() -> None:
    values = [Fraction(n, 12) for n in (9, 7, 10, 5, 8, 11, 6, 9)]
    deviations = np.array([float(value - HALF) * 12 for value in values])  # whole numbers: sums are exact
    second = stats.permutation_test(
        (deviations,), np.sum, permutation_type="samples", n_resamples=10_000, alternative="two-sided"
    ).pvalue
    assert sign_flip_test(values, HALF).p_value == pytest.approx(second, rel=1e-12)


def test_equal_deviations_give_the_sign_test() -> None:
    values = [Fraction(3, 4)] * 9 + [Fraction(1, 4)] * 2
    assert sign_flip_test(values, HALF).p_value == pytest.approx(stats.binomtest(9, 11).pvalue, rel=1e-12)


def test_shares_of_different_denominators_tie_exactly() -> None:
    # Deviations in sixtieths: 5, -12, -5, 12, 12, sum 12. By hand: the three twelves give 36 in 2 of 8 (always as far),
    # 12 in 6 of 8 (as far unless both fives oppose it, 1 in 4): 1/4 + 3/4 x 3/4 = 13/16. Float sums miss the ties.
    values = [Fraction(7, 12), Fraction(3, 10), Fraction(5, 12), Fraction(7, 10), Fraction(7, 10)]
    assert sign_flip_test(values, HALF).p_value == enumerated(values, HALF) == 13 / 16


@given(shares)
def test_mirroring_scaling_and_reordering_change_nothing(values: list[Fraction]) -> None:
    here = sign_flip_test(values, HALF).p_value
    assert sign_flip_test([1 - value for value in values], HALF).p_value == here
    assert sign_flip_test(values[::-1], HALF).p_value == here
    assert sign_flip_test([7 * value + 3 for value in values], 7 * HALF + 3).p_value == here


@given(shares)
def test_a_value_at_the_centre_changes_nothing_but_the_count(values: list[Fraction]) -> None:
    here, there = sign_flip_test(values, HALF), sign_flip_test([*values, HALF], HALF)
    assert here.p_value == there.p_value
    assert there.n_values == here.n_values + 1


@pytest.mark.parametrize("n_listeners", [1, 3, 5, 6, 12])
def test_unanimity_gives_two_over_two_to_the_n(n_listeners: int) -> None:
    values = [Fraction(2, 3) + Fraction(n, 97) for n in range(n_listeners)]
    assert sign_flip_test(values, HALF).p_value == 2 / 2**n_listeners


def test_nobody_leaning_either_way_gives_one() -> None:
    assert sign_flip_test([HALF] * 6, HALF).p_value == 1.0
    assert sign_flip_test([Fraction(1, 4), Fraction(3, 4)], HALF).p_value == 1.0


def test_floats_that_share_no_small_grid_are_enumerated_exactly() -> None:
    values = [0.1, 0.37, -0.21, 0.44, 0.05, 0.33]
    found = sign_flip_test(values)
    assert found.method == ENUMERATED
    assert found.p_value == enumerated([Fraction(value) for value in values], Fraction(0))


@settings(max_examples=25)
@given(st.integers(min_value=0, max_value=2**32 - 1))
def test_the_coarse_grid_bounds_p_from_above_and_closely(seed: int) -> None:
    generator = np.random.default_rng(seed)
    values = generator.normal(0.3, 1.0, 17).tolist()
    found = sign_flip_test(values)
    assert found.method == BOUNDED
    signs = np.array(list(product((-1.0, 1.0), repeat=16)))  # the first sign is fixed: p is the same
    sums = np.abs(values[0] + signs @ np.array(values[1:]))
    exact = float(np.mean(sums >= abs(sum(values)) - 1e-12))
    assert exact <= found.p_value <= exact + 0.0005


def test_the_coarse_grid_agrees_with_the_fine_one_where_both_can_be_had(monkeypatch: pytest.MonkeyPatch) -> None:
    values = [Fraction(2900 + 3331 * n % 5003, 9973) for n in range(19)]
    fine = sign_flip_test(values, HALF)
    monkeypatch.setattr(resampling, "LARGEST_GRID", 4000)
    coarse = sign_flip_test(values, HALF)
    assert (fine.method, coarse.method) == (EXACT, BOUNDED)
    assert fine.p_value <= coarse.p_value < fine.p_value * 1.02


def test_sixty_listeners_agree_with_the_characteristic_function() -> None:
    generator = np.random.default_rng(11)
    counts = generator.binomial(16, 0.52, 60)
    steps = 2 * counts - 16  # deviations from one half, in thirty-seconds
    n_points = 2 * int(np.abs(steps).sum()) + 1
    angle = 2.0 * np.pi * np.arange(n_points) / n_points
    characteristic = np.prod(np.cos(np.outer(angle, steps)), axis=1)  # of a sum of independent signs
    chances = np.fft.ifft(characteristic).real
    sums = np.fft.fftfreq(n_points, 1.0 / n_points)
    second = chances[np.abs(sums) >= abs(steps.sum()) - 0.5].sum()
    values = [Fraction(int(count), 16) for count in counts]
    assert sign_flip_test(values, HALF).p_value == pytest.approx(second, rel=1e-9)


def test_under_no_preference_it_cries_wolf_no_more_often_than_alpha() -> None:
    generator = np.random.default_rng(3)
    n_sessions = 2000
    wolf = 0
    for _ in range(n_sessions):
        tastes = generator.beta(2.0, 2.0, 8)  # listeners differ widely; nobody's taste is the rule
        values = [Fraction(int(generator.binomial(10, taste)), 10) for taste in tastes]
        wolf += sign_flip_test(values, HALF).p_value <= 0.05
    assert 0.03 <= wolf / n_sessions <= 0.06


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="no values"):
        sign_flip_test([])
    with pytest.raises(ValueError, match="nan"):
        sign_flip_test([0.1, float("nan")])


def test_it_reproduces_fishers_count_on_darwins_maize() -> None:
    reference = helper.load("F02.maize")
    two_ways = 2 * reference.expected["n_as_far_one_way"] / reference.expected["n_choices"]
    assert sign_flip_test(reference.inputs["eighths_of_an_inch"]).p_value == two_ways


def test_signed_ranks_give_wilcoxons_published_p() -> None:
    reference = helper.load("F05")
    differences = [x - y for x, y in zip(reference.inputs["x"], reference.inputs["y"], strict=True)]
    ranks = stats.rankdata(np.abs(differences))
    signed = [int(rank) if d > 0 else -int(rank) for rank, d in zip(ranks, differences, strict=True)]
    assert sum(rank for rank in signed if rank > 0) == reference.expected["rank_sum"]
    helper.check(sign_flip_test(signed).p_value, reference.expected["p_two_sided"], reference)


def test_signed_ranks_reach_the_critical_values_of_the_exact_table_and_no_more() -> None:
    reference = helper.load("F01")
    n_checked = 0
    for n, row in zip(reference.inputs["n"], reference.expected["T_crit"], strict=True):
        for alpha, critical in zip(reference.inputs["two_sided_alpha"], row, strict=True):
            if critical is None:
                assert _p_of_rank_sum(n, 0) > alpha
                continue
            assert _p_of_rank_sum(n, critical) <= alpha < _p_of_rank_sum(n, critical + 1)
            n_checked += 1
    assert n_checked == 74


def _p_of_rank_sum(n: int, total: int) -> float:
    """p where the ranks with a minus sum to `total`: the largest rank that still fits is taken, again and again."""
    negative = set()
    for rank in range(n, 0, -1):
        if rank <= total:
            negative.add(rank)
            total -= rank
    return sign_flip_test([-rank if rank in negative else rank for rank in range(1, n + 1)]).p_value


def test_p_is_exact_for_more_listeners_than_a_float_holds_counts() -> None:
    # 70 of 80 one way: the sign test, whose counts pass 2^53.
    assert sign_flip_test([1] * 70 + [-1] * 10).p_value == pytest.approx(stats.binomtest(70, 80).pvalue, rel=1e-14)
