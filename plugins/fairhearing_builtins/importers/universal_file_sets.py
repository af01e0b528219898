"""The datasets of a universal file: the lines between their delimiters, and numbers out of fields of fixed width."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fairhearing.api import ImportProblem

# A dataset stands between two lines with -1 in columns 5 and 6; a line with its number follows the first of them.
_DELIMITER = re.compile(r" {0,4}-1\s*")
_START = re.compile(r"\s*-1[ \t]*(?:\r\n?|\n)[ \t]*\d{1,6}b?(?=[ \t\r\n]|$)")
_NUMBER_LINE = re.compile(r"\s*(\d+)\s*(b?)(?:\s.*)?", re.DOTALL)
_BINARY = re.compile(rb"(?:^|[\r\n])[ ]{0,4}-1[ \t]*(?:\r\n?|\n)[ ]{0,4}58b")
# Fortran writes a double's exponent with D, and one of three digits without any letter.
_BARE_EXPONENT = re.compile(r"(?<=[0-9.])(?=[+-][0-9]{3}$)")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:E[+-]?[0-9]+)?")
_HEAD_BYTES = 1 << 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Dataset:
    """One dataset: its number, the line of the file (from 1) that it begins on, and the lines behind that one."""

    number: int
    line: int
    lines: tuple[str, ...]


def begins_like_universal_file(data: bytes) -> bool:
    """Whether the first lines are a delimiter (-1) and the number of a dataset, whatever the line ends.

    >>> begins_like_universal_file(b"    -1\\n    58\\nNONE\\n"), begins_like_universal_file(b"20 85.1\\n25 84.9\\n")
    (True, False)
    """
    head = data[:_HEAD_BYTES].removeprefix(b"\xef\xbb\xbf").decode("latin-1")
    return _START.match(head) is not None


def binary_dataset_line(data: bytes) -> int | None:
    """The line (from 1) of the first dataset 58 that holds its values as binary numbers; None if there is none."""
    found = _BINARY.search(data)
    return None if found is None else len(re.findall(rb"\r\n?|\n", data[: found.end()])) + 1


def datasets(text: str, path: str) -> Iterator[Dataset]:
    """Every dataset in the order of the file.

    Raises
    ------
    ImportProblem
        Text outside any dataset, a dataset without number, or one that the file ends in.
    """
    lines = text.split("\n")
    place = 0
    while place < len(lines):
        if not lines[place].strip():
            place += 1
            continue
        if _DELIMITER.fullmatch(lines[place]) is None:
            raise ImportProblem(
                f"the line stands outside any dataset: {_shown(lines[place])}",
                where=f"{path}, line {place + 1}",
                try_="each dataset stands between two lines with -1 in columns 5 and 6: export the file again",
            )
        end = _end(lines, place, path)
        yield _dataset(lines, place, end, path)
        place = end + 1


def _end(lines: Sequence[str], start: int, path: str) -> int:
    """Where the delimiter stands that closes the dataset opened at `start`."""
    for place in range(start + 1, len(lines)):
        if _DELIMITER.fullmatch(lines[place]) is not None:
            return place
    last = max((place for place in range(start, len(lines)) if lines[place].strip()), default=start)
    raise ImportProblem(
        f"the file is cut: the dataset that begins on line {start + 1} has no closing line -1",
        where=f"{path}, line {last + 1}",
        try_="copy or export the file again",
    )


def _dataset(lines: Sequence[str], start: int, end: int, path: str) -> Dataset:
    found = _NUMBER_LINE.fullmatch(lines[start + 1]) if end > start + 1 else None
    if found is None:
        raise ImportProblem(
            f"no number of a dataset stands behind the line -1: {_shown(lines[start + 1])}",
            where=f"{path}, line {start + 2}",
            try_="a line -1 may be missing or one too many: export the file again",
        )
    return Dataset(number=int(found[1]), line=start + 2, lines=tuple(lines[start + 2 : end]))


def whole(line: str, start: int, width: int, what: str, where: str) -> int:
    """The whole number in columns start + 1 … start + width; blanks are 0, as in Fortran.

    Raises
    ------
    ImportProblem
        Something else stands there.
    """
    text = line[start : start + width].strip()
    if re.fullmatch(r"[+-]?[0-9]+", text) is None and text:
        raise _field_problem(text, f"{what} is no whole number", where, start, width)
    return int(text or "0")


def real(line: str, start: int, width: int, where: str) -> float:
    """The finite number in columns start + 1 … start + width.

    Raises
    ------
    ImportProblem
        Something else stands there.
    """
    text = line[start : start + width].strip()
    plain = _BARE_EXPONENT.sub("E", text.upper().replace("D", "E"))
    value = float(plain) if _NUMBER.fullmatch(plain) else math.nan
    if not math.isfinite(value):
        raise _field_problem(text, "is no finite number", where, start, width)
    return value


def _field_problem(text: str, what: str, where: str, start: int, width: int) -> ImportProblem:
    return ImportProblem(
        f"{_shown(text)} {what}",
        where=f"{where}, columns {start + 1} to {start + width}",
        try_="each number has a place of fixed width and a decimal point there: export the file again",
    )


def _shown(text: str) -> str:
    text = text.strip()
    return repr(text if len(text) <= 40 else text[:40] + "…")
