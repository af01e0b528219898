"""Whether a share or a mean over listeners lies within margins fixed beforehand: two one-sided tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from fairhearing.statistics._binomial_walk import at_least, exact_chance
from fairhearing.statistics._margins import require_alpha, require_margins
from fairhearing.statistics._student import t_above, t_critical
from fairhearing.statistics.resampling import sign_flip_test

LARGEST_PLAIN_DENOMINATOR = 10_000  # shares of trials and margins such as 0.6 are meant as written


@dataclass(frozen=True, slots=True, kw_only=True)
class EquivalenceTest:
    """The p of each margin (None: there is none), the larger of them, and an interval with confidence 1 - 2 alpha.

    `within` is whether p is alpha or less, which is whether the interval lies inside the margins.
    """

    p_value: float
    p_lower: float | None
    p_upper: float | None
    estimate: float
    low: float
    high: float
    confidence: float
    within: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenersEquivalence:
    """Two one-sided t tests over listeners; `sign_flip_p_value` is their p by exchange of signs, for comparison."""

    p_value: float
    p_lower: float | None
    p_upper: float | None
    estimate: float
    low: float
    high: float
    confidence: float
    within: bool
    n_listeners: int
    sign_flip_p_value: float


def equivalent_proportion(
    n_right: int, n_trials: int, lower: float | None, upper: float | None, alpha: float = 0.05
) -> EquivalenceTest:
    r"""Exact test that a share of right answers lies between two margins, or below one.

    :math:`p_U = P(X \le x \mid \pi_U)`, :math:`p_L = P(X \ge x \mid \pi_L)`, p the larger; summed in integers. The
    interval is Clopper and Pearson's with confidence :math:`1 - 2\alpha`, which lies inside the margins just when
    :math:`p \le \alpha` (Schuirmann 1987; exact: Chow, Shao and Wang 2008).

    Parameters
    ----------
    n_right : int, 0 to n_trials
    n_trials : int, >= 1
    lower, upper : float, 0 < lower < upper < 1, or None
        Not both None. "No better than 60 % right": lower None, upper 0.6.
    alpha : float, 0 < alpha < 0.5

    Returns
    -------
    EquivalenceTest, shares 0 to 1

    Raises
    ------
    ValueError
        Counts that can't be, margins that do not rise within 0 to 1, or alpha outside 0 to 0.5.

    Notes
    -----
    That no difference was shown is not that there is none: this shows it, if the margin was fixed before the trials.
    A margin chosen after them shows nothing. For the trials of one listener: over all trials of listeners who differ by
    0.8 logit it calls a mean at the margin within it in 12 to 15 % instead of 5 %, by simulation; for a claim about
    people take `equivalent_over_listeners`.

    Examples
    --------
    >>> found = equivalent_proportion(50, 100, None, 0.6)
    >>> round(found.p_value, 4), found.within
    (0.0271, True)
    """
    if not 0 <= n_right <= n_trials or n_trials < 1:
        raise ValueError(f"{n_right} right answers out of {n_trials} trials can't be tested")
    require_margins(lower, upper, 0.0, 1.0)
    require_alpha(alpha)
    p_lower = None if lower is None else at_least(n_right, n_trials, exact_chance(lower))
    p_upper = None if upper is None else at_least(n_trials - n_right, n_trials, 1 - exact_chance(upper))
    p_value = max(p for p in (p_lower, p_upper) if p is not None)
    low, high = _clopper_pearson(n_right, n_trials, alpha)
    return EquivalenceTest(
        p_value=p_value,
        p_lower=p_lower,
        p_upper=p_upper,
        estimate=n_right / n_trials,
        low=low,
        high=high,
        confidence=1.0 - 2.0 * alpha,
        within=p_value <= alpha,
    )


def equivalent_over_listeners(
    values: Sequence[Fraction | int | float], lower: float | None, upper: float | None, alpha: float = 0.05
) -> ListenersEquivalence:
    r"""Test that the mean over listeners lies between two margins, or on one side of one: two one-sided t tests.

    :math:`p_U = P(T_{n-1} \le (\bar x - U)\sqrt n/s)`, :math:`p_L` likewise, p the larger (Schuirmann 1987); the
    interval :math:`\bar x \pm t_{1-\alpha,\,n-1}\, s/\sqrt n` lies inside the margins just when :math:`p \le \alpha`.

    Parameters
    ----------
    values : sequence, one a listener, any unit
        Shares of trials as Fraction or float, or differences of ratings.
    lower, upper : float, lower < upper, unit of `values`, or None
        Not both None.
    alpha : float, 0 < alpha < 0.5

    Returns
    -------
    ListenersEquivalence, unit of `values`

    Raises
    ------
    ValueError
        Fewer than two listeners, a value that is not finite, margins that do not rise, or alpha outside 0 to 0.5.

    Notes
    -----
    t decides, not the exchange of signs: with 3 to 40 listeners of 8 or 16 trials each, alike or 0.8 logit apart, it
    claims a mean at the margin in 5.5 % at most (alpha 5 %), and its interval says what its p says. Where all values
    are equal nothing is shown (p 1, no interval): three listeners with few trials are so too often. Exchange of signs
    needs five listeners; its p is given as 1 where the mean is outside.

    Examples
    --------
    >>> found = equivalent_over_listeners([0.45, 0.55, 0.5, 0.6, 0.5, 0.45], 0.35, 0.65)
    >>> round(found.p_value, 4), round(found.sign_flip_p_value, 4), found.within
    (0.001, 0.0156, True)
    """
    require_margins(lower, upper, -math.inf, math.inf)
    require_alpha(alpha)
    plain = [_plain(value) for value in values]
    error, mean = _standard_error(plain), float(sum(plain, Fraction(0)) / len(plain))
    above = None if lower is None else [value - _plain(lower) for value in plain]
    below = None if upper is None else [_plain(upper) - value for value in plain]
    p_lower, p_upper = (None if inwards is None else _t_above_0(inwards, error) for inwards in (above, below))
    p_value = max(p for p in (p_lower, p_upper) if p is not None)
    half = t_critical(alpha, len(plain) - 1) * error if error > 0.0 else math.nan
    return ListenersEquivalence(
        p_value=p_value,
        p_lower=p_lower,
        p_upper=p_upper,
        estimate=mean,
        low=mean - half,
        high=mean + half,
        confidence=1.0 - 2.0 * alpha,
        within=p_value <= alpha,
        n_listeners=len(plain),
        sign_flip_p_value=max(_sign_flip_above_0(inwards) for inwards in (above, below) if inwards is not None),
    )


def _clopper_pearson(n_right: int, n_trials: int, tail: float) -> tuple[float, float]:
    from fairhearing.statistics.proportions import clopper_pearson

    interval = clopper_pearson(n_right, n_trials, 1.0 - 2.0 * tail)
    return interval.low, interval.high


def _standard_error(values: Sequence[Fraction]) -> float:
    """Of the mean; by exact squares, as equal values have no spread at all."""
    n = len(values)
    if n < 2:
        raise ValueError(f"there are {n} listeners; it takes two to see how they differ")
    mean = sum(values, Fraction(0)) / n
    return math.sqrt(sum(((value - mean) ** 2 for value in values), Fraction(0)) / (n - 1) / n)


def _t_above_0(deviations: Sequence[Fraction], error: float) -> float:
    """One-sided p that the mean is above 0, by t; 1 where there is no spread to measure it by."""
    n = len(deviations)
    return t_above(float(sum(deviations, Fraction(0)) / n) / error, n - 1) if error > 0.0 else 1.0


def _sign_flip_above_0(deviations: Sequence[Fraction]) -> float:
    """The same by exchange of signs: half the two-sided p of a mean that is above 0; else 1."""
    return sign_flip_test(deviations).p_value / 2.0 if sum(deviations) > 0 else 1.0


def _plain(value: Fraction | int | float) -> Fraction:
    if not math.isfinite(value):
        raise ValueError(f"{value} is among the values; all must be finite")
    exact = Fraction(value)
    plain = exact.limit_denominator(LARGEST_PLAIN_DENOMINATOR)
    return plain if float(plain) == float(exact) else exact
