"""A measured ratio, and how two ways to the same result are timed fairly on a noisy machine."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass

_MOST_CALLS = 10


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """Median seconds of the peer and of ours, measured turn about, and the most that ours may take of the peer's.

    `limit`: ours over peer. `note`: what was compared, and that both gave the same.
    """

    peer_s: float
    ours_s: float
    limit: float
    note: str

    @property
    def value(self) -> float:
        """Ours over peer."""
        return self.ours_s / self.peer_s

    @property
    def holds(self) -> bool:
        """Whether the limit is kept."""
        return self.value <= self.limit


def seconds(work: Callable[[], object], n_calls: int) -> float:
    """How long one call takes, by the clock, over so many."""
    begun = time.perf_counter()
    for _ in range(n_calls):
        work()
    return (time.perf_counter() - begun) / n_calls


def median_seconds(work: Callable[[], object], repeats: int) -> float:
    """The median of so many calls, for work so short that turns about would measure the turning."""
    return statistics.median(seconds(work, 1) for _ in range(repeats))


def turn_about(peer: Callable[[], object], ours: Callable[[], object], repeats: int, limit: float, note: str) -> Ratio:
    """Both called once to warm up, then by turns; medians, so that what disturbs one turn does not count.

    The shorter one is called so often in its turn that both turns last alike, and what disturbs meets both.
    """
    once = seconds(peer, 1), seconds(ours, 1)
    n_peer, n_ours = (min(_MOST_CALLS, max(1, round(max(once) / one))) for one in once)
    turns = [(seconds(peer, n_peer), seconds(ours, n_ours)) for _ in range(repeats)]
    return Ratio(
        peer_s=statistics.median(turn[0] for turn in turns),
        ours_s=statistics.median(turn[1] for turn in turns),
        limit=limit,
        note=note,
    )
