"""Power of equivalence over listeners who are alike: every possible session counted, and the first that lasts."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import product

import pytest

from fairhearing.statistics.equivalence import equivalent_over_listeners, equivalent_proportion
from fairhearing.statistics.equivalence_of_listeners import equivalence_power_of_listeners, trials_needed_of_listeners
from fairhearing.statistics.equivalence_power import equivalence_power


def by_counting(n_listeners: int, n_trials: int, proportion: float, upper: float, alpha: float) -> float:
    """Each possible session by itself, tested as a session is: the larger p of both tests."""
    total = 0.0
    for counts in product(range(n_trials + 1), repeat=n_listeners):
        p = equivalent_proportion(sum(counts), n_listeners * n_trials, None, upper, alpha).p_value
        if len(set(counts)) > 1:
            shares = [Fraction(count, n_trials) for count in counts]
            p = max(p, equivalent_over_listeners(shares, None, upper, alpha).p_value)
        if p <= alpha:
            total += math.prod(
                math.comb(n_trials, count) * proportion**count * (1 - proportion) ** (n_trials - count)
                for count in counts
            )
    return total


@pytest.mark.parametrize(
    ("n_listeners", "n_trials", "proportion", "upper", "alpha"),
    [(2, 12, 0.5, 0.75, 0.05), (2, 30, 0.5, 0.75, 0.1), (3, 8, 1 / 3, 0.65, 0.05), (4, 5, 0.5, 0.8, 0.05)],
)
def test_it_is_the_sum_over_all_sessions(
    n_listeners: int, n_trials: int, proportion: float, upper: float, alpha: float
) -> None:
    counted = by_counting(n_listeners, n_trials, proportion, upper, alpha)
    assert 0.01 < counted < 0.99
    found = equivalence_power_of_listeners(n_listeners, n_trials, proportion, upper, alpha)
    assert found == pytest.approx(counted, abs=1e-9)
    # t asks for more than the exact test alone.
    assert found < equivalence_power(n_listeners * n_trials, proportion, None, upper, alpha).power


def test_at_the_margin_it_is_shown_no_more_often_than_alpha() -> None:
    assert 0.005 < equivalence_power_of_listeners(6, 16, 0.65, 0.65) <= 0.05


@pytest.mark.parametrize(("n_listeners", "upper"), [(4, 0.65), (12, 0.65), (6, 0.7)])
def test_the_first_and_the_lasting_number_are_those_of_a_plain_count(n_listeners: int, upper: float) -> None:
    needed = trials_needed_of_listeners(n_listeners, 0.5, upper)
    assert needed.first is not None
    assert needed.every is not None
    far = 2 * needed.every + 20
    reached = [equivalence_power_of_listeners(n_listeners, n, 0.5, upper) >= 0.8 for n in range(1, far)]
    assert reached.index(True) + 1 == needed.first
    assert far - 1 - reached[::-1].index(False) + 1 == needed.every


def test_where_no_number_is_enough_there_is_none() -> None:
    assert trials_needed_of_listeners(2, 0.5, 0.55, most=200).every is None


@pytest.mark.parametrize(
    "wrong", [{"n_listeners": 1}, {"n_trials": 0}, {"proportion": 1.5}, {"upper": 1.0}, {"alpha": 0.6}]
)
def test_numbers_out_of_range_are_refused(wrong: dict[str, float]) -> None:
    said = {"n_listeners": 4, "n_trials": 10, "proportion": 0.5, "upper": 0.65, "alpha": 0.05, **wrong}
    with pytest.raises(ValueError, match=r"listeners|proportion|margin|upper|alpha|share"):
        equivalence_power_of_listeners(**said)  # type: ignore[arg-type]
