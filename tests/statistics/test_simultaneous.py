"""Tests of fairhearing.statistics.simultaneous against published tables and scipy's multivariate t."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load
from scipy import stats

from fairhearing.statistics.simultaneous import maximum_modulus_quantile, widening


@pytest.mark.parametrize("identifier", ["SMM-2-5", "SMM-5-5", "T-10"])
def test_published_quantiles(identifier):
    reference = load(identifier)
    check(maximum_modulus_quantile(**reference.inputs), reference.expected["quantile"], reference)


@pytest.mark.parametrize(("n", "freedom"), [(2, 3), (3, 10), (5, 20), (8, 40)])
def test_the_multivariate_t_of_scipy_holds_as_much_within_the_quantile(n, freedom):
    """scipy.stats.multivariate_t integrates by quasi-random points: good to a few units in the sixth place."""
    quantile = maximum_modulus_quantile(n, freedom)
    held = [
        stats.multivariate_t.cdf(
            np.full(n, q), loc=np.zeros(n), shape=np.eye(n), df=freedom, lower_limit=np.full(n, -q),
            maxpts=100_000 * n, random_state=np.random.default_rng(1),
        )
        for q in (quantile, 1.01 * quantile)
    ]  # fmt: skip
    assert held[0] == pytest.approx(0.95, abs=1e-5)
    assert abs(held[1] - 0.95) > 5e-4


@pytest.mark.parametrize("n", [2, 5, 12])
def test_with_the_spread_known_it_is_sidaks_normal_quantile(n):
    sidak = stats.norm.ppf((1 + 0.95 ** (1 / n)) / 2)
    assert maximum_modulus_quantile(n, 1_000_000) == pytest.approx(sidak, rel=1e-5)


@given(
    n=st.integers(1, 30), freedom=st.integers(1, 200), confidence=st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
)
def test_it_lies_between_one_t_and_bonferronis_and_grows_with_the_number(n, freedom, confidence):
    found = maximum_modulus_quantile(n, freedom, confidence)
    alone = stats.t.ppf((1 + confidence) / 2, freedom)
    assert alone * (1 - 1e-8) <= found <= stats.t.ppf(1 - (1 - confidence) / (2 * n), freedom) * (1 + 1e-8)
    assert maximum_modulus_quantile(n + 1, freedom, confidence) > found
    assert widening(n, freedom, confidence) == pytest.approx(found / alone, rel=1e-8)


def test_bonferroni_for_five_is_a_table_value_just_above_it():
    reference = load("T-20-TENTH")
    bonferroni = stats.t.ppf(1 - 0.05 / 10, 20)
    check(bonferroni, reference.expected["bonferroni"], reference)
    assert 0.98 * bonferroni < maximum_modulus_quantile(5, 20) < bonferroni


def test_five_pairs_of_means_with_a_pooled_spread_are_all_held_as_often_as_said():
    """Straight from the definition, 40,000 draws: a standard error of 0.1 %."""
    draw, n, freedom = np.random.default_rng(7), 5, 8
    values = draw.standard_normal((40_000, n)) / np.sqrt(draw.chisquare(freedom, (40_000, 1)) / freedom)
    held = np.mean(np.abs(values).max(axis=1) <= maximum_modulus_quantile(n, freedom))
    assert held == pytest.approx(0.95, abs=0.0035)


def test_one_alone_needs_no_widening():
    assert widening(1, 7) == 1.0


@pytest.mark.parametrize("arguments", [(0, 5), (2, 0), (2, 5, 0.0), (2, 5, 1.0), (1, 5, math.nan), (1, 0)])
@pytest.mark.parametrize("function", [maximum_modulus_quantile, widening])
def test_what_cannot_be_is_refused(function, arguments):
    with pytest.raises(ValueError, match=r"must"):
        function(*arguments)
