"""Checks of finite differences against Ford's condition and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse.csgraph import connected_components

from fairhearing.statistics.separation import finite_differences


def rows_of(pairs: list[tuple[int, int]], n_items: int) -> np.ndarray:
    rows = np.zeros((len(pairs), 2, n_items))
    for cell, (one, other) in enumerate(pairs):
        rows[cell, 0, one] = rows[cell, 1, other] = 1.0
    return rows[:, :, 1:]


@pytest.mark.parametrize("seed", range(12))
def test_a_difference_is_finite_where_wins_lead_both_ways(seed: int) -> None:
    """Ford 1957: two worths bound each other where chains of wins lead from each to the other."""
    generator = np.random.default_rng(seed)
    pairs = [(i, j) for i in range(5) for j in range(i)]
    observed = (generator.random((len(pairs), 2)) < 0.35).astype(float)
    beaten = np.zeros((5, 5))
    for (one, other), (won, lost) in zip(pairs, observed, strict=True):
        beaten[one, other], beaten[other, one] = won, lost
    labels = connected_components(beaten, directed=True, connection="strong")[1]
    expected = labels[:, None] == labels[None, :]
    assert finite_differences(rows_of(pairs, 5), observed, 5).tolist() == expected.tolist()


def test_without_any_trial_nothing_is_finite() -> None:
    found = finite_differences(np.zeros((0, 2, 2)), np.zeros((0, 2)), 3)
    assert found.tolist() == np.eye(3, dtype=bool).tolist()
