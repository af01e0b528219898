"""Agreement between listeners who rated the same things: intraclass correlations with intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]
NAMES = ("one_way", "absolute", "consistent", "mean_one_way", "mean_absolute", "mean_consistent")


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlation:
    """An intraclass correlation and its interval, at most 1; NaN where it can't be had."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """The correlations of Shrout and Fleiss (1979), of single listeners and of the mean over all of them.

    `one_way` ICC(1,1), `absolute` ICC(2,1), `consistent` ICC(3,1); `mean_…` the same of the mean, (·,k).
    """

    one_way: Correlation
    absolute: Correlation
    consistent: Correlation
    mean_one_way: Correlation
    mean_absolute: Correlation
    mean_consistent: Correlation


def intraclass(ratings: npt.ArrayLike, confidence: float = 0.95) -> Agreement:
    r"""Intraclass correlations of ratings of the same targets by the same listeners.

    With mean squares of targets B, within targets W, listeners J and residual E, n targets and k listeners:
    ICC(1,1) = (B - W)/(B + (k-1)W), ICC(2,1) = (B - E)/(B + (k-1)E + k(J - E)/n), ICC(3,1) = (B - E)/(B + (k-1)E)
    (Shrout and Fleiss 1979, also for the intervals; that of ICC(2,1) goes by Satterthwaite's degrees of freedom).

    Parameters
    ----------
    ratings : (n_targets, n_listeners) array_like, any unit
        At least two of each.
    confidence : float, 0 < confidence < 1

    Returns
    -------
    Agreement
        NaN throughout where all ratings are the same.

    Raises
    ------
    ValueError
        There are fewer than two targets or listeners, a rating is not finite, or the confidence is outside 0 to 1.

    Notes
    -----
    It compares targets: where they are all alike to listeners it is near 0, however well they would agree on others.

    Examples
    --------
    >>> found = intraclass([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    >>> round(found.absolute.value, 4)
    0.2898
    """
    table = np.asarray(ratings, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2:
        raise ValueError(f"ratings have shape {table.shape}; it must be two targets and two listeners or more")
    if not np.isfinite(table).all():
        raise ValueError("a rating is not finite")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    n, k = table.shape
    squares = _squares(table)
    if squares is None:
        return Agreement(**dict.fromkeys(NAMES, Correlation(value=math.nan, low=math.nan, high=math.nan)))
    between, within, listeners, residual = squares
    one_way = _by_ratio(between, within, n - 1, n * (k - 1), k, confidence)
    consistent = _by_ratio(between, residual, n - 1, (n - 1) * (k - 1), k, confidence)
    absolute = _absolute(between, listeners, residual, n, k, confidence)
    return Agreement(
        one_way=one_way,
        absolute=absolute,
        consistent=consistent,
        mean_one_way=_of_mean(one_way, k),
        mean_absolute=_of_mean(absolute, k),
        mean_consistent=_of_mean(consistent, k),
    )


def _squares(table: FloatArray) -> tuple[float, float, float, float] | None:
    """Mean squares between targets, within targets, between listeners, and of the residual; None if all is alike."""
    n, k = table.shape
    table = table - table.mean()
    scale = float(np.abs(table).max())
    if scale <= 1e-12:
        return None
    targets, listeners = table.mean(axis=1), table.mean(axis=0)
    residual = table - targets[:, None] - listeners[None, :]
    residual[np.abs(residual) < 1e-12 * scale] = 0.0
    between = k * float((targets**2).sum()) / (n - 1)
    within = float(((table - targets[:, None]) ** 2).sum()) / (n * (k - 1))
    of_listeners = n * float((listeners**2).sum()) / (k - 1)
    return between, within, of_listeners, float((residual**2).sum()) / ((n - 1) * (k - 1))


def _by_ratio(between: float, error: float, df_between: int, df_error: int, k: int, confidence: float) -> Correlation:
    """(F - 1)/(F + k - 1) with F = between / error; the interval puts F's own limits in its place."""

    def of(ratio: float) -> float:
        return 1.0 if math.isinf(ratio) else (ratio - 1.0) / (ratio + k - 1.0)

    ratio = between / error if error > 0.0 else math.inf
    tail = (1.0 + confidence) / 2.0
    return Correlation(
        value=of(ratio),
        low=of(ratio / float(special.fdtri(df_between, df_error, tail))),
        high=of(ratio * float(special.fdtri(df_error, df_between, tail))),
    )


def _absolute(between: float, listeners: float, residual: float, n: int, k: int, confidence: float) -> Correlation:
    value = (between - residual) / (between + (k - 1) * residual + k * (listeners - residual) / n)
    if residual == 0.0 and listeners == 0.0:
        return Correlation(value=1.0, low=1.0, high=1.0)
    # Shrout and Fleiss 1979, the formula for nu and those for the limits below it.
    share = k * value * listeners
    rest = n * (1.0 + (k - 1) * value) - k * value
    freedom = (share + rest * residual) ** 2 * (k - 1) * (n - 1)
    freedom /= (n - 1) * share**2 + rest**2 * residual**2
    tail = (1.0 + confidence) / 2.0
    upper = float(special.fdtri(n - 1, max(freedom, 1e-6), tail))
    lower = float(special.fdtri(max(freedom, 1e-6), n - 1, tail))
    spread = k * listeners + (k * n - k - n) * residual
    low = n * (between - upper * residual) / (upper * spread + n * between)
    high = n * (lower * between - residual) / (spread + n * lower * between)
    return Correlation(value=value, low=min(low, value), high=min(1.0, max(high, value)))


def _of_mean(single: Correlation, k: int) -> Correlation:
    """Spearman and Brown's step from one listener to the mean of k."""

    def stepped(value: float) -> float:
        below = 1.0 + (k - 1) * value
        return k * value / below if below > 0.0 else -math.inf

    return Correlation(value=stepped(single.value), low=stepped(single.low), high=stepped(single.high))
