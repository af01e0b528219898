"""Sensitivity d-prime from the proportion of right answers, and back, by the model of the listening method."""

from __future__ import annotations

import math
from functools import cache
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
from scipy import special

Model = Literal["2afc", "abx-independent", "abx-differencing", "duo-trio", "triangle", "tetrad"]
FloatArray = npt.NDArray[np.float64]

# Slopes a and b in P = Phi(a d) Phi(b d) + Phi(-a d) Phi(-b d): Macmillan and Creelman 2005, chapter 9 (ABX),
# Ennis 1993 (duo-trio, the same function as differencing).
TWO_FACTOR_SLOPES: dict[str, tuple[float, float]] = {
    "abx-independent": (1.0 / math.sqrt(2.0), 0.5),
    "abx-differencing": (1.0 / math.sqrt(2.0), 1.0 / math.sqrt(6.0)),
    "duo-trio": (1.0 / math.sqrt(2.0), 1.0 / math.sqrt(6.0)),
}
# Gauss-Legendre over 0 to 10 standard deviations: what is left out is below 1e-22.
TRIANGLE_RANGE = 10.0
TRIANGLE_NODES = 120
THREE_WAYS = frozenset({"triangle", "tetrad"})  # models of methods in which guessing is right once in three


def chance_level(model: Model) -> float:
    """Proportion of right answers by guessing: 1/3 for the triangle and the tetrad, else 1/2.

    Parameters
    ----------
    model : Model

    Returns
    -------
    float

    Raises
    ------
    ValueError
        The model is not known.

    Examples
    --------
    >>> chance_level("2afc")
    0.5
    """
    _check_model(model)
    return 1.0 / 3.0 if model in THREE_WAYS else 0.5


def proportion_correct(d_prime: float, model: Model) -> float:
    r"""Proportion of right answers of an unbiased listener with sensitivity `d_prime`.

    2afc: :math:`\Phi(d'/\sqrt 2)`. ABX and duo-trio: :math:`\Phi(a d')\Phi(b d') + \Phi(-a d')\Phi(-b d')` with
    :math:`a = 1/\sqrt 2`, b 1/2 (independent observation) or :math:`1/\sqrt 6` (differencing, duo-trio). Triangle:
    :math:`2\int_0^\infty [\Phi(-z\sqrt 3 + d'\sqrt{2/3}) + \Phi(-z\sqrt 3 - d'\sqrt{2/3})]\,\varphi(z)\,dz`
    (Macmillan and Creelman 2005, chapters 7, 9, 10; Ennis 1993). Tetrad, two against two:
    :math:`1 - 2\int_{-\infty}^{\infty} \varphi(z)\,[2\Phi(z)\Phi(z - d') - \Phi(z - d')^2]\,dz`
    (Ennis, Ennis, Palen and O'Mahony 1998).

    Parameters
    ----------
    d_prime : float, standard deviations, >= 0
    model : Model

    Returns
    -------
    float, chance to 1

    Raises
    ------
    ValueError
        d_prime is negative or no number, or the model is not known.

    Examples
    --------
    >>> round(proportion_correct(1.0, "2afc"), 4)
    0.7602
    """
    _check_model(model)
    if not d_prime >= 0.0:
        raise ValueError(f"d-prime is {d_prime}; it must be 0 or more")
    if math.isinf(d_prime):
        return 1.0
    if model == "2afc":
        return float(special.ndtr(d_prime / math.sqrt(2.0)))
    if model == "triangle":
        z, weight = _triangle_grid()
        shift = d_prime * math.sqrt(2.0 / 3.0)
        both = special.ndtr(-z * math.sqrt(3.0) + shift) + special.ndtr(-z * math.sqrt(3.0) - shift)
        return min(1.0, float(np.sum(both * weight)))
    if model == "tetrad":
        z, weight = _whole_grid()
        here, there = special.ndtr(z), special.ndtr(z - d_prime)
        return min(1.0, 1.0 - 2.0 * float(np.sum((2.0 * here * there - there * there) * weight)))
    a, b = (slope * d_prime for slope in TWO_FACTOR_SLOPES[model])
    return float(special.ndtr(a) * special.ndtr(b) + special.ndtr(-a) * special.ndtr(-b))


def d_prime(proportion: float, model: Model) -> float:
    """Sensitivity that gives this proportion of right answers: the inverse of `proportion_correct`.

    Parameters
    ----------
    proportion : float, 0 to 1
    model : Model

    Returns
    -------
    float, standard deviations, >= 0
        inf if all answers are right; 0 at chance and below it.

    Raises
    ------
    ValueError
        The proportion lies outside 0 to 1, or the model is not known.

    Notes
    -----
    inf says only that the trials were too few to find the listener's limit, and 0 below chance that no sensitivity
    fits: whoever states such a value has to say so. The value hangs on the model (75 % right is 0.95 by 2afc, 1.79 or
    2.02 in ABX): name it.

    Examples
    --------
    >>> round(d_prime(0.75, "abx-independent"), 2)
    1.79
    """
    from scipy.optimize import brentq

    chance = chance_level(model)
    if not 0.0 <= proportion <= 1.0:
        raise ValueError(f"proportion is {proportion}; it must lie between 0 and 1")
    if proportion <= chance:
        return 0.0
    if proportion == 1.0:
        return math.inf
    upper = 1.0
    while proportion_correct(upper, model) < proportion:
        upper *= 2.0
    return float(brentq(lambda d: proportion_correct(d, model) - proportion, 0.0, upper, xtol=1e-12, rtol=1e-14))


def d_prime_standard_error(proportion: float, n_trials: int, model: Model) -> float:
    r"""Standard error of d-prime by the delta method.

    :math:`\sqrt{P(1-P)/n} \,/\, (dP/dd')` (Bi, Ennis and O'Mahony 1997).

    Parameters
    ----------
    proportion : float, 0 to 1
    n_trials : int, >= 1
    model : Model

    Returns
    -------
    float, standard deviations
        NaN where the method has no answer: at chance or below, and if all answers are right.

    Raises
    ------
    ValueError
        The proportion lies outside 0 to 1, there are no trials, or the model is not known.

    Notes
    -----
    Holds for many trials of one listener. Near chance the slope is almost flat and the error grows without limit: the
    transform of the proportion's own interval misleads less.

    Examples
    --------
    >>> round(d_prime_standard_error(0.75, 16, "2afc"), 4)
    0.4818
    """
    if n_trials < 1:
        raise ValueError(f"n_trials is {n_trials}; it must be 1 or more")
    sensitivity = d_prime(proportion, model)
    if sensitivity == 0.0 or math.isinf(sensitivity):
        return math.nan
    return math.sqrt(proportion * (1.0 - proportion) / n_trials) / _slope(sensitivity, model)


def _slope(sensitivity: float, model: Model) -> float:
    """dP/dd' of `proportion_correct`."""
    if model == "2afc":
        return _density(sensitivity / math.sqrt(2.0)) / math.sqrt(2.0)
    if model == "triangle":
        z, weight = _triangle_grid()
        root = math.sqrt(2.0 / 3.0)
        towards = np.exp(-0.5 * (root * sensitivity - z * math.sqrt(3.0)) ** 2)
        away = np.exp(-0.5 * (root * sensitivity + z * math.sqrt(3.0)) ** 2)
        return float(np.sum((towards - away) * weight)) * root / math.sqrt(2.0 * math.pi)
    if model == "tetrad":
        z, weight = _whole_grid()
        density = np.exp(-0.5 * (z - sensitivity) ** 2) / math.sqrt(2.0 * math.pi)
        return 4.0 * float(np.sum(density * (special.ndtr(z) - special.ndtr(z - sensitivity)) * weight))
    a, b = TWO_FACTOR_SLOPES[model]
    first = a * _density(a * sensitivity) * (2.0 * float(special.ndtr(b * sensitivity)) - 1.0)
    second = b * _density(b * sensitivity) * (2.0 * float(special.ndtr(a * sensitivity)) - 1.0)
    return first + second


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


@cache
def _triangle_grid() -> tuple[FloatArray, FloatArray]:
    """Nodes z from 0 to TRIANGLE_RANGE, and weights that hold the factor 2 and the normal density."""
    node, weight = np.polynomial.legendre.leggauss(TRIANGLE_NODES)
    z = (node + 1.0) * TRIANGLE_RANGE / 2.0
    density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return _kept(z, weight * density * TRIANGLE_RANGE)  # 2 x half the range


@cache
def _whole_grid() -> tuple[FloatArray, FloatArray]:
    """Nodes z from -TRIANGLE_RANGE to TRIANGLE_RANGE, and weights that hold the normal density."""
    node, weight = np.polynomial.legendre.leggauss(TRIANGLE_NODES)
    z = node * TRIANGLE_RANGE
    return _kept(z, weight * TRIANGLE_RANGE * np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi))


def _kept(nodes: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both for reading only: the same arrays are handed out every time."""
    nodes.setflags(write=False)
    weights.setflags(write=False)
    return nodes, weights


def _check_model(model: str) -> None:
    if model not in get_args(Model):
        raise ValueError(f"model is {model!r}; known: {', '.join(get_args(Model))}")
