"""Checks of the exact re-randomisation against scipy, every deal written out, derangements and its size."""

from __future__ import annotations

import math
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fairhearing.statistics.contingency import conditional_test
from fairhearing.statistics.matching import matching_test


def square(n_kinds: int, most: int) -> st.SearchStrategy[np.ndarray]:
    cells = st.lists(st.integers(min_value=0, max_value=most), min_size=n_kinds**2, max_size=n_kinds**2)
    return cells.map(lambda values: np.array(values, dtype=np.int64).reshape(n_kinds, n_kinds))


@given(square(2, 9))
def test_two_kinds_are_fishers_exact_test(table: np.ndarray) -> None:
    expected = stats.fisher_exact(table, alternative="greater").pvalue
    assert matching_test([table]).p_value == pytest.approx(expected, rel=1e-9)


@given(st.lists(square(2, 6), min_size=1, max_size=4))
def test_strata_of_two_kinds_agree_with_the_conditional_test(tables: list[np.ndarray]) -> None:
    ours, other = matching_test(tables), conditional_test(tables)
    assert ours.p_value == other.p_value
    assert (ours.n_right, ours.n_trials) == (other.n_right, other.n_trials)
    assert ours.expected_right == pytest.approx(other.expected_right, rel=1e-12)


def table_of(played: list[int], answered: list[int], n_kinds: int = 3) -> np.ndarray:
    table = np.zeros((n_kinds, n_kinds), dtype=np.int64)
    np.add.at(table, (played, answered), 1)
    return table


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(0, 2), min_size=1, max_size=6).flatmap(
        lambda played: st.tuples(
            st.just(played), st.lists(st.integers(0, 2), min_size=len(played), max_size=len(played))
        )
    )
)
def test_three_kinds_agree_with_every_deal_written_out(trial: tuple[list[int], list[int]]) -> None:
    played, answered = trial
    right = [sum(map(int.__eq__, deal, answered)) for deal in permutations(played)]
    observed = sum(map(int.__eq__, played, answered))
    found = matching_test([table_of(played, answered)])
    assert found.p_value == pytest.approx(sum(n >= observed for n in right) / len(right), rel=1e-12)
    assert found.expected_right == pytest.approx(sum(right) / len(right), rel=1e-12)


def test_kinds_that_stand_once_give_the_derangements() -> None:
    # None right in 2 of 3!, 9 of 4!, 44 of 5!, 265 of 6! deals (subfactorials, OEIS A000166, from memory).
    for n_kinds, derangements in ((3, 2), (4, 9), (5, 44), (6, 265)):
        one_right = [0, *range(2, n_kinds), 1]
        found = matching_test([table_of(list(range(n_kinds)), one_right, n_kinds)])
        assert (found.n_right, found.expected_right) == (1, 1.0)
        assert found.p_value == pytest.approx(1 - derangements / math.factorial(n_kinds), rel=1e-12)


def test_tables_drawn_by_scipy_with_the_same_margins_agree() -> None:
    table = np.array([[5, 1, 2], [2, 6, 1], [1, 2, 4]])
    drawn = stats.random_table(table.sum(axis=1), table.sum(axis=0)).rvs(40_000, random_state=5)
    share = float(np.mean(np.trace(drawn, axis1=1, axis2=2) >= np.trace(table)))
    found = matching_test([table]).p_value
    # p is 0.0043: four standard errors of 40 000 draws.
    assert share == pytest.approx(found, abs=4 * np.sqrt(found * (1 - found) / 40_000))
    assert 0.003 < found < 0.006


@given(st.lists(square(3, 4), min_size=1, max_size=3), st.permutations([0, 1, 2]))
def test_the_order_of_strata_and_the_naming_of_the_kinds_change_nothing(
    strata: list[np.ndarray], names: list[int]
) -> None:
    here = matching_test(strata)
    assert matching_test([table[np.ix_(names, names)] for table in strata[::-1]]) == here
    assert 0 < here.p_value <= 1


def test_a_stratum_of_one_trial_or_of_one_answer_tells_nothing() -> None:
    informative = np.array([[3, 1, 0], [0, 3, 1], [1, 0, 3]])
    one, same = np.diag([1, 0, 0]), np.array([[2, 0, 0], [2, 0, 0], [2, 0, 0]])
    assert matching_test([informative, one, same]).p_value == matching_test([informative]).p_value
    assert matching_test([]).p_value == 1.0


def test_a_long_panel_is_done_exactly_too() -> None:
    # By hand: played 4, 4, 4 and answered 5, 4, 3 times, 4 right are expected of 12; 7 were, by each of 40 listeners.
    table = np.array([[3, 1, 0], [1, 2, 1], [1, 1, 2]])
    found = matching_test([table] * 40)
    assert (found.n_right, found.n_trials, found.expected_right) == (280, 480, 160.0)
    assert 0 < found.p_value < 1e-20


def test_with_balanced_places_the_test_holds_its_size_and_the_binomial_does_not() -> None:
    # Each place twice, and somebody who guesses 1 2 3 1 2 3: over every order that could have been played.
    orders = sorted(set(permutations([0, 1, 2] * 2)))
    assert len(orders) == 90
    n_dealt = n_binomial = 0
    for played in orders:
        table = table_of(list(played), [0, 1, 2] * 2)
        n_dealt += matching_test([table]).p_value <= 0.11
        n_binomial += stats.binomtest(int(np.trace(table)), 6, 1 / 3, alternative="greater").pvalue <= 0.11
    # By hand: six right in one order, five in none, four in 12 (two kinds right, or one kind and half of two).
    assert (n_dealt, n_binomial) == (1, 13)


def test_tables_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match=r"shape \(2, 3\)"):
        matching_test([np.zeros((2, 3), dtype=np.int64)])
    with pytest.raises(ValueError, match="must hold counts"):
        matching_test([np.array([[1, -1], [0, 2]])])
    with pytest.raises(ValueError, match="must hold counts"):
        matching_test([np.array([[0.5, 1.0], [0.0, 2.0]])])
