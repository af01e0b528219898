"""Searches: the smallest number, or value, that is enough, and the steps of a sequence that reach a power."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol, TypeVar


class Reaching(Protocol):
    """A step of a sequence, with the power that it reaches."""

    @property
    def power(self) -> float: ...


R = TypeVar("R", bound=Reaching)


def require_power(power: float) -> None:
    """Refuse a power that nothing, or everything, reaches."""
    if not 0.0 < power < 1.0:
        raise ValueError(f"power is {power}; it must lie between 0 and 1")


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


def first_and_lasting(steps: Iterable[R], power: float) -> tuple[R | None, R | None]:
    """The first step that reaches the power, and the first of the unbroken run of those that do at the end."""
    first: R | None = None
    lasting: R | None = None
    for step in steps:
        if step.power >= power:
            first, lasting = first or step, lasting or step
        else:
            lasting = None
    return first, lasting


def smallest_value(holds: Callable[[float], bool], low: float, high: float, halvings: int) -> float:
    """The smallest value between `low` and `high` that holds, where every larger one does, by so many halvings."""
    for _ in range(halvings):
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high
