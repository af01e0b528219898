"""What can go wrong, in three lines: what it is, where, what to try.

FairHearingError
├── InputProblem            the input, the command line or the place to write is at fault (exit 2)
│   ├── ManifestProblem     session.toml
│   ├── ImportProblem       a measurement file or a score sheet
│   ├── StoreProblem        the store
│   ├── OutputProblem       the folder to write into
│   └── Faults              several of them at once
└── PluginProblem           a plug-in is at fault: costs its findings, not the run
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches


class FairHearingError(Exception):
    """Something a user can read: `what` (with the value seen), `where`, `try_`."""

    exit_code = 1

    def __init__(self, what: str, *, where: str, try_: str) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.try_ = try_

    def __str__(self) -> str:
        return f"{self.what}\n  where: {self.where}\n  try:   {self.try_}"

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.what, self.where, self.try_))


def _rebuild(kind: type[FairHearingError], what: str, where: str, try_: str) -> FairHearingError:
    return kind(what, where=where, try_=try_)


class InputProblem(FairHearingError):
    """The input, the command line or the place to write is at fault; nothing was changed."""

    exit_code = 2


class ManifestProblem(InputProblem):
    """session.toml is at fault."""


class ImportProblem(InputProblem):
    """A measurement file or a score sheet is at fault."""


class StoreProblem(InputProblem):
    """The store is at fault."""


class OutputProblem(InputProblem):
    """The place to write is at fault."""


class PluginProblem(FairHearingError):
    """A plug-in is at fault; it costs its own findings only."""

    def line(self) -> str:
        """All three parts in one line, for the report and a list of notes."""
        return f"{self.what}; where: {self.where}; try: {self.try_}"


class Faults(InputProblem):
    """Several problems, all of them told."""

    def __init__(self, problems: Sequence[FairHearingError]) -> None:
        first = problems[0]
        super().__init__(first.what, where=first.where, try_=first.try_)
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)

    def __reduce__(self) -> tuple[object, ...]:
        return (Faults, (self.problems,))


def unreadable(error: OSError, where: str) -> ImportProblem:
    """The problem of a file that the system does not hand out.

    >>> unreadable(PermissionError(13, "Permission denied"), "seats.csv").what
    'the file cannot be read: Permission denied'
    """
    return ImportProblem(
        f"the file cannot be read: {error.strerror}", where=where, try_="check the file and its permissions"
    )


def nearest(word: str, known: Iterable[str]) -> str:
    """What to try for an unknown word: the nearest known one, or all of them.

    >>> nearest("seet", ["seat", "condition"])
    "did you mean 'seat'?"
    """
    words = sorted(known)
    close = get_close_matches(word, words, n=1, cutoff=0.5)
    if close:
        return f"did you mean {close[0]!r}?"
    return "known: " + ", ".join(words) if words else "there is none to choose from"
