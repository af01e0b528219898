"""A short run of the coverage simulation: intervals hold as often as they say, and narrower ones would not."""

from __future__ import annotations

import math
import statistics

import pytest

from simulations.corner_coverage import QUANTITIES, Outcome, coverage, narrowed, run
from simulations.rooms_with_filter import Variant

N_SESSIONS = 200
SEED = 4711


def bounds(n: int) -> tuple[float, float]:
    """93 to 97 %, widened by three standard deviations of the simulation itself."""
    return 0.93 - 3 * math.sqrt(0.93 * 0.07 / n), 0.97 + 3 * math.sqrt(0.97 * 0.03 / n)


@pytest.fixture(scope="module")
def found() -> list[Outcome]:
    return run(N_SESSIONS, SEED, Variant())


@pytest.mark.slow
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_intervals_hold_the_truth_as_often_as_they_say(found: list[Outcome], quantity: str) -> None:
    share, n = coverage(found, quantity)
    # Intervals are missing only where 2 repeats at 1 seat leave too few degrees of freedom.
    assert n > 0.9 * sum(outcome.quantity == quantity for outcome in found)
    low, high = bounds(n)
    assert low <= share <= high


@pytest.mark.slow
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_intervals_of_six_tenths_the_width_would_fail(found: list[Outcome], quantity: str) -> None:
    share, n = coverage([narrowed(outcome, 0.6) for outcome in found], quantity)
    assert share < bounds(n)[0]


@pytest.mark.slow
def test_errors_cancel_over_sessions(found: list[Outcome]) -> None:
    errors = [
        outcome.error / outcome.half_width
        for outcome in found
        if outcome.quantity == QUANTITIES[0] and outcome.error is not None and outcome.half_width is not None
    ]
    # Half a half width of standard deviation each: the mean of n lies within 3 x 0.5/sqrt(n) of a bias of 0.05.
    assert abs(sum(errors) / len(errors)) < 0.05 + 1.5 / math.sqrt(len(errors))


@pytest.fixture(scope="module")
def found_in_place() -> list[Outcome]:
    return run(40, SEED + 1, Variant(in_place=True))


@pytest.mark.slow
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_repeats_in_place_widen_the_interval(
    found: list[Outcome], found_in_place: list[Outcome], quantity: str
) -> None:
    share, n = coverage(found_in_place, quantity)
    assert share >= bounds(n)[0]
    assert half_width(found_in_place, quantity) > 1.2 * half_width(found, quantity)


def half_width(outcomes: list[Outcome], quantity: str) -> float:
    return statistics.median(
        outcome.half_width for outcome in outcomes if outcome.quantity == quantity and outcome.half_width is not None
    )
