"""The faults of one session.toml as they are found: what, on which line, what to try."""

from __future__ import annotations

import datetime
from collections.abc import Collection
from dataclasses import dataclass, field
from difflib import get_close_matches

from fairhearing.errors import ManifestProblem
from fairhearing.manifest.find import MANIFEST_NAME

_SHOWN_CHARACTERS = 60
_SHOWN_DEPTH = 3  # of lists in lists
_SHOWN_FILES = 3


@dataclass(slots=True, kw_only=True)
class FaultLog:
    """Collects faults; nothing is raised before all have been told."""

    _faults: list[tuple[int, ManifestProblem]] = field(default_factory=list)

    def add(self, line: int, what: str, try_: str) -> None:
        """Note a fault on `line` of session.toml."""
        problem = ManifestProblem(what, where=f"{MANIFEST_NAME}, line {line}", try_=try_)
        self._faults.append((line, problem))

    def __len__(self) -> int:
        return len(self._faults)

    def problems(self) -> tuple[ManifestProblem, ...]:
        """All faults by line; on one line, as they were found."""
        return tuple(problem for _, problem in sorted(self._faults, key=lambda fault: fault[0]))


def shown(value: object) -> str:
    """A value of a TOML file as its writer would know it again, cut where it is long.

    >>> shown([True, "A", 1.5])
    "[true, 'A', 1.5]"
    """
    text = _written(value, depth=0)
    return text if len(text) <= _SHOWN_CHARACTERS else text[: _SHOWN_CHARACTERS - 1] + "…"


def _written(value: object, *, depth: int) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, list | dict) and depth > _SHOWN_DEPTH:
        return "…"
    if isinstance(value, list):
        return "[" + ", ".join(_written(element, depth=depth + 1) for element in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_written(one, depth=depth + 1)}" for key, one in value.items()) + "}"
    if isinstance(value, int) and abs(value) > 10**_SHOWN_CHARACTERS:
        return "a whole number of very many digits"  # Python refuses to print those of more than 4300 digits
    return repr(value)


def form_of(value: object) -> str:
    """What a TOML value is, in words.

    >>> form_of(True), form_of(3), form_of("3")
    ('true or false', 'a number', 'text')
    """
    forms: tuple[tuple[type | tuple[type, ...], str], ...] = (
        (bool, "true or false"),
        ((int, float), "a number"),
        (str, "text"),
        (list, "a list"),
        (dict, "a table"),
        (datetime.time, "a time of day"),
        (datetime.date, "a date"),
    )
    return next(name for kind, name in forms if isinstance(value, kind))


def nearest_file(wanted: str, paths: Collection[str]) -> str:
    """What to try where `wanted` is no file: the nearest one, or some of those that are there.

    >>> nearest_file("mik.csv", ["mic.csv", "scores/abx.csv"])
    "did you mean 'mic.csv'?"
    """
    ordered = sorted(paths)
    close = get_close_matches(wanted, ordered, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}?"
    if not ordered:
        return "the folder holds no other files: copy the files into it"
    more = len(ordered) - _SHOWN_FILES
    return f"the folder holds {', '.join(ordered[:_SHOWN_FILES])}{f' and {more} more' if more > 0 else ''}"
