"""Checks of claims over listeners against scipy, statsmodels, published values and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import DescrStatsW

from fairhearing.statistics.listeners import holm, smallest_sign_flip_p, t_interval, t_quantile
from fairhearing.statistics.resampling import sign_flip_test

p_lists = st.lists(st.floats(min_value=0.0, max_value=1.0), min_size=1, max_size=12)


def test_holm_agrees_with_published_values() -> None:
    reference = load("F20")
    adjusted = holm(reference.inputs["p"])
    for found, expected in zip(adjusted, reference.expected["holm_adjusted"], strict=True):
        check(float(found), expected, reference)
    assert int((adjusted <= reference.inputs["alpha"]).sum()) == reference.expected["holm_rejects"]


# The other library collects garbage at every call, so a hundred of them are slow.
@settings(max_examples=25)
@given(p_lists)
def test_holm_agrees_with_statsmodels(p_values: list[float]) -> None:
    expected = multipletests(p_values, method="holm")[1]
    assert holm(p_values) == pytest.approx(expected, abs=1e-14)


@given(p_lists, st.randoms(use_true_random=False))
def test_holm_follows_the_order_it_is_given(p_values: list[float], random: object) -> None:
    order = list(range(len(p_values)))
    random.shuffle(order)  # type: ignore[attr-defined]
    assert holm([p_values[i] for i in order]).tolist() == [holm(p_values)[i] for i in order]


@given(st.lists(st.floats(min_value=-50, max_value=50), min_size=2, max_size=15))
def test_the_t_interval_agrees_with_statsmodels(values: list[float]) -> None:
    found = t_interval(values, 0.9)
    low, high = DescrStatsW(np.array(values)).tconfint_mean(alpha=0.1)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9, abs=1e-9)


def test_the_t_interval_is_cut_to_what_is_possible() -> None:
    found = t_interval([0.9, 1.0, 0.8, 1.0], lowest=0.0, highest=1.0)
    assert found.high == 1.0
    assert found.low == pytest.approx(stats.t.interval(0.95, 3, 0.925, stats.sem([0.9, 1.0, 0.8, 1.0]))[0])


@given(st.lists(st.floats(min_value=0, max_value=1), min_size=2, max_size=9))
def test_who_is_called_what_does_not_move_the_last_digit(values: list[float]) -> None:
    assert t_interval(values) == t_interval(values[::-1]) == t_interval(values[1:] + values[:1])


def test_one_listener_has_no_interval_over_listeners() -> None:
    found = t_interval([0.7])
    assert math.isnan(found.low)
    assert math.isnan(found.high)


def test_the_t_interval_covers_as_often_as_it_says() -> None:
    generator = np.random.default_rng(5)
    covered = 0
    for _ in range(2000):
        interval = t_interval(generator.binomial(12, generator.beta(6.0, 4.0, 8)) / 12)
        covered += interval.low <= 0.6 <= interval.high
    assert 0.935 <= covered / 2000 <= 0.965


@pytest.mark.parametrize("n_listeners", range(1, 9))
def test_the_smallest_p_is_that_of_unanimous_listeners(n_listeners: int) -> None:
    assert smallest_sign_flip_p(n_listeners) == sign_flip_test([1] * n_listeners).p_value


def test_five_listeners_never_reach_one_in_twenty() -> None:
    # Five unanimous listeners: 2/32 = 0.0625 (arithmetic).
    assert smallest_sign_flip_p(5) == 0.0625 > 0.05 > smallest_sign_flip_p(6) == 0.03125


def test_values_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="not finite"):
        t_interval([0.5, math.inf])
    with pytest.raises(ValueError, match="confidence is 95"):
        t_interval([0.5, 0.6], 95)
    with pytest.raises(ValueError, match="outside 0 to 1"):
        holm([0.5, 1.5])
    with pytest.raises(ValueError, match="n_listeners is 0"):
        smallest_sign_flip_p(0)


def test_the_quantile_of_t_is_that_of_tables() -> None:
    # Student's t, two-sided 5 %: 12.706 with one degree of freedom, 2.228 with ten (any table of t).
    assert round(t_quantile(0.95, 1), 3) == 12.706
    assert round(t_quantile(0.95, 10), 3) == 2.228
    assert round(t_quantile(0.99, None), 4) == 2.5758
    for confidence, freedom in ((1.0, 3), (0.95, 0)):
        with pytest.raises(ValueError, match=r"confidence|degrees_of_freedom"):
            t_quantile(confidence, freedom)
