"""The smallest whole number that is enough, where every larger one is."""

from __future__ import annotations

from collections.abc import Callable


def smallest_number(holds: Callable[[int], bool], low: int, most: int) -> int:
    """The smallest number from `low` that holds, where every larger one does; `most` + 1 if none up to it."""
    high = low
    while high <= most and not holds(high):
        low, high = high + 1, 2 * high
    high = min(high, most + 1)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return high
