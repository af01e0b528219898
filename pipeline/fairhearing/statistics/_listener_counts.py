"""Counts of one listener drawn from people who differ: the logit-normal binomial."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.statistics._binomial_walk import binomial_chances
from fairhearing.statistics._search import smallest_value

HALVINGS = 80
REACH, STEPS = 8.0, 64  # of the sum over people's log odds: standard deviations either side of the mean, and steps


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Mean and standard deviation of a listener's share."""

    mean: float
    spread: float


def share_moments(chances: Sequence[float]) -> Moments:
    """Mean and standard deviation of a listener's share of trials, from the probability of each count 0 to n."""
    n_trials = len(chances) - 1
    mean = math.fsum(k / n_trials * chance for k, chance in enumerate(chances))
    variance = math.fsum((k / n_trials - mean) ** 2 * chance for k, chance in enumerate(chances))
    return Moments(mean=mean, spread=math.sqrt(variance))


def listener_counts(n_trials: int, share: float, between_listeners_logit_sd: float) -> list[float]:
    r"""Probability of each count 0 to n of one listener drawn from people who differ: the logit-normal binomial.

    :math:`P(k) = \int \binom{n}{k} s^k (1 - s)^{n - k} \varphi(z)\,dz`, :math:`s = 1/(1 + e^{-\mu - \sigma z})`, by the
    trapezoidal rule over 8 standard deviations either side; :math:`\mu` is such that the mean of s is `share`.

    Parameters
    ----------
    n_trials : int, >= 1
    share : float, 0 < share < 1
    between_listeners_logit_sd : float, >= 0

    Returns
    -------
    list of n_trials + 1 floats that sum to 1

    Raises
    ------
    ValueError
        The share lies outside 0 to 1, the spread is negative, or there are no trials.

    Examples
    --------
    >>> [round(chance, 4) for chance in listener_counts(2, 0.5, 0.0)]
    [0.25, 0.5, 0.25]
    """
    if n_trials < 1:
        raise ValueError(f"n_trials is {n_trials}; it must be 1 or more")
    if not 0.0 < share < 1.0:
        raise ValueError(f"share is {share}; it must lie between 0 and 1")
    sd = between_listeners_logit_sd
    if not 0.0 <= sd < math.inf:
        raise ValueError(f"between_listeners_logit_sd is {sd}; it must be 0 or more")
    grid = [REACH * (2 * k / STEPS - 1) for k in range(STEPS + 1)] if sd > 0.0 else [0.0]
    weights = [math.exp(-0.5 * z * z) for z in grid]
    weights = [weight / math.fsum(weights) for weight in weights]

    def is_high_enough(centre: float) -> bool:
        return math.fsum(w * _expit(centre + sd * z) for w, z in zip(weights, grid, strict=True)) >= share

    farthest = 40.0 + REACH * sd
    centre = smallest_value(is_high_enough, -farthest, farthest, HALVINGS)
    chances = [0.0] * (n_trials + 1)
    for weight, z in zip(weights, grid, strict=True):
        for k, chance in enumerate(binomial_chances(n_trials, _expit(centre + sd * z))):
            chances[k] += weight * chance
    return chances


def _expit(x: float) -> float:
    return 1.0 / (1.0 + math.exp(-x)) if x >= 0.0 else math.exp(x) / (1.0 + math.exp(x))
