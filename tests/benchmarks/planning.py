"""Exact power for every number of trials up to 500, and exact boundaries of looks, against scipy and enumeration."""

from __future__ import annotations

import numpy as np
from scipy import stats

from benchmarks.ratio import Ratio, median_seconds
from fairhearing.statistics.power import critical_numbers, exact_powers, trials_needed
from fairhearing.statistics.sequential import sequential_plan

MOST = 500
CHANCE, PROPORTION, ALPHA = 1 / 3, 0.5, 0.05
LOOKS = (20, 40, 60, 80, 100)
LIMIT = 1 / 50
BOUNDARIES_LIMIT = 1.0
VECTORISED_LIMIT = 2.0  # ours decides in whole numbers what is close, and loads no scipy
AGREEMENT = 1e-12


def one_by_one() -> np.ndarray:
    """For each number of trials scipy's critical number, then its power."""
    powers = []
    for n_trials in range(1, MOST + 1):
        critical = stats.binom.isf(ALPHA, n_trials, CHANCE) + 1
        powers.append(float(stats.binom.sf(critical - 1, n_trials, PROPORTION)))
    return np.array(powers)


def all_at_once() -> np.ndarray:
    """The same with the numbers of trials as an array."""
    scan = np.arange(1, MOST + 1)
    return np.asarray(stats.binom.sf(stats.binom.isf(ALPHA, scan, CHANCE), scan, PROPORTION))


def boundaries_by_convolution() -> list[int]:
    """Right answers needed at each look, with the distribution of those who go on convolved by numpy in floats."""
    allowed = [2.0 * stats.norm.sf(stats.norm.isf(ALPHA / 2.0) / np.sqrt(n / LOOKS[-1])) for n in LOOKS]
    going_on, n_done, crossed, needed = np.ones(1), 0, 0.0, []
    for n_trials, allowance in zip(LOOKS, allowed, strict=True):
        step = stats.binom.pmf(np.arange(n_trials - n_done + 1), n_trials - n_done, CHANCE)
        going_on, n_done = np.convolve(going_on, step), n_trials
        tails = np.cumsum(going_on[::-1])[::-1]
        boundary = int(np.flatnonzero(crossed + tails <= allowance)[0])
        crossed += float(tails[boundary])
        going_on = going_on[:boundary]
        needed.append(boundary)
    return needed


def run(repeats: int = 5) -> dict[str, Ratio]:
    """Both sides are checked to find the same before either is timed."""
    scan = np.arange(1, MOST + 1)
    if (
        max(np.abs(one() - exact_powers(scan, CHANCE, PROPORTION, ALPHA)).max() for one in (one_by_one, all_at_once))
        > AGREEMENT
    ):
        raise AssertionError("the powers are not those of scipy")
    first = int(np.flatnonzero(one_by_one() >= 0.8)[0]) + 1
    if trials_needed(CHANCE, PROPORTION, ALPHA, 0.8, MOST).first != first:
        raise AssertionError("the first number of trials is not that of scipy")
    if list(sequential_plan(LOOKS, CHANCE, ALPHA).n_right_needed) != boundaries_by_convolution():
        raise AssertionError("the boundaries are not those of a convolution")
    peer_s = median_seconds(one_by_one, min(repeats, 5))
    note = f"scipy.stats.binom for each number of trials from 1 to {MOST}: isf, then sf"
    return {
        "power, 500 numbers of trials": Ratio(
            peer_s=peer_s,
            ours_s=median_seconds(lambda: exact_powers(scan, CHANCE, PROPORTION, ALPHA), 20 * repeats),
            limit=LIMIT,
            note=note,
        ),
        "power of 500, both at once": Ratio(
            peer_s=median_seconds(all_at_once, 20 * repeats),
            ours_s=median_seconds(lambda: exact_powers(scan, CHANCE, PROPORTION, ALPHA), 20 * repeats),
            limit=VECTORISED_LIMIT,
            note="scipy.stats.binom with the numbers of trials as an array",
        ),
        "critical numbers up to 500": Ratio(
            peer_s=peer_s,
            ours_s=median_seconds(lambda: critical_numbers(scan, CHANCE, ALPHA), 20 * repeats),
            limit=LIMIT,
            note=note,
        ),
        "trials needed up to 500": Ratio(
            peer_s=peer_s,
            ours_s=median_seconds(lambda: trials_needed(CHANCE, PROPORTION, ALPHA, 0.8, MOST), 20 * repeats),
            limit=LIMIT,
            note=note,
        ),
        "exact boundaries of 5 looks": Ratio(
            peer_s=median_seconds(boundaries_by_convolution, 10 * repeats),
            ours_s=median_seconds(lambda: sequential_plan(LOOKS, CHANCE, ALPHA), 10 * repeats),
            limit=BOUNDARIES_LIMIT,
            note="numpy.convolve and scipy.stats.binom.pmf in floats, 100 trials; ours in whole numbers",
        ),
    }
