"""The order in which a listener's trials were played, by what the sheet calls them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Protocol, TypeVar

_PARTS = re.compile(r"(\d+)")


class Numbered(Protocol):
    """What has a place in a listener's session: the entry it stands in, and its trial."""

    @property
    def entry(self) -> int: ...

    @property
    def number(self) -> str | None: ...

    @property
    def listener(self) -> str: ...


N = TypeVar("N", bound=Numbered)


def place_of(trial: Numbered) -> tuple[int, tuple[tuple[int, str], ...]]:
    """What trials are sorted by: the `[[scores]]` entry, then the name of the trial, numbers in it as numbers."""
    parts = [part for part in _PARTS.split(trial.number or "") if part]
    return trial.entry, tuple((int(part), "") if part.isdecimal() else (-1, part) for part in parts)


def in_order(trials: Iterable[N]) -> dict[str, list[N]]:
    """Each listener's trials, the first that was played first; listeners by code."""
    found: dict[str, list[N]] = {}
    for trial in trials:
        found.setdefault(trial.listener, []).append(trial)
    return {name: sorted(found[name], key=place_of) for name in sorted(found)}
