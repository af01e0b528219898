"""The ratio of two sums along one programme, with an interval that allows for neighbours that are alike."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]

FEWEST_BLOCKS = 8
# The contract gives no interval with fewer than three degrees of freedom.
FEWEST_WAVES = 3
# Lazarus, Lewis, Stock and Watson, J. Business & Economic Statistics 36 (2018) 541-559, take 0.4 n^(2/3) (from memory);
# warp and rumble come and go slowly, so fewer are taken here: held by tests/simulations/subsonic_coverage.md.
WAVES_FACTOR, WAVES_POWER = 0.25, 2 / 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRatio:
    """Natural logarithm of a ratio of sums, its standard error and the degrees of freedom of that.

    `standard_error` is NaN and `degrees_of_freedom` 0 where there are too few blocks.
    """

    value: float
    standard_error: float
    degrees_of_freedom: int


def log_ratio_of_sums(over: FloatArray, under: FloatArray) -> LogRatio:
    r"""Logarithm of :math:`\sum a_i / \sum b_i` of paired blocks along a programme, with its standard error.

    By linearisation (delta method) the error is that of the mean of
    :math:`d_i = a_i / \bar a - b_i / \bar b`. Its long-run variance is taken from the B slowest cosines,
    :math:`\hat\Omega = \frac{1}{B} \sum_{j=1}^{B} \left( \sqrt{2/n} \sum_i d_i \cos(\pi j (i + 1/2) / n) \right)^2`
    (equal-weighted cosine estimator, Lazarus and others 2018), which slow changes along the programme do
    not deceive as a variance of single blocks would; t with B degrees of freedom then holds.

    Parameters
    ----------
    over, under : (n,) array, >= 0
        Energies of the same blocks, in order, evenly spaced; blocks may overlap.

    Returns
    -------
    LogRatio
        Without a standard error for fewer than 8 blocks.

    Raises
    ------
    ValueError
        The arrays differ in length, an energy is negative or not finite, or a sum is zero.

    Notes
    -----
    The interval is about programmes like this one: that the two sums of just this section are what they are is known
    better than it says.

    Examples
    --------
    >>> found = log_ratio_of_sums(np.array([1.0, 2, 3, 4, 1, 2, 3, 4]), np.array([2.0, 4, 6, 8, 2, 4, 6, 8]))
    >>> round(found.value, 6), round(found.standard_error, 6), found.degrees_of_freedom
    (-0.693147, 0.0, 3)
    """
    if over.shape != under.shape or over.ndim != 1:
        raise ValueError(f"blocks of shape {over.shape} and {under.shape} are no pairs")
    if not (np.isfinite(over).all() and np.isfinite(under).all() and (over >= 0).all() and (under >= 0).all()):
        raise ValueError("an energy is negative or not finite")
    if not (over.sum() > 0 and under.sum() > 0):
        raise ValueError("a sum is zero: there is no ratio")
    n = len(over)
    value = math.log(over.sum() / under.sum())
    if n < FEWEST_BLOCKS:
        return LogRatio(value=value, standard_error=math.nan, degrees_of_freedom=0)
    n_waves = max(FEWEST_WAVES, round(WAVES_FACTOR * n**WAVES_POWER))
    deviation = over / over.mean() - under / under.mean()
    waves = np.cos(np.pi * np.outer(np.arange(1, n_waves + 1), np.arange(n) + 0.5) / n)
    long_run = float(np.mean((math.sqrt(2 / n) * (waves @ deviation)) ** 2))
    return LogRatio(value=value, standard_error=math.sqrt(long_run / n), degrees_of_freedom=n_waves)


def half_width(standard_error: float, degrees_of_freedom: float, confidence: float) -> float:
    """Half the width of a two-sided t interval; NaN without a standard error or a degree of freedom.

    Parameters
    ----------
    standard_error : float, >= 0
    degrees_of_freedom : float
    confidence : float, 0 < confidence < 1

    Examples
    --------
    >>> round(half_width(1.0, 4, 0.95), 3)  # Student's table
    2.776
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    if not (degrees_of_freedom > 0 and math.isfinite(standard_error)):
        return math.nan
    return float(special.stdtrit(degrees_of_freedom, 0.5 + confidence / 2)) * standard_error
