"""Orders of right and wrong answers that a plan with looks lets through, counted in whole numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache


@lru_cache(maxsize=32)
def plan_paths(n_at_looks: tuple[int, ...], n_right_needed: tuple[int | None, ...]) -> tuple[tuple[int, ...], ...]:
    """For each look and each number right there: in how many orders the session can have come to it."""
    ways, n_done, found = [1], 0, []
    for n, boundary in zip(n_at_looks, n_right_needed, strict=True):
        for _ in range(n - n_done):
            ways = one_more(ways, 1, 1)
        found.append(tuple(ways))
        ways, n_done = ways[:boundary], n
    return tuple(found)


def one_more(weights: Sequence[int], right: int, wrong: int) -> list[int]:
    """The weight of each number right after one trial more."""
    return [wrong * same + right * less for same, less in zip([*weights, 0], [0, *weights], strict=True)]


def at_or_above(
    paths: Sequence[Sequence[int]], n_at_looks: Sequence[int], look: int, n_right: int, proportion: float
) -> float:
    """P of coming to a look with so many right answers or more."""
    n, ways = n_at_looks[look], paths[look]
    if proportion in (0.0, 1.0):
        only = n if proportion else 0
        return float(n_right <= only < len(ways) and ways[only] > 0)
    right, wrong = math.log(proportion), math.log1p(-proportion)
    return math.fsum(
        math.exp(math.log(count_ways) + count * right + (n - count) * wrong)
        for count, count_ways in enumerate(ways[n_right:], n_right)
        if count_ways
    )
