"""Reads what listeners believed at the end, from the file that [listening] names: a column listener and one guess."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from fairhearing.errors import ImportProblem, nearest
from fairhearing.session import Guess

NO_GUESS = "none"
COLUMNS = ("listener", "guess")
_WANTED = "write a header line listener,guess and one line for each listener"


@dataclass(frozen=True, slots=True, kw_only=True)
class GuessFile:
    """The guesses of a file with its sha256 and size."""

    guesses: tuple[Guess, ...]
    sha256: str
    size: int


def read_guesses(folder: Path, path: str, conditions: Collection[str]) -> GuessFile:
    """The guesses in a file of the session folder, by listener.

    Raises
    ------
    ImportProblem
        The file cannot be read, a column is missing, a guess is no condition and not `none`, a listener guesses twice.
    """
    try:
        data = (folder / path).read_bytes()
        text = data.decode("utf-8-sig")
    except OSError as error:
        raise ImportProblem(
            f"the file cannot be read: {error.strerror}", where=path, try_="check the file and its permissions"
        ) from error
    except UnicodeDecodeError as error:
        raise ImportProblem(
            f"the file is not UTF-8: byte {error.start}", where=path, try_="save it with the encoding UTF-8"
        ) from error
    guesses = _guesses(path, text, conditions)
    return GuessFile(guesses=guesses, sha256=hashlib.sha256(data).hexdigest(), size=len(data))


def _guesses(path: str, text: str, conditions: Collection[str]) -> tuple[Guess, ...]:
    rows = csv.reader(io.StringIO(text), strict=True)
    try:
        header = [cell.strip().lower() for cell in next(rows, [])]
        places = [header.index(name) if name in header else None for name in COLUMNS]
        found: dict[str, Guess] = {}
        for name, place in zip(COLUMNS, places, strict=True):
            if place is None:
                raise _fault(path, 1, f"there is no column {name!r}, but {', '.join(header) or 'no header'}", _WANTED)
        for row in rows:
            listener, guess = (row[place].strip() if place < len(row) else "" for place in places if place is not None)
            if listener or guess:
                _add(found, Guess(listener=listener, guess=guess), path, rows.line_num, conditions)
    except csv.Error as error:
        raise _fault(path, rows.line_num, f"the line is no CSV: {error}", _WANTED) from error
    return tuple(found[name] for name in sorted(found))


def _add(found: dict[str, Guess], one: Guess, path: str, line: int, conditions: Collection[str]) -> None:
    known = (*conditions, NO_GUESS)
    if not one.listener:
        raise _fault(path, line, "the cell of the listener is empty", _WANTED)
    if one.guess not in known:
        raise _fault(
            path, line, f"the guess {one.guess!r} is no condition and not {NO_GUESS!r}", nearest(one.guess, known)
        )
    if one.listener in found:
        raise _fault(path, line, f"listener {one.listener!r} has a guess already", "leave one line for each listener")
    found[one.listener] = one


def _fault(path: str, line: int, what: str, try_: str) -> ImportProblem:
    return ImportProblem(what, where=f"{path}, line {line}", try_=try_)
