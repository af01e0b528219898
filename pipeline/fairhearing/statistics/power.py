"""How many trials show a share of right answers, and what share so many trials can show: exact binomial sums."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fairhearing.statistics._binomial_walk import Step, powers, require_proportion, walk
from fairhearing.statistics._search import first_and_lasting, require_power, smallest_value

if TYPE_CHECKING:  # whoever plans a session needs counts only, and no arrays
    import numpy as np
    import numpy.typing as npt

    IntArray = npt.NDArray[np.int64]
    FloatArray = npt.NDArray[np.float64]

HALVINGS = 60  # of an interval of proportions: to the last digit


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialsNeeded:
    """The first number of trials that reaches a power, the number from which every larger one does; None: none does.

    With each the smallest number right that is a finding, the true size of the test, and its power.
    """

    first: int | None
    critical_first: int | None
    size_first: float | None
    power_first: float | None
    every: int | None
    critical_every: int | None
    size_every: float | None
    power_every: float | None
    most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BinomialPower:
    """Smallest number right that is a finding (None if not even all right is), true size of the test, and its power."""

    n_trials: int
    critical: int | None
    size: float
    power: float


def critical_numbers(n_trials: npt.ArrayLike, chance: float, alpha: float, *, two_sided: bool = False) -> IntArray:
    r"""Smallest number of right answers whose exact p is `alpha` or less, for each number of trials.

    The smallest c with :math:`\sum_{k \ge c} \binom{n}{k} \pi^k (1 - \pi)^{n-k} \le \alpha` (two-sided: twice the sum),
    in integers where it is close. From n to n + 1 the number stays or grows by one, so that all of them take one pass.

    Parameters
    ----------
    n_trials : (m,) array_like of int, >= 0
    chance : float, 0 < chance < 1
        Probability of a right answer by guessing; 1/3 is taken as one third exactly.
    alpha : float, 0 < alpha < 1
    two_sided : bool
        For a chance of 1/2 alone: too few count as well as too many.

    Returns
    -------
    (m,) ndarray of int, 0 to n + 1
        n + 1 where not even all right is enough.

    Raises
    ------
    ValueError
        A negative number of trials, chance or alpha outside 0 to 1, or two-sided with another chance than 1/2.

    Examples
    --------
    >>> critical_numbers([4, 5, 16], 0.5, 0.05).tolist()
    [5, 5, 12]
    """
    import numpy as np

    wanted = _numbers(n_trials)
    most = int(wanted.max(initial=0))
    table = np.fromiter((step.critical for step in walk(chance, alpha, most, two_sided)), np.int64, most + 1)
    critical: IntArray = table[wanted]
    return critical


def exact_powers(
    n_trials: npt.ArrayLike, chance: float, proportion: float, alpha: float, *, two_sided: bool = False
) -> FloatArray:
    r"""Probability that the exact binomial test is a finding, for each number of trials.

    :math:`\sum_{k \ge c} \binom{n}{k} p^k (1 - p)^{n-k}` with the critical number c of `critical_numbers` (two-sided:
    and the sum over :math:`k \le n - c`).

    Parameters
    ----------
    n_trials : (m,) array_like of int, >= 0
    chance : float, 0 < chance < 1
    proportion : float, 0 to 1
        True share of right answers.
    alpha : float, 0 < alpha < 1
    two_sided : bool

    Returns
    -------
    (m,) ndarray, 0 to 1

    Raises
    ------
    ValueError
        As for `critical_numbers`, or the proportion lies outside 0 to 1.

    Notes
    -----
    Rises and falls like the teeth of a saw as n grows: more trials can show less. For one listener's trials, or trials
    that all have the same chance of being right.

    Examples
    --------
    >>> exact_powers([10, 16], 0.5, 0.75, 0.05).round(4).tolist()
    [0.244, 0.6302]
    """
    import numpy as np

    wanted = _numbers(n_trials)
    most = int(wanted.max(initial=0))
    walked = list(powers(chance, proportion, alpha, most, two_sided))
    reached: FloatArray = np.array([step.power for step in walked])[wanted]
    return reached


def binomial_power(
    n_trials: int, chance: float, proportion: float, alpha: float, *, two_sided: bool = False
) -> BinomialPower:
    """Critical number, true size and power of the exact binomial test of so many trials.

    Parameters
    ----------
    n_trials : int, >= 0
    chance : float, 0 < chance < 1
    proportion : float, 0 to 1
    alpha : float, 0 < alpha < 1
    two_sided : bool

    Returns
    -------
    BinomialPower

    Raises
    ------
    ValueError
        As for `exact_powers`.

    Examples
    --------
    >>> found = binomial_power(16, 0.5, 0.75, 0.05)
    >>> found.critical, round(found.size, 4), round(found.power, 4)
    (12, 0.0384, 0.6302)
    """
    if n_trials < 0:
        raise ValueError(f"n_trials is {n_trials}; it must be 0 or more")
    for last in powers(chance, proportion, alpha, n_trials, two_sided):
        step = last
    return BinomialPower(n_trials=n_trials, critical=step.reachable, size=step.size, power=step.power)


def trials_needed(
    chance: float, proportion: float, alpha: float, power: float, most: int = 500, *, two_sided: bool = False
) -> TrialsNeeded:
    """The first number of trials that reaches a power, and the one from which every larger number does.

    Two numbers, as the power falls each time that the critical number grows by one: quote both, and plan with the
    second if some trials may be lost.

    Parameters
    ----------
    chance : float, 0 < chance < 1
    proportion : float, 0 to 1
        True share of right answers.
    alpha, power : float, 0 to 1
    most : int, >= 1
        Numbers of trials up to this one are looked at; "every" is up to it.
    two_sided : bool

    Returns
    -------
    TrialsNeeded

    Raises
    ------
    ValueError
        As for `exact_powers`, the power lies outside 0 to 1, or `most` is below 1.

    Examples
    --------
    >>> found = trials_needed(0.5, 0.7, 0.05, 0.8)
    >>> found.first, found.every, found.critical_first
    (37, 42, 24)
    """
    require_power(power)
    if most < 1:
        raise ValueError(f"most is {most}; it must be 1 or more")
    return _needed(powers(chance, proportion, alpha, most, two_sided), power, most)


def smallest_proportion(n_trials: int, chance: float, alpha: float, power: float, *, two_sided: bool = False) -> float:
    r"""Smallest true share of right answers, above chance, that so many trials show with this power.

    The p with :math:`\sum_{k \ge c} \binom{n}{k} p^k (1 - p)^{n-k} = \text{power}`, c the critical number.

    Parameters
    ----------
    n_trials : int, >= 0
    chance : float, 0 < chance < 1
    alpha, power : float, 0 to 1
    two_sided : bool

    Returns
    -------
    float, chance to 1
        NaN where not even all right is a finding.

    Raises
    ------
    ValueError
        As for `exact_powers`, or the power lies outside 0 to 1.

    Examples
    --------
    >>> round(smallest_proportion(16, 0.5, 0.05, 0.8), 4)
    0.8006
    """
    require_power(power)
    critical = binomial_power(n_trials, chance, chance, alpha, two_sided=two_sided).critical
    if critical is None:
        return math.nan

    def is_found(proportion: float) -> bool:
        reached = binomial_tail(critical, n_trials, proportion)
        if two_sided:
            reached += binomial_tail(critical, n_trials, 1.0 - proportion)
        return reached >= power

    return smallest_value(is_found, chance, 1.0, HALVINGS)


def binomial_tail(n_right: int, n_trials: int, proportion: float) -> float:
    r"""Probability of `n_right` right answers or more: :math:`\sum_{k \ge x} \binom{n}{k} p^k (1 - p)^{n-k}`.

    Parameters
    ----------
    n_right, n_trials : int, >= 0
    proportion : float, 0 to 1

    Returns
    -------
    float, 0 to 1

    Raises
    ------
    ValueError
        A negative count, or a proportion outside 0 to 1.

    Examples
    --------
    >>> round(binomial_tail(12, 16, 0.75), 4)
    0.6302
    """
    require_proportion(proportion)
    if n_trials < 0:
        raise ValueError(f"n_trials is {n_trials}; it must be 0 or more")
    if n_right <= 0 or proportion == 1.0:
        return float(n_right <= n_trials)
    if n_right > n_trials or proportion == 0.0:
        return 0.0
    if n_right < n_trials * proportion:  # the shorter sum, and the one that does not swamp its complement
        return 1.0 - binomial_tail(n_trials - n_right + 1, n_trials, 1.0 - proportion)
    odds = proportion / (1.0 - proportion)
    term, total = 1.0, 0.0
    for k in range(n_right, n_trials + 1):
        total += term
        term *= odds * (n_trials - k) / (k + 1)
        if term < total * 1e-18:
            break
    log_first = math.log(proportion) * n_right + math.log1p(-proportion) * (n_trials - n_right)
    return min(1.0, total * math.exp(log_first + math.log(math.comb(n_trials, n_right))))


def _needed(steps: Iterator[Step], power: float, most: int) -> TrialsNeeded:
    """The first step that reaches the power, and the first of the unbroken run of those that do at the end."""
    first, every = first_and_lasting(steps, power)
    return TrialsNeeded(
        first=first.n_trials if first else None,
        critical_first=first.reachable if first else None,
        size_first=first.size if first else None,
        power_first=first.power if first else None,
        every=every.n_trials if every else None,
        critical_every=every.reachable if every else None,
        size_every=every.size if every else None,
        power_every=every.power if every else None,
        most=most,
    )


def _numbers(n_trials: npt.ArrayLike) -> IntArray:
    import numpy as np

    wanted = np.asarray(n_trials)
    if wanted.size and (not np.issubdtype(wanted.dtype, np.integer) or wanted.min() < 0):
        raise ValueError("the numbers of trials must be whole, and 0 or more")
    return wanted.astype(np.int64)
