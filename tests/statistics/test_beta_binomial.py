"""The chance-corrected beta-binomial: a published fit, the likelihood by integration, and what holds in general."""

from __future__ import annotations

import math

import numpy as np
import pytest
from references import helper
from scipy import integrate, stats

from fairhearing.statistics.beta_binomial import _Likelihood, fit_beta_binomial


def test_it_reproduces_a_published_fit() -> None:
    reference = helper.load("E16")
    counts, n = reference.inputs["x"], reference.inputs["n_rep"]
    fit = fit_beta_binomial(counts, [n] * len(counts), 1 / 3)
    helper.check(fit.share, reference.expected["mu"], reference)
    helper.check(fit.overdispersion, reference.expected["gamma"], reference)
    helper.check(fit.log_likelihood, reference.expected["logLik"], reference)


@pytest.mark.parametrize(("share", "spread"), [(0.2, 0.3), (0.6, 0.1), (0.5, 0.45)])
@pytest.mark.parametrize(("right", "n", "chance"), [(0, 5, 0.5), (4, 7, 1 / 3), (12, 12, 0.5)])
def test_the_likelihood_is_the_binomial_averaged_over_the_beta(share, spread, right, n, chance) -> None:
    size = (1 - spread) / spread
    listener = stats.beta(share * size, (1 - share) * size)
    averaged, _ = integrate.quad(
        lambda q: stats.binom.pmf(right, n, chance + (1 - chance) * listener.ppf(q)), 0, 1, epsabs=1e-11, limit=400
    )
    assert _Likelihood([right], [n], chance)(share, spread) == pytest.approx(math.log(averaged), abs=1e-6)


def test_no_other_share_and_spread_are_likelier() -> None:
    counts = [9, 10, 14, 16, 8, 12, 11, 15]
    fit = fit_beta_binomial(counts, [16] * 8, 0.5)
    likelihood = _Likelihood(counts, [16] * 8, 0.5)
    grid = [likelihood(s, g) for s in np.linspace(0.01, 0.99, 60) for g in np.linspace(0.001, 0.9, 60)]
    assert fit.log_likelihood >= max(grid)
    assert fit.low < fit.share < fit.high


def test_the_interval_ends_where_the_profile_has_fallen_by_half_the_quantile() -> None:
    counts, n = [9, 10, 14, 16, 8, 12, 11, 15], [16] * 8
    fit = fit_beta_binomial(counts, n, 0.5)
    likelihood = _Likelihood(counts, n, 0.5)
    for end in (fit.low, fit.high):
        profile = max(likelihood(end, g) for g in np.linspace(1e-4, 0.9, 4000))
        assert fit.log_likelihood - profile == pytest.approx(stats.chi2.ppf(0.95, 1) / 2, abs=1e-3)


def test_listeners_who_differ_widen_the_interval() -> None:
    alike = fit_beta_binomial([12] * 8, [16] * 8, 0.5)
    apart = fit_beta_binomial([8, 16] * 4, [16] * 8, 0.5)
    assert alike.proportion_correct == pytest.approx(0.75, abs=1e-4)
    assert alike.overdispersion < 1e-3
    assert apart.overdispersion > 0.4
    assert apart.high - apart.low > 1.5 * (alike.high - alike.low)


@pytest.mark.parametrize(("right", "share"), [(8, 0.0), (5, 0.0), (16, 1.0)])
def test_guessing_and_perfection_stand_at_the_ends_and_leave_nothing_to_differ_in(right, share) -> None:
    fit = fit_beta_binomial([right] * 6, [16] * 6, 0.5)
    assert fit.share == share
    assert math.isnan(fit.overdispersion)
    assert fit.low == share or fit.high == share
    assert 0.0 < fit.high - fit.low < 0.5


@pytest.mark.parametrize(("share", "spread"), [(0.2, 0.3), (0.6, 0.0), (0.97, 0.9)])
def test_slopes_are_those_of_the_likelihood(share, spread) -> None:
    likelihood = _Likelihood([9, 10, 14, 16, 8, 12], [16, 12, 16, 16, 16, 12], 0.5)
    by_share, by_spread = likelihood.slopes(share, spread)
    step = 1e-6
    rise = (likelihood(share + step, spread) - likelihood(share - step, spread)) / (2 * step)
    assert by_share == pytest.approx(rise, rel=1e-6)
    rise = (4 * likelihood(share, spread + step) - likelihood(share, spread + 2 * step)) / (2 * step)
    rise -= 3 * likelihood(share, spread) / (2 * step)
    assert by_spread == pytest.approx(rise, rel=1e-5)


def test_without_overdispersion_it_is_the_binomial() -> None:
    counts, n = [12, 11, 13, 12], [16] * 4
    binomial = sum(math.log(stats.binom.pmf(right, 16, 0.5 + 0.5 * 0.4)) for right in counts)
    assert _Likelihood(counts, n, 0.5)(0.4, 0.0) == pytest.approx(binomial, rel=1e-12)
    fit = fit_beta_binomial(counts, n, 0.5)
    assert fit.overdispersion == 0.0
    assert fit.proportion_correct == pytest.approx(0.75, rel=1e-12)


def test_trials_may_differ_in_number_and_order_is_nothing() -> None:
    one = fit_beta_binomial([8, 12, 20], [10, 16, 24], 0.5)
    other = fit_beta_binomial([20, 8, 12], [24, 10, 16], 0.5)
    assert one == other


@pytest.mark.parametrize("confidence", [0.0, 1.0])
def test_a_confidence_without_an_interval_is_refused(confidence) -> None:
    with pytest.raises(ValueError, match=f"confidence is {confidence}"):
        fit_beta_binomial([8], [16], 0.5, confidence)


@pytest.mark.parametrize(
    ("right", "trials", "chance", "why"),
    [
        ([], [], 0.5, "0 counts"),
        ([1], [1, 2], 0.5, "1 counts of right answers for 2 listeners"),
        ([3], [2], 0.5, "3 right of 2 trials"),
        ([0], [0], 0.5, "0 right of 0 trials"),
        ([1], [2], 1.0, "chance is 1.0"),
    ],
)
def test_what_is_no_count_is_refused(right, trials, chance, why) -> None:
    with pytest.raises(ValueError, match=why):
        fit_beta_binomial(right, trials, chance)
