"""The ratio of sums along a programme: values by hand, independent blocks by the textbook, laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from fairhearing.statistics.block_ratio import FEWEST_BLOCKS, half_width, log_ratio_of_sums


def test_the_value_is_the_logarithm_of_the_ratio_of_sums():
    """ln(12/3) by hand."""
    found = log_ratio_of_sums(np.array([2.0, 4.0, 6.0]), np.array([1.0, 1.0, 1.0]))
    assert found.value == pytest.approx(1.3862944, abs=1e-7)
    assert math.isnan(found.standard_error)
    assert found.degrees_of_freedom == 0


def test_blocks_that_keep_their_ratio_have_no_error():
    energy = np.random.default_rng(1).exponential(size=40)
    found = log_ratio_of_sums(0.3 * energy, energy)
    assert found.value == pytest.approx(math.log(0.3), abs=1e-12)
    assert found.standard_error == pytest.approx(0.0, abs=1e-12)


def test_exchanged_sums_turn_the_sign_and_keep_the_error():
    drawn = np.random.default_rng(2)
    a, b = drawn.exponential(size=(2, 60))
    one, other = log_ratio_of_sums(a, b), log_ratio_of_sums(b, a)
    assert other.value == pytest.approx(-one.value, abs=1e-12)
    assert other.standard_error == pytest.approx(one.standard_error, rel=1e-12)
    louder = log_ratio_of_sums(7 * a, 7 * b)
    assert (louder.value, louder.standard_error) == (pytest.approx(one.value), pytest.approx(one.standard_error))


def test_of_independent_blocks_the_error_is_that_of_the_delta_method_in_the_mean():
    """Cochran, Sampling Techniques (1977), 6.3: the variance of a ratio; here relative, both means 1 (from memory)."""
    drawn, n = np.random.default_rng(3), 400
    squares = [
        log_ratio_of_sums(*(1 + 0.1 * drawn.normal(size=(2, n)) @ np.eye(n))).standard_error ** 2 for _ in range(60)
    ]
    # 14 waves each: the mean of 60 variances scatters by sqrt(2 / 14 / 60), 5 %.
    assert np.mean(squares) == pytest.approx(2 * 0.01 / n, rel=0.15)


def test_blocks_that_drift_have_a_larger_error_than_the_same_in_any_order():
    drawn, n = np.random.default_rng(4), 200
    b = np.ones(n)
    slow = np.repeat(drawn.normal(size=n // 20), 20)
    a = 1 + 0.1 * slow
    shuffled = [log_ratio_of_sums(drawn.permutation(a), b).standard_error for _ in range(40)]
    assert log_ratio_of_sums(a, b).standard_error > 2 * np.mean(shuffled)


def test_half_widths_are_student_s():
    assert half_width(2.0, 4, 0.9) == pytest.approx(2 * stats.t.ppf(0.95, 4), rel=1e-12)
    assert math.isnan(half_width(math.nan, 0, 0.95))


@pytest.mark.parametrize("n", [FEWEST_BLOCKS - 1, FEWEST_BLOCKS])
def test_fewer_than_eight_blocks_have_no_error(n):
    found = log_ratio_of_sums(np.arange(1.0, n + 1), np.ones(n))
    assert math.isfinite(found.standard_error) == (n == FEWEST_BLOCKS)


@pytest.mark.parametrize(
    ("a", "b", "told"),
    [([1.0], [1.0, 2.0], "no pairs"), ([-1.0, 2.0], [1.0, 1.0], "negative"), ([0.0, 0.0], [1.0, 1.0], "no ratio"),
     ([math.nan, 1.0], [1.0, 1.0], "not finite")],
)  # fmt: skip
def test_what_has_no_ratio_is_refused(a, b, told):
    with pytest.raises(ValueError, match=told):
        log_ratio_of_sums(np.array(a), np.array(b))


def test_a_confidence_outside_is_refused():
    with pytest.raises(ValueError, match="confidence"):
        half_width(1.0, 3, 1.0)
