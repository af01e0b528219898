"""Interval of a standard deviation from few values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardDeviation:
    """A standard deviation with its interval, in the unit of the values; `degrees_of_freedom`: their number less 1."""

    value: float
    low: float
    high: float
    degrees_of_freedom: int


def standard_deviation(values: Sequence[float] | FloatArray, confidence: float = 0.95) -> StandardDeviation:
    r"""Standard deviation of values drawn from a normal distribution, with its two-sided chi-square interval.

    :math:`s\sqrt{\nu/\chi^2_{1-\alpha/2,\nu}}` to :math:`s\sqrt{\nu/\chi^2_{\alpha/2,\nu}}`, :math:`\nu = n - 1`
    (NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.3.1).

    Parameters
    ----------
    values : (n,) array_like, any unit, n >= 2
    confidence : float, 0 < confidence < 1

    Returns
    -------
    StandardDeviation, unit of the values

    Raises
    ------
    ValueError
        There are fewer than two values, one is not finite, or the confidence is outside 0 to 1.

    Notes
    -----
    With few values the upper limit runs far off, and it leans on the normal distribution whatever their number.

    Examples
    --------
    >>> found = standard_deviation([1.0, 2.0, 3.0, 4.0, 5.0])
    >>> round(found.value, 3), round(found.low, 3), round(found.high, 3)
    (1.581, 0.947, 4.543)
    """
    sample = np.asarray(values, dtype=np.float64)
    if sample.ndim != 1 or sample.size < 2 or not np.isfinite(sample).all():
        raise ValueError(f"values has shape {sample.shape}; it must hold two finite values or more")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    nu = sample.size - 1
    value = float(np.std(sample, ddof=1))
    tail = 0.5 * (1.0 - confidence)
    return StandardDeviation(
        value=value,
        low=value * math.sqrt(nu / float(special.chdtri(nu, tail))),
        high=value * math.sqrt(nu / float(special.chdtri(nu, 1.0 - tail))),
        degrees_of_freedom=nu,
    )
