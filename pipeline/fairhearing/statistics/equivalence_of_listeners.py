"""How often several listeners who are alike show that they are right no more often than a margin says, exactly."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fairhearing.statistics._binomial_walk import binomial_chances, exact_chance, require_proportion, walk
from fairhearing.statistics._margins import require_alpha, require_margins
from fairhearing.statistics._search import first_and_lasting, require_power, smallest_number
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
    require_power(power)
    first, every = first_and_lasting(_steps(n_listeners, proportion, upper, alpha, power, most), power)
    return TrialsOfListeners(first=first.n_trials if first else None, every=every.n_trials if every else None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    n_trials: int
    power: float


def _steps(n_listeners: int, proportion: float, upper: float, alpha: float, power: float, most: int) -> Iterator[_Step]:
    """From the first number of trials that could be enough to the last of an unbroken run that is long enough."""
    highest, run = _most_right(upper, alpha, n_listeners * most), 0
    for n_trials in range(_begin(n_listeners, proportion, upper, alpha, power, most), most + 1):
        reached = _shown(n_listeners, n_trials, proportion, upper, alpha, highest[n_listeners * n_trials])
        yield _Step(n_trials=n_trials, power=reached)
        run = run + 1 if reached >= power else 0
        if run > _AFTER:
            return


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

    return smallest_number(possible, 1, most)


def _own(n_trials: int, proportion: float) -> _Sums:
    """One listener's count less the likeliest, its square, and its probability."""
    import numpy as np

    chance = np.array(binomial_chances(n_trials, proportion))
    count = np.flatnonzero(chance > _LEFT_OUT / n_trials).astype(np.int64)
    value = count - round(n_trials * proportion)
    return value, value * value, chance[count]


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
