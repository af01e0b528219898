"""The exact sign-flip test of 40 listeners on the grid of their answers against 9,999 random resamples of scipy."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from scipy import stats

from benchmarks.ratio import Ratio, median_seconds
from fairhearing.statistics.resampling import sign_flip_test

N_LISTENERS = 40
N_TRIALS = 16
N_RESAMPLES = 9999
LIMIT = 1 / 50


def shares() -> list[Fraction]:
    """A share of preferences of each listener."""
    counts = np.random.default_rng(20261125).binomial(N_TRIALS, 0.56, N_LISTENERS)
    return [Fraction(int(count), N_TRIALS) for count in counts]


def _mean(values: np.ndarray, axis: int) -> np.ndarray:
    return np.asarray(values.mean(axis=axis))


def run(repeats: int = 5) -> dict[str, Ratio]:
    """Our exact p, from the shares as they come, against scipy's random one of the same deviations."""
    values = shares()
    half = Fraction(1, 2)
    deviations = np.array([float(value - half) for value in values])
    generator = np.random.default_rng(1)

    def resampled() -> float:
        test = stats.permutation_test(
            (deviations,),
            _mean,
            permutation_type="samples",
            n_resamples=N_RESAMPLES,
            vectorized=True,
            rng=generator,
        )
        return float(test.pvalue)

    exact, random = sign_flip_test(values, half).p_value, resampled()
    if abs(exact - random) > 5.0 * (exact * (1.0 - exact) / N_RESAMPLES) ** 0.5 + 1.0 / N_RESAMPLES:
        raise AssertionError(f"exact p {exact} and resampled p {random} are not of the same test")
    return {
        "sign-flip, 40 listeners": Ratio(
            peer_s=median_seconds(resampled, repeats),
            ours_s=median_seconds(lambda: sign_flip_test(values, half), 40 * repeats),
            limit=LIMIT,
            note=f"scipy.stats.permutation_test, {N_RESAMPLES} random resamples of {N_LISTENERS} listeners, vectorised",
        )
    }
