"""Checks of intraclass correlations against the published example, printed limits, and their own laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references import helper

from fairhearing.statistics.agreement import intraclass

NAMES = ("one_way", "absolute", "consistent", "mean_one_way", "mean_absolute", "mean_consistent")


@pytest.mark.parametrize("name", NAMES)
def test_it_reproduces_the_published_example(name: str) -> None:
    reference = helper.load("F08")
    found = getattr(intraclass(reference.inputs["matrix"]), name).value
    helper.check(found, reference.expected[name], reference)
    assert round(found, 2) == reference.expected["published"][name]


@pytest.mark.parametrize("name", ["one_way", "consistent", "mean_one_way", "mean_absolute", "mean_consistent"])
def test_its_limits_are_those_that_r_prints(name: str) -> None:
    reference = helper.load("F08.limits")
    found = getattr(intraclass(helper.load("F08").inputs["matrix"]), name)
    for actual, expected in zip((found.low, found.high), reference.expected[name], strict=True):
        helper.check(actual, expected, reference)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1), st.floats(0.1, 40.0), st.floats(-50.0, 50.0))
def test_scale_and_zero_of_the_grades_and_order_change_nothing(seed: int, factor: float, shift: float) -> None:
    generator = np.random.default_rng(seed)
    table = generator.normal(0, 1, (6, 4)) + generator.normal(0, 1, 6)[:, None]
    here, there = intraclass(table), intraclass((table * factor + shift)[::-1, ::-1])
    for name in NAMES:
        one, other = getattr(here, name), getattr(there, name)
        assert (other.value, other.low, other.high) == pytest.approx((one.value, one.low, one.high), rel=1e-6, abs=1e-9)


def test_a_listener_who_grades_higher_throughout_costs_agreement_but_no_consistency() -> None:
    table = np.array([[1.0, 3.0], [2.0, 4.0], [4.0, 6.0], [5.0, 7.0]])
    found = intraclass(table)
    assert (found.consistent.value, found.consistent.low, found.consistent.high) == (1.0, 1.0, 1.0)
    assert found.absolute.value == pytest.approx(2 * 10 / 3 / (2 * 10 / 3 + 4), rel=1e-12)  # B / (B + k J / n), J = 8
    assert intraclass(np.array([[1.0, 1.0], [2.0, 2.0]])).absolute.value == 1.0


def test_grades_that_are_all_alike_have_no_correlation() -> None:
    assert math.isnan(intraclass(np.full((3, 3), 4.2)).absolute.value)


def test_the_interval_of_absolute_agreement_covers_as_often_as_it_says() -> None:
    generator = np.random.default_rng(8)
    truth = 1.0 / (1.0 + 0.3 + 0.7)
    covered = 0
    for _ in range(1000):
        table = generator.normal(0, 1, 10)[:, None] + generator.normal(0, math.sqrt(0.3), 6)[None, :]
        found = intraclass(table + generator.normal(0, math.sqrt(0.7), (10, 6))).absolute
        covered += found.low <= truth <= found.high
    assert 0.93 - 0.02 <= covered / 1000 <= 0.97 + 0.02


@pytest.mark.parametrize("table", [[[1.0, 2.0]], [[1.0], [2.0]], [[1.0, math.nan], [2.0, 3.0]]])
def test_odd_tables_are_refused(table: list[list[float]]) -> None:
    with pytest.raises(ValueError, match=r"shape|finite"):
        intraclass(table)
    with pytest.raises(ValueError, match="confidence"):
        intraclass([[1.0, 2.0], [2.0, 4.0]], 1.0)
