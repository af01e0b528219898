"""Checks of pooled spreads and leave-one-out deviations against analysis of variance, scipy and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import stats
from statsmodels.regression.linear_model import OLS

from fairhearing.statistics.pooled import PooledSpread, half_width, jackknife_deviations, pool

cells = st.lists(
    st.integers(min_value=1, max_value=5).flatmap(
        lambda n: hnp.arrays(np.float64, n, elements=st.floats(min_value=-30, max_value=30))
    ),
    min_size=2,
    max_size=5,
)


@given(cells)
def test_the_pooled_variance_is_the_residual_variance_of_a_regression_on_cells(groups: list[np.ndarray]) -> None:
    spread = pool(groups)
    assert spread.degrees_of_freedom == sum(group.size - 1 for group in groups)
    if spread.degrees_of_freedom == 0:
        assert math.isnan(spread.variance)
        return
    values = np.concatenate(groups)
    member = np.repeat(np.eye(len(groups)), [group.size for group in groups], axis=0)
    assert spread.variance == pytest.approx(OLS(values, member).fit().mse_resid, rel=1e-9, abs=1e-12)


def test_the_interval_of_a_difference_is_students() -> None:
    treatment, reference = np.array([3.1, 2.7, 3.4, 2.9]), np.array([1.2, 1.9, 1.4])
    spread = pool([treatment, reference])
    half = half_width(spread, 1 / 4 + 1 / 3, 0.95)
    interval = stats.ttest_ind(treatment, reference).confidence_interval(0.95)
    middle = treatment.mean() - reference.mean()
    assert (middle - half, middle + half) == pytest.approx((interval.low, interval.high), rel=1e-10)


def test_bonferroni_widens_to_the_quantile_of_a_fourteenth() -> None:
    spread = PooledSpread(variance=0.09, degrees_of_freedom=18)
    expected = stats.t.ppf(1 - 0.05 / 28, 18) * math.sqrt(0.09 * 0.5)
    assert half_width(spread, 0.5, 0.95, comparisons=14) == pytest.approx(expected, rel=1e-10)


def test_extra_variance_is_added_before_the_root() -> None:
    spread = PooledSpread(variance=0.04, degrees_of_freedom=6)
    expected = stats.t.ppf(0.975, 6) * math.sqrt(0.04 * 0.5 + 2 * 0.3**2)
    assert half_width(spread, 0.5, 0.95, extra_variance=2 * 0.3**2) == pytest.approx(expected, rel=1e-10)


def test_fewer_than_three_degrees_of_freedom_have_no_half_width() -> None:
    assert math.isnan(half_width(PooledSpread(variance=1.0, degrees_of_freedom=2), 0.5))
    assert math.isfinite(half_width(PooledSpread(variance=1.0, degrees_of_freedom=3), 0.5))
    assert math.isnan(half_width(pool([np.array([1.0]), np.array([2.0])]), 0.5))


@given(hnp.arrays(np.float64, st.integers(min_value=2, max_value=7), elements=st.floats(min_value=-9, max_value=9)))
def test_deviations_of_a_mean_are_the_deviations_of_the_repeats(repeats: np.ndarray) -> None:
    left_out = [np.delete(repeats, j).mean() for j in range(repeats.size)]
    assert jackknife_deviations(left_out) == pytest.approx(repeats - repeats.mean(), abs=1e-10)


def test_pseudo_values_about_their_mean_are_the_same_deviations() -> None:
    generator = np.random.default_rng(2)
    repeats = generator.normal(0.0, 1.0, 5)
    full = math.log(np.mean(np.exp(repeats)))
    left_out = np.array([math.log(np.mean(np.exp(np.delete(repeats, j)))) for j in range(5)])
    pseudo = 5 * full - 4 * left_out  # Tukey 1958 (from memory)
    assert jackknife_deviations(left_out) == pytest.approx(pseudo - pseudo.mean(), abs=1e-12)


def jackknife_interval(cells_of_repeats: list[np.ndarray]) -> tuple[float, float]:
    """Estimate and half width of the log of a ratio of mean powers, from leave-one-out deviations."""

    def estimate(groups: list[np.ndarray]) -> float:
        return float(np.log(np.mean(np.exp(groups[0]))) - np.log(np.mean(np.exp(groups[1]))))

    deviations = []
    for index, cell in enumerate(cells_of_repeats):
        left_out = []
        for j in range(cell.size):
            groups = list(cells_of_repeats)
            groups[index] = np.delete(cell, j)
            left_out.append(estimate(groups))
        deviations.append(jackknife_deviations(left_out))
    factor = sum(1 / cell.size for cell in cells_of_repeats)
    return estimate(cells_of_repeats), half_width(pool(deviations), factor)


def test_leave_one_out_intervals_of_a_non_linear_estimate_cover_as_often_as_they_say() -> None:
    generator = np.random.default_rng(8)
    covered = 0
    for _ in range(1000):
        middle, half = jackknife_interval([generator.normal(1.0, 0.2, 4), generator.normal(0.0, 0.2, 4)])
        covered += abs(middle - 1.0) <= half
    assert 0.93 <= covered / 1000 <= 0.97


def test_values_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="not finite"):
        pool([np.array([1.0, math.nan])])
    with pytest.raises(ValueError, match=r"shape \(2, 2\)"):
        pool([np.zeros((2, 2))])
    with pytest.raises(ValueError, match="two estimates"):
        jackknife_deviations([1.0])
    with pytest.raises(ValueError, match="not finite"):
        jackknife_deviations([1.0, math.inf])
    with pytest.raises(ValueError, match="comparisons 0"):
        half_width(PooledSpread(variance=1.0, degrees_of_freedom=9), 0.5, comparisons=0)
    with pytest.raises(ValueError, match="confidence is 95"):
        half_width(PooledSpread(variance=1.0, degrees_of_freedom=9), 0.5, 95.0)
