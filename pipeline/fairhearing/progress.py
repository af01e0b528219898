"""How far a long job is: what it tells, and the teller that says nothing."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Hears of every step of a job; never changes what the job does."""

    def step(self, label: str, done: int, total: int) -> None:
        """Say that `done` of `total` items of the work called `label` are finished."""
        ...

    def close(self) -> None:
        """End the telling; nothing is told after it. May be called twice."""
        ...


class Silent:
    """A Progress that prints nothing: no terminal, a notebook, a test."""

    def step(self, label: str, done: int, total: int) -> None:
        """Say nothing."""

    def close(self) -> None:
        """Do nothing."""
