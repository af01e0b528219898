"""Mean over listeners and programmes, both drawn from many: a mixed model of a balanced table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedMean:
    """The mean with its standard error, degrees of freedom, interval and two-sided p; variances of the random parts."""

    mean: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float
    p_value: float
    listener_variance: float
    programme_variance: float
    residual_variance: float


def crossed_mean(table: npt.ArrayLike, confidence: float = 0.95) -> CrossedMean:
    r"""Mean of a complete table of listeners by programmes, with both as crossed random effects.

    :math:`d_{lp} = \mu + a_l + b_p + e_{lp}`; REML, in closed form as the table is balanced: with mean squares L of n
    listeners, P of k programmes and residual E, :math:`s^2 = (L + P - E)/(nk)`, Satterthwaite's degrees of freedom
    :math:`(L + P - E)^2 / (L^2/(n-1) + P^2/(k-1) + E^2/((n-1)(k-1)))`. A variance that would be negative is 0, and its
    squares go to the residual.

    Parameters
    ----------
    table : (n_listeners, n_programmes) array_like, any unit
        At least two of each.
    confidence : float, 0 < confidence < 1

    Returns
    -------
    CrossedMean, unit of the table
        Standard error 0 and p NaN where all entries are the same.

    Raises
    ------
    ValueError
        There are fewer than two listeners or programmes, an entry is not finite, or the confidence is outside 0 to 1.

    Notes
    -----
    It speaks of other programmes too: with two or three of them the interval is wide, and should be.

    Examples
    --------
    >>> found = crossed_mean([[1.0, 2.0], [2.0, 4.0], [0.0, 3.0]])
    >>> round(found.standard_error, 4), round(found.degrees_of_freedom, 2)
    (1.0801, 1.32)
    """
    values = np.asarray(table, dtype=np.float64)
    _require_table(values, confidence)
    n, k = values.shape
    mean, parts, noise = _mean_squares(values)
    left = 1 - len(parts)  # with neither part the residual alone is the variance, with both it is in it twice
    variance = sum(part.mean for part in parts.values()) + left * noise.mean
    spread = sum(part.mean**2 / part.freedom for part in parts.values()) + left**2 * noise.mean**2 / noise.freedom
    standard_error = math.sqrt(variance / (n * k))
    freedom = variance**2 / spread if spread > 0.0 else math.nan
    half = standard_error * float(special.stdtrit(freedom, (1.0 + confidence) / 2.0))  # NaN stays NaN
    t = -abs(mean) / standard_error if standard_error > 0.0 else math.nan
    return CrossedMean(
        mean=mean,
        standard_error=standard_error,
        degrees_of_freedom=freedom,
        low=mean - half,
        high=mean + half,
        p_value=2.0 * float(special.stdtr(freedom, t)),
        listener_variance=(parts["listener"].mean - noise.mean) / k if "listener" in parts else 0.0,
        programme_variance=(parts["programme"].mean - noise.mean) / n if "programme" in parts else 0.0,
        residual_variance=noise.mean,
    )


def _require_table(values: FloatArray, confidence: float) -> None:
    if values.ndim != 2 or min(values.shape) < 2:
        raise ValueError(f"the table has shape {values.shape}; it must be two listeners and two programmes or more")
    if not np.isfinite(values).all():
        raise ValueError("an entry is not finite")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Squares:
    """A sum of squares and its degrees of freedom."""

    total: float
    freedom: int

    @property
    def mean(self) -> float:
        return self.total / self.freedom


def _mean_squares(values: FloatArray) -> tuple[float, dict[str, _Squares], _Squares]:
    """The mean, the squares of listeners and programmes that exceed the residual's, and the residual's."""
    n, k = values.shape
    mean = float(values.mean())
    rows, columns = values.mean(axis=1) - mean, values.mean(axis=0) - mean
    residual = values - mean - rows[:, None] - columns[None, :]
    parts = {
        "listener": _Squares(total=k * float((rows**2).sum()), freedom=n - 1),
        "programme": _Squares(total=n * float((columns**2).sum()), freedom=k - 1),
    }
    noise = _Squares(total=float((residual**2).sum()), freedom=(n - 1) * (k - 1))
    # Smallest first: what goes to the residual moves the bar for the other.
    for name, part in sorted(parts.items(), key=lambda entry: entry[1].mean):
        if part.mean <= noise.mean:
            noise = _Squares(total=noise.total + part.total, freedom=noise.freedom + part.freedom)
            del parts[name]
    return mean, parts, noise
