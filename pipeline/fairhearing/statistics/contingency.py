"""Exact conditional test of answers against what was played: Fisher's, over any number of strata."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionalTest:
    """Right answers over all strata, what guessing would give with the same margins, and the one-sided p."""

    n_right: int
    n_trials: int
    expected_right: float
    p_value: float


def conditional_test(tables: Sequence[IntArray]) -> ConditionalTest:
    r"""Probability of as many right answers or more if answers had nothing to do with what was played.

    In each stratum the numbers of times that each condition was played and was answered are held fixed; the count of
    agreements then follows a hypergeometric distribution, and the sum over strata their convolution. Summed in
    integers. With one stratum this is Fisher's exact test, alternative "greater" (Fisher 1935).

    Parameters
    ----------
    tables : sequence of integer arrays of shape (2, 2), one a stratum
        Row: what was played; column: what was answered; the diagonal is right.

    Returns
    -------
    ConditionalTest

    Raises
    ------
    ValueError
        A table has another shape or a negative count.

    Notes
    -----
    Exact where any order with the same counts was equally likely to be played. Where runs were limited as well it is
    not, and a listener who tends to alternate gains a little. A stratum with one answer throughout tells nothing.

    Examples
    --------
    >>> round(conditional_test([np.array([[3, 1], [1, 3]])]).p_value, 4)
    0.2429
    """
    weights = [1]
    n_right = n_trials = n_agree = smallest_agree = 0
    expected = Fraction(0)
    for table in tables:
        counts = _checked(table)
        both, played_answer_other, other_answer_played, neither = counts
        n_played, n_other = both + played_answer_other, other_answer_played + neither
        n_answered = both + other_answer_played
        low, high = max(0, n_answered - n_other), min(n_played, n_answered)
        ways = [math.comb(n_played, k) * math.comb(n_other, n_answered - k) for k in range(low, high + 1)]
        weights = _convolve(weights, ways)
        smallest_agree += low
        n_agree += both
        n_right += both + neither
        n_trials += sum(counts)
        if n_played + n_other:
            agree = Fraction(n_played * n_answered, n_played + n_other)
            expected += 2 * agree + n_other - n_answered
    tail = sum(weights[n_agree - smallest_agree :])
    return ConditionalTest(
        n_right=n_right,
        n_trials=n_trials,
        expected_right=float(expected),
        p_value=float(Fraction(tail, sum(weights))),
    )


def _convolve(left: list[int], right: list[int]) -> list[int]:
    """Coefficients of the product, in Python's integers: counts outgrow 64 bits."""
    product = [0] * (len(left) + len(right) - 1)
    for i, a in enumerate(left):
        for j, b in enumerate(right):
            product[i + j] += a * b
    return product


def _checked(table: IntArray) -> tuple[int, int, int, int]:
    array = np.asarray(table)
    if array.shape != (2, 2):
        raise ValueError(f"a table has shape {array.shape}; it must be 2 x 2, played by answered")
    if not np.issubdtype(array.dtype, np.integer) or (array < 0).any():
        raise ValueError(f"a table holds {array.tolist()}; it must hold counts")
    return int(array[0, 0]), int(array[0, 1]), int(array[1, 0]), int(array[1, 1])
