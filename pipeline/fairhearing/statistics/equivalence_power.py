"""How many trials, or listeners, show a share or a mean within margins fixed beforehand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from fairhearing.statistics._binomial_walk import exact_chance, require_proportion, tails, walk
from fairhearing.statistics._margins import require_alpha, require_margins
from fairhearing.statistics._search import first_and_lasting, require_power, smallest_number
from fairhearing.statistics._student import normal_below, over_chi, t_critical


@dataclass(frozen=True, slots=True, kw_only=True)
class EquivalencePower:
    """Numbers right that show it, from `fewest` to `most` (None: none does), true size and power."""

    n_trials: int
    fewest: int | None
    most: int | None
    size: float
    power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EquivalenceTrialsNeeded:
    """The first number of trials that reaches the power and the one from which every larger one does, up to `most`."""

    first: EquivalencePower | None
    every: EquivalencePower | None
    most: int


def equivalence_power(
    n_trials: int, proportion: float, lower: float | None, upper: float | None, alpha: float = 0.05
) -> EquivalencePower:
    """Power, true size and deciding numbers of `equivalence.equivalent_proportion` with so many trials.

    Parameters
    ----------
    n_trials : int, >= 0
    proportion : float, 0 to 1
        True share of right answers.
    lower, upper : float or None
    alpha : float, 0 < alpha < 0.5

    Returns
    -------
    EquivalencePower

    Raises
    ------
    ValueError
        As for `equivalence.equivalent_proportion`, or a proportion outside 0 to 1.

    Examples
    --------
    >>> found = equivalence_power(100, 0.5, None, 0.6)
    >>> found.most, round(found.power, 4)
    (51, 0.6178)
    """
    if n_trials < 0:
        raise ValueError(f"n_trials is {n_trials}; it must be 0 or more")
    for last in _powers(proportion, lower, upper, alpha, n_trials):
        found = last
    return found


def trials_needed_for_equivalence(
    proportion: float,
    lower: float | None,
    upper: float | None,
    alpha: float = 0.05,
    power: float = 0.8,
    most: int = 500,
) -> EquivalenceTrialsNeeded:
    """The first number of trials that shows the share within the margins with this power, and the lasting one.

    Parameters
    ----------
    proportion : float, 0 to 1
        True share of right answers, inside the margins.
    lower, upper : float or None
    alpha : float, 0 < alpha < 0.5
    power : float, 0 to 1
    most : int, >= 1

    Returns
    -------
    EquivalenceTrialsNeeded

    Raises
    ------
    ValueError
        As for `equivalence_power`, the power lies outside 0 to 1, or `most` is below 1.

    Notes
    -----
    For one listener. A claim about people who differ takes `listeners_needed_for_equivalence`.

    Examples
    --------
    >>> found = trials_needed_for_equivalence(0.5, None, 0.6)
    >>> found.first.n_trials, found.every.n_trials
    (158, 164)
    """
    require_power(power)
    if most < 1:
        raise ValueError(f"most is {most}; it must be 1 or more")
    first, every = first_and_lasting(_powers(proportion, lower, upper, alpha, most), power)
    return EquivalenceTrialsNeeded(first=first, every=every, most=most)


def equivalence_power_over_listeners(
    n_listeners: int,
    mean: float,
    sd_of_listeners: float,
    lower: float | None,
    upper: float | None,
    alpha: float = 0.05,
) -> float:
    r"""Probability that `equivalence.equivalent_over_listeners` shows the mean within the margins.

    :math:`\int [\Phi((U - \mu)/\sigma_n - t s) - \Phi((L - \mu)/\sigma_n + t s)]_+ f(s)\,ds`,
    :math:`\sigma_n = \sigma/\sqrt n`, s = chi over the root of n - 1 (Owen 1965; Phillips 1990).

    Parameters
    ----------
    n_listeners : int, >= 2
    mean : float, any unit
        True mean over people.
    sd_of_listeners : float, > 0, unit of the mean
        Of listeners' own values, the scatter of their trials included.
    lower, upper : float or None
    alpha : float, 0 < alpha < 0.5

    Returns
    -------
    float, 0 to 1

    Raises
    ------
    ValueError
        Fewer than two listeners, a spread that is not positive, or as for `equivalence.equivalent_over_listeners`.

    Examples
    --------
    >>> round(equivalence_power_over_listeners(12, 0.5, 0.15, 0.35, 0.65), 3)
    0.889
    """
    require_margins(lower, upper, -math.inf, math.inf)
    require_alpha(alpha)
    if n_listeners < 2:
        raise ValueError(f"n_listeners is {n_listeners}; it must be 2 or more")
    if not (0.0 < sd_of_listeners < math.inf and math.isfinite(mean)):
        raise ValueError(f"the mean is {mean} and the spread {sd_of_listeners}; finite, and the spread above 0")
    error = sd_of_listeners / math.sqrt(n_listeners)
    above = math.inf if upper is None else (upper - mean) / error
    below = -math.inf if lower is None else (lower - mean) / error
    critical = t_critical(alpha, n_listeners - 1)

    def shown(scale: float) -> float:
        return max(0.0, normal_below(above - critical * scale) - normal_below(below + critical * scale))

    return over_chi(shown, n_listeners - 1)


def listeners_needed_for_equivalence(
    mean: float,
    sd_of_listeners: float,
    lower: float | None,
    upper: float | None,
    alpha: float = 0.05,
    power: float = 0.8,
    most: int = 2000,
) -> int | None:
    """The fewest listeners with whom `equivalence_power_over_listeners` reaches a power; None: not even `most` do.

    Parameters
    ----------
    mean : float, any unit
        True mean over people, inside the margins.
    sd_of_listeners : float, > 0, unit of the mean
    lower, upper : float or None
    alpha : float, 0 < alpha < 0.5
    power : float, 0 to 1
    most : int, >= 2

    Returns
    -------
    int or None

    Raises
    ------
    ValueError
        As for `equivalence_power_over_listeners`, the power lies outside 0 to 1, or `most` is below 2.

    Examples
    --------
    >>> listeners_needed_for_equivalence(0.5, 0.15, 0.35, 0.65)
    11
    """
    require_power(power)
    if most < 2:
        raise ValueError(f"most is {most}; it must be 2 or more")

    def enough(n_listeners: int) -> bool:
        return equivalence_power_over_listeners(n_listeners, mean, sd_of_listeners, lower, upper, alpha) >= power

    found = smallest_number(enough, 2, most)
    return found if found <= most else None


def _powers(
    proportion: float, lower: float | None, upper: float | None, alpha: float, most: int
) -> Iterator[EquivalencePower]:
    """The test of every number of trials from 0 to `most`: at `lower` too many right, at `upper` too many wrong."""
    require_margins(lower, upper, 0.0, 1.0)
    require_alpha(alpha)
    require_proportion(proportion)
    above = None if lower is None else list(walk(lower, alpha, most, False))
    below = None if upper is None else list(walk(float(1 - exact_chance(upper)), alpha, most, False))
    shares = [proportion, *(margin for margin in (lower, upper) if margin is not None)]
    right = [None if above is None else [step.power for step in tails(iter(above), share)] for share in shares]
    wrong = [None if below is None else [step.power for step in tails(iter(below), 1.0 - share)] for share in shares]
    for n in range(most + 1):
        fewest = above[n].critical if above else 0
        highest = n - below[n].critical if below else n
        power, *at_margins = (
            max(0.0, (high[n] if high else 1.0) + (low[n] if low else 1.0) - 1.0) if fewest <= highest else 0.0
            for high, low in zip(right, wrong, strict=True)
        )
        yield EquivalencePower(
            n_trials=n,
            fewest=fewest if fewest <= highest else None,
            most=highest if fewest <= highest else None,
            size=max(at_margins),
            power=power,
        )
