"""A short run of the simulation of audits: no more false losers than said, and a true one is found."""

from __future__ import annotations

import math

import pytest
from references.helper import load

from simulations.false_losers import Audit, Setting, run, share

N_NULL, N_LOSS = 220, 40
SEED = 4711
ALONE = load("FALSE-LOSERS-5")


def margin(p: float, n: int) -> float:
    """Three standard deviations of a share."""
    return 3 * math.sqrt(p * (1 - p) / n)


@pytest.fixture(scope="module")
def nothing_changed() -> list[Audit]:
    return run(N_NULL, SEED, Setting(smallest_change_db=0.001))


@pytest.mark.slow
def test_where_nothing_changed_all_intervals_hold_together_as_often_as_they_say(nothing_changed: list[Audit]) -> None:
    assert all(audit.intervals for audit in nothing_changed)
    missed = share(not audit.all_hold for audit in nothing_changed)
    assert missed <= 0.05 + margin(0.05, N_NULL)
    # Nor are they so wide that nothing could be shown.
    assert missed >= 0.005


@pytest.mark.slow
def test_a_false_loser_is_as_rare_as_one_side_of_that(nothing_changed: list[Audit]) -> None:
    assert share(bool(audit.together) for audit in nothing_changed) <= 0.025 + margin(0.025, N_NULL)


@pytest.mark.slow
def test_each_seat_by_itself_gives_a_false_loser_in_12_percent_of_audits(nothing_changed: list[Audit]) -> None:
    alone = share(bool(audit.alone) for audit in nothing_changed)
    assert abs(alone - ALONE.expected["share"]) <= margin(ALONE.expected["share"], N_NULL)
    assert alone > 0.025 + margin(0.025, N_NULL)


@pytest.mark.slow
def test_a_seat_that_is_truly_worse_by_2_db_is_found_and_no_other() -> None:
    found = run(N_LOSS, SEED + 1, Setting(n_losers=1))
    assert share("S0" in audit.together for audit in found) >= 0.95
    assert share(bool(audit.together - {"S0"}) for audit in found) <= 0.05
