"""Worths of 9,600 comparisons: ours against the fits of choix."""

from __future__ import annotations

from collections.abc import Callable

import choix
import numpy as np

from benchmarks.ratio import Ratio, median_seconds
from fairhearing.statistics.bradley_terry import count_outcomes, fit_worth

N_CONDITIONS = 6
N_COMPARISONS = 9600  # 40 listeners, 15 pairs, both orders, 4 programmes, twice
LIMIT = 1 / 50
AGREEMENT = 1e-4  # logit: whoever misses the maximum by more has done another work


def comparisons() -> tuple[list[int], list[int]]:
    """Winners and losers of all comparisons, in the order in which they were made."""
    generator = np.random.default_rng(20261125)
    worth = generator.normal(0.0, 0.8, N_CONDITIONS)
    first = generator.integers(0, N_CONDITIONS, N_COMPARISONS)
    second = (first + generator.integers(1, N_CONDITIONS, N_COMPARISONS)) % N_CONDITIONS
    won = generator.random(N_COMPARISONS) < 1.0 / (1.0 + np.exp(worth[second] - worth[first]))
    return np.where(won, first, second).tolist(), np.where(won, second, first).tolist()


def run(repeats: int = 5) -> dict[str, Ratio]:
    """Our fit on counts, and with the counting, against the fastest fit of choix that reaches the same maximum."""
    winners, losers = comparisons()
    pairs = list(zip(winners, losers, strict=True))
    arrays = np.array(winners), np.array(losers), np.zeros(N_COMPARISONS, dtype=np.intp)
    ours = fit_worth(count_outcomes(*arrays, N_CONDITIONS)).worth
    peers: dict[str, Callable[[], object]] = {
        "ilsr_pairwise": lambda: choix.ilsr_pairwise(N_CONDITIONS, pairs),
        "mm_pairwise": lambda: choix.mm_pairwise(N_CONDITIONS, pairs),
        "opt_pairwise": lambda: choix.opt_pairwise(N_CONDITIONS, pairs),
    }
    taken = {}
    for name, fit in peers.items():
        found = np.asarray(fit())
        if np.abs(found - found[0] - ours).max() < AGREEMENT:
            taken[name] = median_seconds(fit, min(repeats, 3))
    fastest = min(taken, key=lambda name: taken[name])
    counts = count_outcomes(*arrays, N_CONDITIONS)
    wins = counts[:, :, 0] + counts[:, :, 2].T
    from_counts = median_seconds(lambda: fit_worth(counts), 20 * repeats)
    note = (
        f"choix.{fastest} on the comparisons, the fastest of {', '.join(taken)} that reach the maximum; "
        f"{N_COMPARISONS} comparisons of {N_CONDITIONS} conditions"
    )
    return {
        "worth on counts": Ratio(peer_s=taken[fastest], ours_s=from_counts, limit=LIMIT, note=note),
        "worth from comparisons": Ratio(
            peer_s=taken[fastest],
            ours_s=median_seconds(lambda: fit_worth(count_outcomes(*arrays, N_CONDITIONS)), 20 * repeats),
            limit=LIMIT,
            note=f"{note}; with the counting",
        ),
        "worth from counts": Ratio(
            peer_s=median_seconds(lambda: choix.ilsr_pairwise_dense(wins), 10 * repeats),
            ours_s=from_counts,
            limit=1.0,
            note="choix.ilsr_pairwise_dense on the matrix of wins",
        ),
    }
