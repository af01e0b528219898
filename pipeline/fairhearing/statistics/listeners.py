"""Claims over listeners: t interval of a mean, Holm's adjustment, the smallest p that so many listeners can give."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import special

from fairhearing.statistics.proportions import Interval

FloatArray = npt.NDArray[np.float64]


def t_interval(
    values: Sequence[float] | FloatArray,
    confidence: float = 0.95,
    lowest: float = -math.inf,
    highest: float = math.inf,
) -> Interval:
    r"""Interval of the mean over listeners, by Student's t, cut to what is possible.

    :math:`\bar x \pm t_{1-\alpha/2,\,n-1}\, s / \sqrt n`.

    Parameters
    ----------
    values : (n_listeners,) array_like, any unit
        One value a listener.
    confidence : float, 0 < confidence < 1
    lowest, highest : float, unit of `values`
        The interval is cut to this range.

    Returns
    -------
    Interval, unit of `values`
        NaN with fewer than two listeners.

    Raises
    ------
    ValueError
        A value is not finite, or the confidence lies outside 0 to 1.

    Notes
    -----
    If all values are the same it has no width, which says nothing about the next listener.

    Examples
    --------
    >>> interval = t_interval([0.5, 0.6, 0.7])
    >>> round(interval.low, 4), round(interval.high, 4)
    (0.3516, 0.8484)
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    array = np.sort(np.asarray(values, dtype=np.float64))  # sorted: who is called what must not move the last digit
    if not np.isfinite(array).all():
        raise ValueError("a value is not finite")
    if array.size < 2:
        return Interval(low=math.nan, high=math.nan)
    mean = float(array.mean())
    half = float(special.stdtrit(array.size - 1, (1.0 + confidence) / 2.0)) * float(array.std(ddof=1))
    half /= math.sqrt(array.size)
    return Interval(low=max(lowest, mean - half), high=min(highest, mean + half))


def t_quantile(confidence: float, degrees_of_freedom: int | None) -> float:
    r"""Half the width of a two-sided interval in standard errors: :math:`t_{1-\alpha/2,\,\nu}`.

    Parameters
    ----------
    confidence : float, 0 < confidence < 1
    degrees_of_freedom : int, >= 1, or None
        None: the normal distribution's.

    Returns
    -------
    float, > 0

    Raises
    ------
    ValueError
        The confidence lies outside 0 to 1, or there is no degree of freedom.

    Examples
    --------
    >>> round(t_quantile(0.95, 4), 4), round(t_quantile(0.95, None), 4)
    (2.7764, 1.96)
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    if degrees_of_freedom is not None and degrees_of_freedom < 1:
        raise ValueError(f"degrees_of_freedom is {degrees_of_freedom}; it must be 1 or more")
    tail = (1.0 + confidence) / 2.0
    return float(special.ndtri(tail) if degrees_of_freedom is None else special.stdtrit(degrees_of_freedom, tail))


def holm(p_values: Sequence[float] | FloatArray) -> FloatArray:
    r"""p-values adjusted for their number, so that any of them is wrongly small with at most alpha (Holm 1979).

    :math:`\max_{j \le i} \min(1, (m - j + 1)\, p_{(j)})`, p in rising order.

    Parameters
    ----------
    p_values : (m,) array_like, 0 to 1

    Returns
    -------
    (m,) ndarray, 0 to 1, in the order given

    Raises
    ------
    ValueError
        A p-value lies outside 0 to 1.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03]).tolist()
    [0.03, 0.06, 0.06]
    """
    raw = np.asarray(p_values, dtype=np.float64)
    if raw.size and not ((raw >= 0.0) & (raw <= 1.0)).all():
        raise ValueError("a p-value lies outside 0 to 1")
    order = np.argsort(raw, kind="stable")
    stepped = np.maximum.accumulate(raw[order] * np.arange(raw.size, 0, -1))
    adjusted = np.empty_like(raw)
    adjusted[order] = np.minimum(stepped, 1.0)
    return adjusted


def smallest_sign_flip_p(n_listeners: int) -> float:
    r"""Smallest two-sided p that a sign-flip test over so many listeners can give: :math:`2 / 2^n`.

    Parameters
    ----------
    n_listeners : int, >= 1

    Returns
    -------
    float

    Raises
    ------
    ValueError
        There are no listeners.

    Examples
    --------
    >>> smallest_sign_flip_p(5)
    0.0625
    """
    if n_listeners < 1:
        raise ValueError(f"n_listeners is {n_listeners}; it must be 1 or more")
    return 2.0 ** (1 - n_listeners)
