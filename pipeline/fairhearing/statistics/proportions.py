"""Right answers out of trials: exact tests, exact and score intervals, the number of right answers that is needed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from scipy import special

LARGEST_PLAIN_DENOMINATOR = 1000  # 1/2, 1/3 and the like are meant exactly, though a float can't hold 1/3


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A lower and an upper bound, in the unit of what they bound."""

    low: float
    high: float


def binomial_p_greater(n_correct: int, n_trials: int, chance: float = 0.5) -> float:
    r"""Probability of `n_correct` right answers or more by guessing alone.

    :math:`p = \sum_{k \ge x} \binom{n}{k} \pi^k (1 - \pi)^{n-k}`, summed in integers and rounded once.

    Parameters
    ----------
    n_correct : int, 0 to n_trials
    n_trials : int, >= 0
    chance : float, 0 < chance < 1
        Probability of a right answer by guessing; 1/3 is taken as one third exactly.

    Returns
    -------
    float, 0 to 1

    Raises
    ------
    ValueError
        More right answers than trials, a negative count, or a chance outside 0 to 1.

    Notes
    -----
    Holds where each right answer was drawn by itself. With counts balanced or runs limited the trials are not
    independent: see `contingency`.

    Examples
    --------
    >>> round(binomial_p_greater(12, 16), 5)
    0.03841
    """
    weights, total = _weights(n_correct, n_trials, chance)
    return float(Fraction(sum(weights[n_correct:]), total))


def binomial_p_two_sided(n_correct: int, n_trials: int, chance: float = 0.5) -> float:
    r"""Probability, by guessing alone, of a count that is no likelier than `n_correct` (minimum-likelihood rule).

    The sum of :math:`P(k)` over all k with :math:`P(k) \le P(x)`; equal probabilities are compared as integers.

    Parameters
    ----------
    n_correct : int, 0 to n_trials
    n_trials : int, >= 0
    chance : float, 0 < chance < 1

    Returns
    -------
    float, 0 to 1

    Raises
    ------
    ValueError
        More right answers than trials, a negative count, or a chance outside 0 to 1.

    Examples
    --------
    >>> round(binomial_p_two_sided(9, 10), 4)
    0.0215
    """
    weights, total = _weights(n_correct, n_trials, chance)
    observed = weights[n_correct]
    return float(Fraction(sum(weight for weight in weights if weight <= observed), total))


def critical_number(n_trials: int, alpha: float, chance: float = 0.5) -> int | None:
    """Smallest number of right answers whose one-sided exact p is `alpha` or less; None if even all right is not.

    Parameters
    ----------
    n_trials : int, >= 0
    alpha : float, 0 < alpha < 1
    chance : float, 0 < chance < 1

    Returns
    -------
    int or None

    Raises
    ------
    ValueError
        A negative count, or alpha or chance outside 0 to 1.

    Notes
    -----
    The true size is below alpha: 12 of 16 is "5 %" and has 3.8 %.

    Examples
    --------
    >>> critical_number(16, 0.05)
    12
    """
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; it must lie between 0 and 1")
    weights, total = _weights(0, n_trials, chance)
    tail = 0
    smallest = None
    for n_correct in range(n_trials, -1, -1):
        tail += weights[n_correct]
        if float(Fraction(tail, total)) > alpha:
            break
        smallest = n_correct
    return smallest


def clopper_pearson(n_correct: int, n_trials: int, confidence: float = 0.95) -> Interval:
    r"""Exact interval of a proportion: covers with at least `confidence`, whatever the true proportion.

    :math:`B(\alpha/2; x, n-x+1)` to :math:`B(1-\alpha/2; x+1, n-x)`, B the beta quantile (Clopper and Pearson 1934).

    Parameters
    ----------
    n_correct : int, 0 to n_trials
    n_trials : int, >= 1
    confidence : float, 0 < confidence < 1

    Returns
    -------
    Interval, 0 to 1

    Raises
    ------
    ValueError
        No trials, more right answers than trials, or a confidence outside 0 to 1.

    Examples
    --------
    >>> interval = clopper_pearson(7, 10)
    >>> round(interval.low, 4), round(interval.high, 4)
    (0.3475, 0.9333)
    """
    _check_interval(n_correct, n_trials, confidence)
    tail = (1.0 - confidence) / 2.0
    n_wrong = n_trials - n_correct
    low = 0.0 if n_correct == 0 else float(special.betaincinv(n_correct, n_wrong + 1, tail))
    high = 1.0 if n_wrong == 0 else float(special.betaincinv(n_correct + 1, n_wrong, 1.0 - tail))
    return Interval(low=low, high=high)


def wilson(n_correct: int, n_trials: int, confidence: float = 0.95) -> Interval:
    r"""Score interval of a proportion, without continuity correction (Wilson 1927).

    :math:`(\hat p + z^2/2n \pm z \sqrt{\hat p (1 - \hat p)/n + z^2/4n^2}) / (1 + z^2/n)`.

    Parameters
    ----------
    n_correct : int, 0 to n_trials
    n_trials : int, >= 1
    confidence : float, 0 < confidence < 1

    Returns
    -------
    Interval, 0 to 1

    Raises
    ------
    ValueError
        No trials, more right answers than trials, or a confidence outside 0 to 1.

    Notes
    -----
    Covers with `confidence` on average over true proportions, not for each of them: near 0 and 1 it can be less.

    Examples
    --------
    >>> interval = wilson(7, 10)
    >>> round(interval.low, 4), round(interval.high, 4)
    (0.3968, 0.8922)
    """
    _check_interval(n_correct, n_trials, confidence)
    z = float(special.ndtri((1.0 + confidence) / 2.0))
    share = n_correct / n_trials
    spread = z * math.sqrt(share * (1.0 - share) / n_trials + z * z / (4.0 * n_trials * n_trials))
    middle = share + z * z / (2.0 * n_trials)
    scale = 1.0 + z * z / n_trials
    low = 0.0 if n_correct == 0 else (middle - spread) / scale
    high = 1.0 if n_correct == n_trials else (middle + spread) / scale
    return Interval(low=low, high=high)


def _weights(n_correct: int, n_trials: int, chance: float) -> tuple[list[int], int]:
    """Integers in proportion to P(k), k from 0 to n, and their sum."""
    _check_counts(n_correct, n_trials)
    if not 0.0 < chance < 1.0:
        raise ValueError(f"chance is {chance}; it must lie between 0 and 1")
    exact = Fraction(chance).limit_denominator(LARGEST_PLAIN_DENOMINATOR)
    if float(exact) != chance:
        exact = Fraction(chance)
    right, base = exact.numerator, exact.denominator
    wrong = base - right
    weights = [math.comb(n_trials, k) * right**k * wrong ** (n_trials - k) for k in range(n_trials + 1)]
    return weights, base**n_trials


def _check_counts(n_correct: int, n_trials: int) -> None:
    if not 0 <= n_correct <= n_trials:
        raise ValueError(f"{n_correct} right answers out of {n_trials} trials can't be")


def _check_interval(n_correct: int, n_trials: int, confidence: float) -> None:
    _check_counts(n_correct, n_trials)
    if n_trials == 0:
        raise ValueError("no trials, no interval")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
