"""How often several listeners who are alike show that they are right no more often than a margin says, exactly."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fairhearing.statistics._binomial_walk import exact_chance, require_proportion, walk
from fairhearing.statistics._margins import require_alpha, require_margins
from fairhearing.statistics._student import t_critical
from fairhearing.statistics.equivalence_power import equivalence_power_over_listeners

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    _Sums = tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.float64]]

_LEFT_OUT, _RARE = 1e-12, 1e-15  # counts of a listener, and sums of several, that are left out
_AFTER = 10
_APPROXIMATE = 0.04  # further off than this by the normal approximation, a number of trials is not looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialsOfListeners:
    """Trials of each listener: the first number that reaches the power, the one from which on all do; None: none."""

    first: int | None
    every: int | None


def equivalence_power_of_listeners(
    n_listeners: int, n_trials: int, proportion: float, upper: float, alpha: float = 0.05
) -> float:
    r"""Probability that both tests show a share of right answers below the margin: exact over trials, t over listeners.

    The counts of listeners are binomial and independent. t depends on their sum and their sum of squares only, whose
    joint distribution is summed up listener by listener; what is left out of it has a probability below 1e-9. Where
    all listeners have the same count t says nothing, and the exact test decides.

    Parameters
    ----------
    n_listeners : int, >= 2
    n_trials : int, >= 1
        Of each listener.
    proportion : float, 0 to 1
        True share of right answers, of every listener.
    upper : float, 0 to 1
    alpha : float, 0 < alpha < 0.5

    Returns
    -------
    float, 0 to 1

    Raises
    ------
    ValueError
        A number out of its range.

    Examples
    --------
    >>> round(equivalence_power_of_listeners(4, 20, 0.5, 0.65), 4)
    0.6314
    """
    if n_listeners < 2 or n_trials < 1:
        raise ValueError(f"{n_listeners} listeners with {n_trials} trials; it takes two and one at least")
    require_margins(None, upper, 0.0, 1.0)
    require_alpha(alpha)
    require_proportion(proportion)
    highest = _most_right(upper, alpha, n_listeners * n_trials)[-1]
    return _shown(n_listeners, n_trials, proportion, upper, alpha, highest)


def trials_needed_of_listeners(
    n_listeners: int, proportion: float, upper: float, alpha: float = 0.05, power: float = 0.8, most: int = 1000
) -> TrialsOfListeners:
    """The numbers of trials of each listener that reach a power by `equivalence_power_of_listeners`.

    The power rises in teeth: the lasting number is the one that none of the ten after it falls short of.

    Parameters
    ----------
    n_listeners : int, >= 2
    proportion : float, 0 to 1
    upper : float, 0 to 1
    alpha : float, 0 < alpha < 0.5
    power : float, 0 to 1
    most : int
        Trials of each listener.

    Returns
    -------
    TrialsOfListeners

    Raises
    ------
    ValueError
        As for `equivalence_power_of_listeners`, or the power lies outside 0 to 1.

    Examples
    --------
    >>> trials_needed_of_listeners(4, 0.5, 0.65)
    TrialsOfListeners(first=32, every=32)
    """
    if not 0.0 < power < 1.0:
        raise ValueError(f"power is {power}; it must lie between 0 and 1")
    first: int | None = None
    every: int | None = None
    highest = _most_right(upper, alpha, n_listeners * most)
    for n_trials in range(_begin(n_listeners, proportion, upper, alpha, power, most), most + 1):
        reached = _shown(n_listeners, n_trials, proportion, upper, alpha, highest[n_listeners * n_trials])
        if reached < power:
            every = None
            continue
        first, every = first or n_trials, every or n_trials
        if n_trials == every + _AFTER:
            break
    return TrialsOfListeners(first=first, every=every)


def _most_right(upper: float, alpha: float, most: int) -> list[int]:
    """How many may be right by the exact test of 0 to `most` trials; below 0: none may."""
    steps = walk(float(1 - exact_chance(upper)), alpha, most, False)
    return [n_trials - step.critical for n_trials, step in enumerate(steps)]


def _shown(n_listeners: int, n_trials: int, proportion: float, upper: float, alpha: float, highest: int) -> float:
    """The power; `highest`: the most that may be right by the exact test over all trials."""
    import numpy as np

    if highest < 0:
        return 0.0
    own = _own(n_trials, proportion)
    joint = own
    for _ in range(n_listeners - 2):
        joint = _merged(_together(joint, own))
    sums, squares, chances = _together(joint, own)
    scatter = n_listeners * squares - sums**2  # n times the sum of squared deviations, in whole numbers
    middle = round(n_trials * proportion)
    n_right = sums + n_listeners * middle
    room = upper * n_trials * n_listeners - n_right
    # (U n - S/L) sqrt(L (L - 1)/SS) >= t
    by_t = room * math.sqrt(n_listeners - 1) >= t_critical(alpha, n_listeners - 1) * np.sqrt(scatter)
    return float(chances[(n_right <= highest) & (by_t | (scatter == 0))].sum())


def _begin(n_listeners: int, proportion: float, upper: float, alpha: float, power: float, most: int) -> int:
    """The first number of trials that the normal approximation holds for possible, with room for its error."""

    def possible(n_trials: int) -> bool:
        spread = math.sqrt(max(proportion * (1.0 - proportion), 1e-12) / n_trials)
        by_t = equivalence_power_over_listeners(n_listeners, proportion, spread, None, upper, alpha)
        return by_t >= power - _APPROXIMATE

    low, high = 1, most
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if possible(middle) else (middle + 1, high)
    return low


def _own(n_trials: int, proportion: float) -> _Sums:
    """One listener's count less the likeliest, its square, and its probability."""
    import numpy as np

    middle = round(n_trials * proportion)
    likely = [(count - middle, chance) for count, chance in _chances(n_trials, proportion)]
    value = np.array([value for value, _ in likely], dtype=np.int64)
    return value, value * value, np.array([chance for _, chance in likely])


def _chances(n_trials: int, proportion: float) -> Iterator[tuple[int, float]]:
    """Binomial probabilities that matter."""
    if not 0.0 < proportion < 1.0:
        yield round(n_trials * proportion), 1.0
        return
    right, wrong = math.log(proportion), math.log1p(-proportion)
    for count in range(n_trials + 1):
        ways = math.lgamma(n_trials + 1) - math.lgamma(count + 1) - math.lgamma(n_trials - count + 1)
        chance = math.exp(ways + count * right + (n_trials - count) * wrong)
        if chance > _LEFT_OUT / n_trials:
            yield count, chance


def _together(some: _Sums, one: _Sums) -> _Sums:
    """Sum, sum of squares and probability of each of `some` with one listener more."""
    import numpy as np

    return (
        np.add.outer(some[0], one[0]).ravel(),
        np.add.outer(some[1], one[1]).ravel(),
        np.multiply.outer(some[2], one[2]).ravel(),
    )


def _merged(sums: _Sums) -> _Sums:
    """Those alike in sum and sum of squares as one; without those too rare to matter."""
    import numpy as np

    likely = sums[2] > _RARE
    total, square, chance = (part[likely] for part in sums)
    lowest, width = int(total.min()), int(square.max()) + 1
    merged = np.asarray(np.bincount((total - lowest) * width + square, weights=chance), dtype=np.float64)
    kept = np.flatnonzero(merged).astype(np.int64)
    return kept // width + lowest, kept % width, merged[kept]
