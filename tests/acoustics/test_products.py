"""Products in parts are the products, of both precisions."""

from __future__ import annotations

import numpy as np
import pytest

from fairhearing.acoustics.products import multiply


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("n", [0, 1, 409, 5000])
def test_rows_are_multiplied_a_part_at_a_time(kind, n):
    drawn = np.random.default_rng(n)
    rows, matrix = drawn.normal(size=(n, 40)).astype(kind), drawn.normal(size=(40, 16)).astype(kind)
    found = np.full((n, 16), np.nan, dtype=kind)
    multiply(rows, matrix, found)
    expected = np.einsum("nk,km->nm", rows.astype(np.float64), matrix.astype(np.float64))
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-4 if kind is np.float32 else 1e-12)
