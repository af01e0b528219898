"""Spread pooled over cells of repeats, the t half width that follows from it, and leave-one-out deviations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]

# Below this the t quantile is so large that an interval says nothing, and 0 degrees of freedom have none.
FEWEST_DEGREES_OF_FREEDOM = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledSpread:
    """Variance of one repeat, pooled, in the square of the unit of the repeats; NaN with no degrees of freedom."""

    variance: float
    degrees_of_freedom: int


def pool(groups: Sequence[FloatArray]) -> PooledSpread:
    r"""Variance of one repeat within its cell, pooled over cells.

    :math:`\sum_c \sum_j (x_{cj} - \bar x_c)^2 / \sum_c (n_c - 1)`.

    Parameters
    ----------
    groups : sequence of (n_repeats,) arrays, any unit
        The repeats of one cell (seat, channel, condition) each; a cell of one repeat, or none, adds nothing.

    Returns
    -------
    PooledSpread, unit of the repeats squared

    Raises
    ------
    ValueError
        A repeat is not finite, or a group is not one-dimensional.

    Notes
    -----
    Takes for granted that all cells scatter alike.

    Examples
    --------
    >>> pool([np.array([1.0, 3.0]), np.array([5.0, 6.0, 7.0])])
    PooledSpread(variance=1.3333333333333333, degrees_of_freedom=3)
    """
    squares = 0.0
    degrees_of_freedom = 0
    for group in groups:
        repeats = np.asarray(group, dtype=np.float64)
        if repeats.ndim != 1:
            raise ValueError(f"a group has shape {repeats.shape}; it must be the repeats of one cell")
        if not np.isfinite(repeats).all():
            raise ValueError("a repeat is not finite")
        if repeats.size > 1:
            squares += float(np.sum((repeats - repeats.mean()) ** 2))
            degrees_of_freedom += repeats.size - 1
    variance = squares / degrees_of_freedom if degrees_of_freedom else math.nan
    return PooledSpread(variance=variance, degrees_of_freedom=degrees_of_freedom)


def half_width(
    spread: PooledSpread,
    variance_factor: float,
    confidence: float = 0.95,
    extra_variance: float = 0.0,
    comparisons: int = 1,
) -> float:
    r"""Half the width of a two-sided t interval of an estimate made of repeats with this spread.

    :math:`t_{1-\alpha/2m,\,\nu} \sqrt{k s^2 + v}`: k the factor, v the extra variance, m comparisons (Bonferroni).

    Parameters
    ----------
    spread : PooledSpread
    variance_factor : float, >= 0
        Variance of the estimate over the variance of one repeat: for a difference of two means 1/n_1 + 1/n_2, over
        seats the sum of w^2 (1/n_1 + 1/n_2) with weights w that sum to 1.
    confidence : float, 0 < confidence < 1
        Of all `comparisons` together.
    extra_variance : float, >= 0, unit of the estimate squared
        Variance that the repeats can't show, taken as known.
    comparisons : int, >= 1

    Returns
    -------
    float, unit of the estimate
        NaN with fewer than 3 degrees of freedom.

    Raises
    ------
    ValueError
        A factor or variance is negative, comparisons below 1, or the confidence outside 0 to 1.

    Examples
    --------
    >>> round(half_width(PooledSpread(variance=1.0, degrees_of_freedom=6), 0.5), 4)
    1.7302
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    if variance_factor < 0.0 or extra_variance < 0.0 or comparisons < 1:
        raise ValueError(
            f"variance_factor {variance_factor} and extra_variance {extra_variance} must be 0 or more, "
            f"comparisons {comparisons} 1 or more"
        )
    if spread.degrees_of_freedom < FEWEST_DEGREES_OF_FREEDOM:
        return math.nan
    quantile = float(special.stdtrit(spread.degrees_of_freedom, 1.0 - (1.0 - confidence) / (2.0 * comparisons)))
    return quantile * math.sqrt(variance_factor * spread.variance + extra_variance)


def jackknife_deviations(leave_one_out: Sequence[float] | FloatArray) -> FloatArray:
    r"""Deviations that one cell's repeats cause in an estimate, from the estimates with each repeat left out.

    :math:`d_j = -(n - 1)(\theta_{(-j)} - \bar\theta_{(-\cdot)})`: pseudo-values without their mean, so the estimate
    from all repeats drops out. `pool` them over cells; the sum of 1/n over cells as `variance_factor` then gives the
    variance of the estimate (stratified jackknife: the sum over cells of s_c^2 / n_c; equal where all cells have as
    many repeats).

    Parameters
    ----------
    leave_one_out : (n_repeats,) array_like, any unit
        Entry j: the estimate from all repeats of all cells but repeat j of this cell.

    Returns
    -------
    (n_repeats,) ndarray, unit of the estimate; sums to 0

    Raises
    ------
    ValueError
        An estimate is not finite, or there are fewer than two.

    Examples
    --------
    >>> repeats = np.array([1.0, 2.0, 6.0])
    >>> jackknife_deviations([repeats[1:].mean(), repeats[[0, 2]].mean(), repeats[:2].mean()]).tolist()
    [-2.0, -1.0, 3.0]
    """
    estimates = np.asarray(leave_one_out, dtype=np.float64)
    if estimates.ndim != 1 or estimates.size < 2:
        raise ValueError(f"leave_one_out has shape {estimates.shape}; it must hold two estimates or more")
    if not np.isfinite(estimates).all():
        raise ValueError("an estimate is not finite")
    deviations: FloatArray = (estimates.mean() - estimates) * (estimates.size - 1)
    return deviations
