"""Exact re-randomisation of what was played against what was answered, for any number of kinds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchingTest:
    """Right answers over all strata, what guessing would give with the same counts, and the one-sided p."""

    n_right: int
    n_trials: int
    expected_right: float
    p_value: float


def matching_test(tables: Sequence[IntArray]) -> MatchingTest:
    r"""Probability of as many right answers or more if what was played were dealt anew, the answers kept.

    In each stratum all :math:`n!` ways to deal the n trials that were played to the n answers are equally likely. With
    :math:`r_j = \sum \prod_k \binom{a_k}{j_k} \binom{b_k}{j_k} j_k!` over :math:`\sum j_k = j`, :math:`a_k` and
    :math:`b_k` how often kind k was played and answered, the ways with m right are the coefficient of :math:`x^m` in
    :math:`\sum_j r_j (n - j)! (x - 1)^j` (rook and hit numbers: Riordan 1958, chapters 7 and 8); strata are convolved.
    Summed in integers.

    Parameters
    ----------
    tables : sequence of integer arrays of shape (n_kinds, n_kinds), one a stratum
        Row: what was played; column: what was answered; the diagonal is right.

    Returns
    -------
    MatchingTest

    Raises
    ------
    ValueError
        A table is not square or has a negative count.

    Notes
    -----
    Exact where any order with the same counts was equally likely to be played; where runs were limited as well it is
    not. With two kinds it is the same as `contingency.conditional_test`. A stratum of one trial tells nothing.

    Examples
    --------
    >>> round(matching_test([np.array([[2, 0, 0], [0, 2, 0], [0, 0, 2]])]).p_value, 5)
    0.01111
    """
    weights = [1]
    n_right = n_trials = 0
    expected = Fraction(0)
    for table in tables:
        array = _checked(table)
        played = [int(count) for count in array.sum(axis=1)]
        answered = [int(count) for count in array.sum(axis=0)]
        n_here = sum(played)
        weights = _product(weights, _ways(played, answered))
        n_right += int(np.trace(array))
        n_trials += n_here
        if n_here:
            expected += Fraction(sum(a * b for a, b in zip(played, answered, strict=True)), n_here)
    return MatchingTest(
        n_right=n_right,
        n_trials=n_trials,
        expected_right=float(expected),
        p_value=float(Fraction(sum(weights[n_right:]), sum(weights))),
    )


def _ways(played: Sequence[int], answered: Sequence[int]) -> list[int]:
    """Ways to deal with 0, 1, … right, up to the most that can be."""
    rooks = [1]
    for a, b in zip(played, answered, strict=True):
        rooks = _product(rooks, [math.comb(a, j) * math.comb(b, j) * math.factorial(j) for j in range(min(a, b) + 1)])
    n_trials = sum(played)
    ways = [0] * len(rooks)
    for j, rook in enumerate(rooks):
        scale = rook * math.factorial(n_trials - j)
        for m in range(j + 1):
            ways[m] += scale * math.comb(j, m) * (-1) ** (j - m)
    return ways


def _product(left: Sequence[int], right: Sequence[int]) -> list[int]:
    """Coefficients of the product of two polynomials, in Python's integers: counts outgrow 64 bits."""
    product = [0] * (len(left) + len(right) - 1)
    for i, a in enumerate(left):
        for j, b in enumerate(right):
            product[i + j] += a * b
    return product


def _checked(table: IntArray) -> IntArray:
    array = np.asarray(table)
    if array.ndim != 2 or array.shape[0] != array.shape[1]:
        raise ValueError(f"a table has shape {array.shape}; it must be square, played by answered")
    if not np.issubdtype(array.dtype, np.integer) or (array < 0).any():
        raise ValueError(f"a table holds {array.tolist()}; it must hold counts")
    return array
