"""Exact binomial tests of every number of trials up to some, one trial at a time: critical numbers, sizes, powers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

LARGEST_PLAIN_DENOMINATOR = 1000  # 1/2, 1/3 and the like are meant exactly, though a float can't hold 1/3
CLOSE = 1e-9  # of alpha: a thousand times what rounding does in as many trials as anybody listens to


@dataclass(slots=True)
class Step:
    """The test of n trials: from how many right it is a finding, its size, and its power where that was asked for."""

    n_trials: int
    critical: int
    size: float
    power: float = math.nan

    @property
    def reachable(self) -> int | None:
        """The critical number, None if it is more than there are trials."""
        return self.critical if self.critical <= self.n_trials else None


def exact_chance(chance: float) -> Fraction:
    """The chance as a ratio: a plain one if the float is nearest to it, else the float itself."""
    if not 0.0 < chance < 1.0:
        raise ValueError(f"chance is {chance}; it must lie between 0 and 1")
    plain = Fraction(chance).limit_denominator(LARGEST_PLAIN_DENOMINATOR)
    return plain if float(plain) == chance else Fraction(chance)


def at_least(count: int, n_trials: int, chance: Fraction) -> float:
    """P of so many or more by guessing, summed in whole numbers and rounded once."""
    right, wrong = chance.numerator, chance.denominator - chance.numerator
    tail = sum(math.comb(n_trials, k) * right**k * wrong ** (n_trials - k) for k in range(count, n_trials + 1))
    total = chance.denominator**n_trials
    return float(tail / total)


def binomial_chances(n_trials: int, proportion: float) -> list[float]:
    """Probability of each number right from 0 to `n_trials`, by logarithms, so that no number is too large."""
    if proportion in (0.0, 1.0):
        return [float(count == n_trials * proportion) for count in range(n_trials + 1)]
    right, wrong = math.log(proportion), math.log1p(-proportion)
    logs = [math.lgamma(count + 1) for count in range(n_trials + 1)]
    return [
        math.exp(logs[-1] - logs[count] - logs[n_trials - count] + count * right + (n_trials - count) * wrong)
        for count in range(n_trials + 1)
    ]


def walk(chance: float, alpha: float, most: int, two_sided: bool) -> Iterator[Step]:
    """Critical number c and size for n from 0 to `most`: P(X >= c) and P(X = c - 1) are carried from n to n + 1.

    P(n + 1, X >= c) = P(n, X >= c) + chance P(n, X = c - 1). In floats, as their error is far below CLOSE; what comes
    closer to alpha is summed in whole numbers, so that a p that is alpha itself is one.
    """
    ratio = exact_chance(chance)
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; it must lie between 0 and 1")
    if two_sided and ratio != Fraction(1, 2):
        raise ValueError(f"chance is {chance}; two-sided it must be 1/2")
    wrong, odds, sides = 1.0 - chance, chance / (1.0 - chance), 2 if two_sided else 1
    critical, tail, below = 1, 0.0, 1.0
    yield Step(0, critical, 0.0)
    for n in range(1, most + 1):
        tail += chance * below
        below *= wrong * n / (n + 1 - critical)
        size = sides * tail
        if abs(size - alpha) < CLOSE * alpha:
            size = sides * at_least(critical, n, ratio)
        if size > alpha:
            at = below * (n + 1 - critical) / critical * odds
            tail, below, critical = max(0.0, tail - at), at, critical + 1
            size = sides * tail
        yield Step(n, critical, size)


def powers(chance: float, proportion: float, alpha: float, most: int, two_sided: bool) -> Iterator[Step]:
    """As `walk`, with the power."""
    require_proportion(proportion)
    upper = tails(walk(chance, alpha, most, two_sided), proportion)
    if not two_sided:
        yield from upper
        return
    lower = tails(walk(chance, alpha, most, two_sided), 1.0 - proportion)
    for high, low in zip(upper, lower, strict=True):
        high.power = min(1.0, high.power + low.power)
        yield high


def tails(steps: Iterator[Step], proportion: float) -> Iterator[Step]:
    """The same steps, with P(X >= critical) at the proportion put in, by the same recursion in floats."""
    if proportion in (0.0, 1.0):
        for step in steps:
            step.power = float(proportion == 1.0 and step.critical <= step.n_trials)
            yield step
        return
    wrong, odds = 1.0 - proportion, proportion / (1.0 - proportion)
    critical, tail, below = 1, 0.0, 1.0
    for step in steps:
        n = step.n_trials
        if n:
            tail += proportion * below
            below *= wrong * n / (n + 1 - critical)
        if step.critical > critical:
            at = below * (n + 1 - critical) / critical * odds
            tail, below, critical = tail - at, at, critical + 1
        step.power = min(1.0, max(0.0, tail))
        yield step


def require_proportion(proportion: float) -> None:
    """Refuse what is no share."""
    if not 0.0 <= proportion <= 1.0:
        raise ValueError(f"proportion is {proportion}; it must lie between 0 and 1")
