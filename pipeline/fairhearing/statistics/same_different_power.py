"""How many same-different trials show that somebody hears a difference: exact power of Fisher's test."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fairhearing.statistics._binomial_walk import binomial_chances
from fairhearing.statistics._search import first_and_lasting, require_power


@dataclass(frozen=True, slots=True, kw_only=True)
class SameDifferentPower:
    """Power and true size of the test of so many trials, half of them (and the odd one) of different pairs."""

    n_trials: int
    n_different: int
    size: float
    power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SameDifferentTrialsNeeded:
    """The first number of trials that reaches the power and the one from which every larger one does, up to `most`."""

    first: SameDifferentPower | None
    every: SameDifferentPower | None
    most: int


def same_different_power(
    n_different: int, n_same: int, hits: float, false_alarms: float, alpha: float = 0.05
) -> SameDifferentPower:
    r"""Probability that Fisher's exact test, one-sided, finds more "different" answers to different pairs.

    :math:`\sum_{x, y} \binom{n_d}{x} H^x (1 - H)^{n_d - x} \binom{n_s}{y} F^y (1 - F)^{n_s - y}` over the x and y whose
    conditional p, :math:`P(X \ge x \mid x + y)`, is alpha or less.

    Parameters
    ----------
    n_different, n_same : int, >= 1
        Trials with different pairs and with same pairs.
    hits, false_alarms : float, 0 to 1
        True shares of "different" for either. From a d-prime and a criterion: `same_different.rates`.
    alpha : float, 0 < alpha < 1

    Returns
    -------
    SameDifferentPower
        `size`: the same at hits = false alarms = the mean of the two rates.

    Raises
    ------
    ValueError
        There are no trials of a kind, or a rate or alpha lies outside 0 to 1.

    Notes
    -----
    It hangs on how readily somebody says "different" and not on the share of right answers alone.

    Examples
    --------
    >>> round(same_different_power(16, 16, 0.8, 0.3).power, 4)
    0.8486
    """
    if n_different < 1 or n_same < 1:
        raise ValueError(f"there are {n_different} different and {n_same} same pairs; it takes both")
    if not (0.0 <= hits <= 1.0 and 0.0 <= false_alarms <= 1.0):
        raise ValueError(f"the rates are {hits} and {false_alarms}; both must lie between 0 and 1")
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; it must lie between 0 and 1")
    critical = _critical_hits(n_different, n_same, alpha)
    middle = (hits + false_alarms) / 2.0
    return SameDifferentPower(
        n_trials=n_different + n_same,
        n_different=n_different,
        size=_found(critical, n_different, n_same, middle, middle),
        power=_found(critical, n_different, n_same, hits, false_alarms),
    )


def same_different_trials_needed(
    hits: float, false_alarms: float, alpha: float = 0.05, power: float = 0.8, most: int = 120
) -> SameDifferentTrialsNeeded:
    """The first even number of trials, half of a kind, that reaches a power, and the one from which all do.

    Parameters
    ----------
    hits, false_alarms : float, 0 to 1
    alpha, power : float, 0 to 1
    most : int, >= 2

    Returns
    -------
    SameDifferentTrialsNeeded

    Raises
    ------
    ValueError
        As for `same_different_power`, the power lies outside 0 to 1, or `most` is below 2.

    Examples
    --------
    >>> found = same_different_trials_needed(0.8, 0.3)
    >>> found.first.n_trials, found.every.n_trials
    (30, 30)
    """
    require_power(power)
    if most < 2:
        raise ValueError(f"most is {most}; it must be 2 or more")
    steps = (same_different_power(n, n, hits, false_alarms, alpha) for n in range(1, most // 2 + 1))
    first, every = first_and_lasting(steps, power)
    return SameDifferentTrialsNeeded(first=first, every=every, most=most)


def _critical_hits(n_different: int, n_same: int, alpha: float) -> list[int]:
    """For each number of "different" answers, the fewest hits whose conditional p is alpha or less."""
    of_different = [math.comb(n_different, x) for x in range(n_different + 1)]
    of_same = [math.comb(n_same, y) for y in range(n_same + 1)]
    critical = []
    for answered in range(n_different + n_same + 1):
        total = math.comb(n_different + n_same, answered)
        x, tail = min(n_different, answered), 0
        while x >= max(0, answered - n_same):
            tail += of_different[x] * of_same[answered - x]
            if tail / total > alpha:
                break
            x -= 1
        critical.append(x + 1)
    return critical


def _found(critical: list[int], n_different: int, n_same: int, hits: float, false_alarms: float) -> float:
    """P of as many hits as are needed, or more, over all numbers of false alarms."""
    same = binomial_chances(n_same, false_alarms)
    tails = [0.0] * (n_different + 2)
    for x, chance in reversed(list(enumerate(binomial_chances(n_different, hits)))):
        tails[x] = tails[x + 1] + chance
    total = 0.0
    for y, chance in enumerate(same):
        # With y fixed, more hits are more "different" answers too: the p falls as hits rise.
        x = next((x for x in range(n_different + 1) if x >= critical[x + y]), n_different + 1)
        total += chance * tails[x]
    return min(1.0, total)
