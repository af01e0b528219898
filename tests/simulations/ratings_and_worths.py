"""How often tests of ratings and worths cry wolf, and how often their intervals hold, where listeners differ."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy import special

from fairhearing.statistics.bradley_terry import FloatArray, WorthFit, by_group, fit_worth, model_covariance
from fairhearing.statistics.listeners import t_interval
from fairhearing.statistics.resampling import sign_flip_test

N_LISTENERS = (3, 6, 12, 40)
LISTENER_SD = 0.8  # logit, of a difference between two conditions; for ratings, in steps of the scale
CONDITIONS = 4
TRIALS_OF_A_PAIR = 2  # in each order
TIE_TERM = 0.4
RATING_TRIALS = 6
Covariance = Callable[[FloatArray, WorthFit], FloatArray]


@dataclass(frozen=True, kw_only=True)
class Rates:
    """Share of true values that intervals hold, share of claims where there is nothing, and of how many each."""

    covered: float
    claimed: float
    n: int


def comparisons(generator: np.random.Generator, n_listeners: int) -> FloatArray:
    """Counts of each listener, whose worths scatter about 0: no condition is preferred by people at large."""
    counts = np.zeros((n_listeners, CONDITIONS, CONDITIONS, 3))
    worth = generator.normal(0.0, LISTENER_SD / math.sqrt(2.0), (n_listeners, CONDITIONS))
    for first in range(CONDITIONS):
        for second in range(CONDITIONS):
            if first != second:
                one, other = worth[:, first], worth[:, second]
                weights = np.exp([one, math.log(TIE_TERM) + (one + other) / 2, other]).T
                chances = weights / weights.sum(axis=1, keepdims=True)
                counts[:, first, second] = generator.multinomial(TRIALS_OF_A_PAIR, chances)
    return counts


def over_listeners(counts: FloatArray, fit: WorthFit) -> FloatArray:
    """The covariance that findings have."""
    return by_group(counts, fit)


def over_trials(counts: FloatArray, fit: WorthFit) -> FloatArray:
    """The covariance that takes all trials for independent, which they are not."""
    return model_covariance(fit)


def worths(n_listeners: int, n_sessions: int, seed: int, covariance: Covariance = over_listeners) -> Rates:
    """Intervals of worths with a truth of 0; a claim is an interval that leaves it out."""
    generator = np.random.default_rng([seed, n_listeners])
    inside = n = 0
    quantile = float(special.stdtrit(n_listeners - 1, 0.975))
    for _ in range(n_sessions):
        counts = comparisons(generator, n_listeners)
        fit = fit_worth(counts.sum(axis=0))
        if fit.finite.all():
            errors = np.sqrt(np.diag(covariance(counts, fit)))[1:]
            inside += int((np.abs(fit.worth[1:]) <= quantile * errors).sum())
            n += errors.size
    return Rates(covered=inside / n, claimed=1.0 - inside / n, n=n)


def grades(generator: np.random.Generator, n_listeners: int) -> list[Fraction]:
    """Mean grade of each listener on the comparison scale in tenths; nothing is better to people at large."""
    taste = generator.normal(0.0, LISTENER_SD, (n_listeners, 1))
    given = np.clip(np.round(10 * (taste + generator.normal(0.0, 0.7, (n_listeners, RATING_TRIALS)))), -30, 30)
    return [Fraction(int(total), 10 * RATING_TRIALS) for total in given.sum(axis=1)]


def ratings(n_listeners: int, n_sessions: int, seed: int) -> Rates:
    """Sign-flip tests and t intervals of grades with a truth of 0."""
    generator = np.random.default_rng([seed, n_listeners, 1])
    inside = claims = 0
    for _ in range(n_sessions):
        means = grades(generator, n_listeners)
        interval = t_interval([float(mean) for mean in means])
        inside += interval.low <= 0.0 <= interval.high
        claims += sign_flip_test(means).p_value <= 0.05
    return Rates(covered=inside / n_sessions, claimed=claims / n_sessions, n=n_sessions)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print a table of rates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=20261125)
    told = parser.parse_args(arguments)
    print("| what | listeners | intervals that hold | claims |\n|---|---|---|---|")
    for what, run in (("worth", worths), ("rating_difference", ratings)):
        for n_listeners in N_LISTENERS:
            found = run(n_listeners, told.sessions, told.seed)
            print(f"| {what} | {n_listeners} | {found.covered:.3f} | {found.claimed:.3f} |")


if __name__ == "__main__":
    main()
