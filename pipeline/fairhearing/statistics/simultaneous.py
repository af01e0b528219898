"""Intervals that hold for several independent estimates at once: the studentized maximum modulus."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]

# Nodes of the integral over the pooled standard deviation, and the probability left out at either end of it.
_NODES = 240
_TAIL = 1e-13


@cache
def maximum_modulus_quantile(n_estimates: int, degrees_of_freedom: int, confidence: float = 0.95) -> float:
    r"""Quantile of the largest of several absolute t values that share one pooled standard deviation.

    c with :math:`\int_0^\infty (2\Phi(c x) - 1)^m f_\nu(x)\,dx = 1 - \alpha`, f the density of
    :math:`\sqrt{\chi^2_\nu/\nu}` (Stoline and Ury, Technometrics 21, 1979, 87-93).

    Parameters
    ----------
    n_estimates : int, m >= 1
        Independent estimates that are looked at together.
    degrees_of_freedom : int, nu >= 1
        Of the pooled standard deviation.
    confidence : float, 0 < confidence < 1
        Of all of them together.

    Returns
    -------
    float
        m = 1: the two-sided t quantile; it lies between that and Bonferroni's.

    Raises
    ------
    ValueError
        There are no estimates or no degrees of freedom, or the confidence is outside 0 to 1.

    Notes
    -----
    Estimates that share takes (a common reference seat, two channels of one microphone) are not independent: for
    positively correlated ones the quantile is too large, never too small (Sidak's inequality).

    Examples
    --------
    >>> round(maximum_modulus_quantile(1, 10), 3), round(maximum_modulus_quantile(5, 20), 3)
    (2.228, 2.819)
    """
    if n_estimates < 1 or degrees_of_freedom < 1:
        raise ValueError(
            f"n_estimates is {n_estimates} and degrees_of_freedom {degrees_of_freedom}; each must be 1 or more"
        )
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    from scipy import optimize

    spread, weight = _pooled_spreads(degrees_of_freedom)

    def beyond(quantile: float) -> float:
        within = special.erf(quantile * spread / math.sqrt(2.0))
        return float(np.sum(weight * within**n_estimates)) - confidence

    alpha = 1.0 - confidence
    single = float(special.stdtrit(degrees_of_freedom, 1.0 - alpha / 2.0))
    bonferroni = float(special.stdtrit(degrees_of_freedom, 1.0 - alpha / (2.0 * n_estimates)))
    return float(optimize.brentq(beyond, 0.999 * single, 1.001 * bonferroni, xtol=1e-12))


def widening(n_estimates: int, degrees_of_freedom: int, confidence: float = 0.95) -> float:
    """By what factor a two-sided t interval has to grow to hold for several estimates at once.

    `maximum_modulus_quantile` over the t quantile; arguments and errors are the same.

    Returns
    -------
    float, 1 or more

    Examples
    --------
    >>> widening(1, 10), round(widening(5, 20), 3)
    (1.0, 1.351)
    """
    if n_estimates == 1 and degrees_of_freedom >= 1 and 0.0 < confidence < 1.0:
        return 1.0
    quantile = maximum_modulus_quantile(n_estimates, degrees_of_freedom, confidence)
    return quantile / float(special.stdtrit(degrees_of_freedom, 0.5 + confidence / 2.0))


def _pooled_spreads(degrees_of_freedom: int) -> tuple[FloatArray, FloatArray]:
    """Values of sqrt(chi2/nu), and the probability that each stands for."""
    nu = float(degrees_of_freedom)
    # Over ln x: with few degrees of freedom the density and what is weighed with it change fast near 0.
    low, high = (0.5 * math.log(float(special.chdtri(nu, p)) / nu) for p in (1.0 - _TAIL, _TAIL))
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    log_x = 0.5 * (high - low) * node + 0.5 * (high + low)
    x = np.exp(log_x)
    log_density = nu * log_x - 0.5 * nu * x**2
    share = weight * np.exp(log_density - log_density.max())
    return x, share / np.sum(share)
