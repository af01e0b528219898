"""Checks of the screening rules: the edge of 15 %, and the t-test against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from references import helper
from scipy import stats

from fairhearing.statistics.screening import expertise, spared, too_many


def test_strictly_more_than_fifteen_in_a_hundred_are_too_many() -> None:
    reference = helper.load("F23")
    found = [too_many(n, reference.inputs["items"]) for n in reference.inputs["hidden_reference_below_90"]]
    assert found == reference.expected["excluded"]
    # 15 of 100 as floats is 15.000000000000002 or not, by how it is written: here it is exact.
    assert (too_many(15, 100), too_many(16, 100), too_many(0, 0)) == (False, True, False)


def test_an_anchor_put_high_by_more_than_a_quarter_counts_against_none() -> None:
    assert (spared(5, 20), spared(6, 20)) == (False, True)


@pytest.mark.parametrize("seed", range(6))
def test_expertise_is_scipys_one_sided_t_test(seed: int) -> None:
    values = np.random.default_rng(seed).normal(-0.3, 0.6, 8)
    second = stats.ttest_1samp(values, 0.0, alternative="less")
    found = expertise(values.tolist())
    assert (found.t, found.p_value) == pytest.approx((second.statistic, second.pvalue), rel=1e-9)
    assert found.expert == (second.pvalue <= 0.05)


def test_grades_without_scatter_speak_by_their_sign_and_one_says_nothing() -> None:
    assert expertise([-1.0] * 4).expert is True
    assert expertise([0.0] * 4).expert is False
    assert expertise([0.1 + 0.2, 0.3]).expert is False
    assert expertise([-2.0]).expert is None


def test_odd_counts_are_refused() -> None:
    for odd in (too_many, spared):
        with pytest.raises(ValueError, match="of 3"):
            odd(4, 3)
    with pytest.raises(ValueError, match="finite"):
        expertise([float("nan"), 1.0])
