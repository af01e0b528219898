"""Tests of fairhearing.statistics.standard_deviation against the chi-square table and by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from references.helper import check, load

from fairhearing.statistics.standard_deviation import standard_deviation


def test_the_interval_is_that_of_the_chi_square_table():
    reference = load("CHI2-4")
    found = standard_deviation(reference.inputs["values"])
    check(found.value, reference.expected["sd"], reference)
    check(found.low, reference.expected["low"], reference)
    check(found.high, reference.expected["high"], reference)
    assert found.degrees_of_freedom == 4
    by_hand = math.sqrt(4 * 2.5 / reference.inputs["chi2_upper"])
    assert by_hand == pytest.approx(reference.expected["low"], rel=1e-4)


def test_it_holds_the_truth_as_often_as_it_says():
    draw = np.random.default_rng(3)
    found = [standard_deviation(draw.normal(0.0, 2.0, 4), 0.9) for _ in range(4000)]
    held = np.mean([one.low <= 2.0 <= one.high for one in found])
    assert held == pytest.approx(0.9, abs=3 * math.sqrt(0.09 / 4000))


@pytest.mark.parametrize("values", [[], [1.0], [1.0, math.nan], [[1.0, 2.0], [3.0, 4.0]]])
def test_fewer_than_two_finite_values_are_refused(values):
    with pytest.raises(ValueError, match="two finite values"):
        standard_deviation(values)


def test_a_confidence_outside_0_to_1_is_refused():
    with pytest.raises(ValueError, match="confidence"):
        standard_deviation([1.0, 2.0], 1.0)
