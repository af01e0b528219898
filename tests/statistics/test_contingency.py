"""Checks of the exact conditional test against scipy, enumeration of every order, and its size."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fairhearing.statistics.contingency import conditional_test

tables = st.lists(st.integers(min_value=0, max_value=9), min_size=4, max_size=4).map(
    lambda cells: np.array(cells, dtype=np.int64).reshape(2, 2)
)


@given(tables)
def test_one_stratum_is_fishers_exact_test(table: np.ndarray) -> None:
    expected = stats.fisher_exact(table, alternative="greater").pvalue
    assert conditional_test([table]).p_value == pytest.approx(expected, rel=1e-9)


def test_the_tea_of_fishers_book_gives_seventeen_in_seventy() -> None:
    # Fisher 1935, The Design of Experiments, section 5 (from memory): three of four of each kind, 17 of 70.
    assert conditional_test([np.array([[3, 1], [1, 3]])]).p_value == pytest.approx(17 / 70, rel=1e-14)


def by_every_order(answers: list[list[int]], played: list[list[int]]) -> float:
    """P(as many right or more) over every order with the counts that were played, listener by listener."""
    distribution = {0: 1.0}
    for given_answers, order in zip(answers, played, strict=True):
        n, n_ones = len(order), sum(order)
        step: dict[int, float] = {}
        orders = list(combinations(range(n), n_ones))
        for ones in orders:
            right = sum((i in ones) == bool(answer) for i, answer in enumerate(given_answers))
            for total, weight in distribution.items():
                step[total + right] = step.get(total + right, 0.0) + weight / len(orders)
        distribution = step
    pairs = zip(answers, played, strict=True)
    observed = sum(a == b for given_answers, order in pairs for a, b in zip(given_answers, order, strict=True))
    return sum(weight for total, weight in distribution.items() if total >= observed)


@settings(max_examples=40)
@given(st.integers(min_value=0, max_value=2**32 - 1))
def test_three_listeners_agree_with_every_order_written_out(seed: int) -> None:
    generator = np.random.default_rng(seed)
    played = [generator.integers(0, 2, n).tolist() for n in (4, 6, 7)]
    answers = [generator.integers(0, 2, n).tolist() for n in (4, 6, 7)]
    counts = []
    for given_answers, order in zip(answers, played, strict=True):
        table = np.zeros((2, 2), dtype=np.int64)
        for answer, item in zip(given_answers, order, strict=True):
            table[item, answer] += 1
        counts.append(table)
    assert conditional_test(counts).p_value == pytest.approx(by_every_order(answers, played), rel=1e-10)


@given(st.lists(tables, min_size=1, max_size=4))
def test_the_order_of_strata_and_the_naming_of_the_conditions_change_nothing(strata: list[np.ndarray]) -> None:
    here = conditional_test(strata)
    assert conditional_test(strata[::-1]) == here
    renamed = conditional_test([table[::-1, ::-1] for table in strata])
    assert (renamed.p_value, renamed.n_right) == (here.p_value, here.n_right)


def test_a_listener_who_gives_one_answer_throughout_tells_nothing() -> None:
    informative = np.array([[6, 1], [2, 5]])
    silent = np.array([[8, 0], [8, 0]])
    assert conditional_test([informative, silent]).p_value == conditional_test([informative]).p_value
    assert conditional_test([silent]).p_value == 1.0
    assert conditional_test([silent]).expected_right == 8.0


def test_counts_and_expectation_are_told() -> None:
    found = conditional_test([np.array([[6, 2], [1, 7]]), np.array([[3, 1], [1, 3]])])
    assert (found.n_right, found.n_trials, found.expected_right) == (19, 24, 12.0)


def size_of_alternating(n_sessions: int) -> tuple[float, float]:
    """How often a listener who merely alternates is called right by each test, balanced orders without limits."""
    generator = np.random.default_rng(7)
    answers = np.arange(16) % 2
    conditional = binomial = 0
    for _ in range(n_sessions):
        played = generator.permutation(np.repeat([0, 1], 8))
        table = np.zeros((2, 2), dtype=np.int64)
        np.add.at(table, (played, answers), 1)
        conditional += conditional_test([table]).p_value <= 0.05
        binomial += stats.binomtest(int(np.trace(table)), 16, alternative="greater").pvalue <= 0.05
    return conditional / n_sessions, binomial / n_sessions


def test_with_balanced_orders_the_conditional_test_holds_its_size_and_the_binomial_does_not() -> None:
    conditional, binomial = size_of_alternating(1500)
    # 8 and 8 played and answered: 14 right or more is 0.0051, 12 right or more 0.0660 (hypergeometric, by hand).
    assert conditional == pytest.approx(0.0051, abs=0.0065)
    assert binomial == pytest.approx(0.0660, abs=0.02)
    assert binomial > 0.05


def test_tables_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match=r"shape \(2, 3\)"):
        conditional_test([np.zeros((2, 3), dtype=np.int64)])
    with pytest.raises(ValueError, match="must hold counts"):
        conditional_test([np.array([[1, -1], [0, 2]])])
