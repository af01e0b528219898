"""Sensitivity d-prime in same-different trials from the rates of hits and of false alarms, and back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from scipy import special

Rule = Literal["differencing", "independent"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Share of different pairs (hits) and of same pairs (false alarms) that are called different."""

    hits: float
    false_alarms: float


def rates(d_prime: float, criterion: float) -> Rates:
    r"""Rates of a listener who calls a pair different if its two percepts lie `criterion` or more apart.

    :math:`H = \Phi((d' - k)/\sqrt 2) + \Phi((-d' - k)/\sqrt 2)`, :math:`F = 2\Phi(-k/\sqrt 2)`
    (Macmillan and Creelman 2005, chapter 9, differencing model).

    Parameters
    ----------
    d_prime : float, standard deviations, >= 0
    criterion : float, standard deviations, >= 0

    Returns
    -------
    Rates, 0 to 1

    Raises
    ------
    ValueError
        A value is negative or no number.

    Examples
    --------
    >>> found = rates(2.0, 1.5)
    >>> round(found.hits, 4), round(found.false_alarms, 4)
    (0.6448, 0.2888)
    """
    if not (d_prime >= 0.0 and criterion >= 0.0):
        raise ValueError(f"d-prime is {d_prime} and the criterion {criterion}; both must be 0 or more")
    root = math.sqrt(2.0)
    hits = float(special.ndtr((d_prime - criterion) / root) + special.ndtr((-d_prime - criterion) / root))
    return Rates(hits=min(1.0, hits), false_alarms=float(2.0 * special.ndtr(-criterion / root)))


def same_different_d_prime(hits: float, false_alarms: float, rule: Rule) -> float:
    r"""Sensitivity that gives these rates of the answer "different".

    differencing: the :math:`d'` of `rates` with :math:`k = \sqrt 2\, \Phi^{-1}(1 - F/2)`. independent (each percept is
    judged by itself, the better rule where two fixed conditions alternate): with
    :math:`p = \Phi\bigl((\Phi^{-1}(H) - \Phi^{-1}(F))/2\bigr)`,
    :math:`d' = 2\Phi^{-1}\bigl((1 + \sqrt{2p - 1})/2\bigr)` (Macmillan and Creelman 2005, chapter 9).

    Parameters
    ----------
    hits, false_alarms : float, 0 to 1
        Share of different pairs, and of same pairs, that were called different.
    rule : Rule

    Returns
    -------
    float, standard deviations, >= 0
        0 where there are no more hits than false alarms; inf with all hits or no false alarm; NaN where both rates are
        0 or both are 1: one answer throughout says nothing.

    Raises
    ------
    ValueError
        A rate lies outside 0 to 1, or the rule is not known.

    Notes
    -----
    The two rules give values that differ by a fifth and more: name the rule. The share of right answers alone is not
    enough: it hangs on how readily somebody says "different".

    Examples
    --------
    >>> round(same_different_d_prime(0.75, 0.25, "differencing"), 3)
    2.574
    >>> round(same_different_d_prime(0.75, 0.25, "independent"), 3)
    2.104
    """
    if rule not in get_args(Rule):
        raise ValueError(f"rule is {rule!r}; known: {', '.join(get_args(Rule))}")
    if not (0.0 <= hits <= 1.0 and 0.0 <= false_alarms <= 1.0):
        raise ValueError(f"the rates are {hits} and {false_alarms}; both must lie between 0 and 1")
    if hits == false_alarms and hits in (0.0, 1.0):
        return math.nan
    if hits <= false_alarms:
        return 0.0
    if hits == 1.0 or false_alarms == 0.0:
        return math.inf
    if rule == "independent":
        best = float(special.ndtr((special.ndtri(hits) - special.ndtri(false_alarms)) / 2.0))
        return 2.0 * float(special.ndtri((1.0 + math.sqrt(2.0 * best - 1.0)) / 2.0))
    return _by_differencing(hits, false_alarms)


def _by_differencing(hits: float, false_alarms: float) -> float:
    from scipy.optimize import brentq

    criterion = -math.sqrt(2.0) * float(special.ndtri(false_alarms / 2.0))
    upper = 1.0
    while rates(upper, criterion).hits < hits:
        upper *= 2.0
    return float(brentq(lambda d: rates(d, criterion).hits - hits, 0.0, upper, xtol=1e-12, rtol=1e-14))
