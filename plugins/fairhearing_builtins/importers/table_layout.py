"""Which lines of a text file are comments, header and rows, whatever the delimiter is."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fairhearing.api import ImportProblem
from fairhearing_builtins.importers.table_header import is_column_name

_COMMENT = re.compile(r'[ \t]*(?:[#*;%!"]|//)')
_QUOTED_ROW = re.compile(r'[ \t]*"\s*[+-]?[.,]?\d[\d.,eE+-]*\s*"\s*(?:[,;\t |]|$)')
_NUMBER_LIKE = re.compile(r"[+-]?[.,]?\d[\d.,]*(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_ANY_DELIMITER = re.compile(r"[,;\s|]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line with its number, from 1."""

    number: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The parts of a text table. `above`: the comment right above the first row, where no header stands there."""

    header: Line | None
    above: Line | None
    rows: list[str]
    numbers: list[int]
    ends_with_newline: bool


def looks_like_number(text: str) -> bool:
    """Whether a field is meant as a number in any notation: with either separator or both, NaN and infinity too.

    >>> [looks_like_number(text) for text in ("1.000,5", "-inf", "Hz")]
    [True, True, False]
    """
    return _NUMBER_LIKE.fullmatch(text.strip()) is not None


def lay_out(text: str, path: str) -> Layout:
    """The layout of a text table.

    Parameters
    ----------
    text : str
        With line feeds only, as `decode_text` returns it.
    path : str
        For the errors.

    Returns
    -------
    Layout

    Raises
    ------
    ImportProblem
        There is no row, or a comment stands between rows.

    Examples
    --------
    >>> lay_out("# made up\\nHz,dB\\n20,85\\n25,84\\n", "a.csv").numbers
    [3, 4]
    """
    lines = text.split("\n")
    first, above = 0, None
    while first < len(lines) and (not lines[first].strip() or _is_comment(lines[first])):
        if lines[first].strip():
            above = Line(number=first + 1, text=lines[first])
        first += 1
    header = None
    if first < len(lines) and _is_header(lines[first]):
        header, above = Line(number=first + 1, text=lines[first]), None
        first += 1
    rows, numbers = _rows(lines, first, path)
    if not rows:
        raise _no_rows(lines, header, path)
    return Layout(header=header, above=above, rows=rows, numbers=numbers, ends_with_newline=not lines[-1].strip(" \t"))


def _rows(lines: list[str], first: int, path: str) -> tuple[list[str], list[int]]:
    rows: list[str] = []
    numbers: list[int] = []
    comment: int | None = None
    for number, line in enumerate(lines[first:], start=first + 1):
        if not line or line.isspace():
            continue
        if line[0] not in "0123456789+-." and _is_comment(line) and not (rows and _is_row_without_first(line, rows)):
            comment = comment or number
            continue
        if comment is not None:
            raise ImportProblem(
                f"a comment stands inside the table: {_short(lines[comment - 1])}",
                where=f"{path}, line {comment}",
                try_="move comments above the table or to its very end",
            )
        rows.append(line)
        numbers.append(number)
    return rows, numbers


def _is_comment(line: str) -> bool:
    return _COMMENT.match(line) is not None and _QUOTED_ROW.match(line) is None


def _is_row_without_first(line: str, rows: list[str]) -> bool:
    """A row of a semicolon table whose first field is empty looks like a comment but must not pass as one."""
    return line.lstrip(" \t").startswith(";") and line.count(";") == rows[0].count(";") and ";" in rows[0]


def _is_header(line: str) -> bool:
    words = [word for word in _ANY_DELIMITER.split(line.replace('"', " ").strip()) if word]
    if not words or looks_like_number(words[0]):
        return False
    return not any(looks_like_number(word) for word in words) or any(is_column_name(word) for word in words)


def _no_rows(lines: list[str], header: Line | None, path: str) -> ImportProblem:
    if header is not None:
        what, where = f"there is a header and no row below it: {_short(header.text)}", f"{path}, line {header.number}"
    elif any(line.strip() for line in lines):
        what, where = "every line is a comment: there is no row of numbers", f"{path}, line 1 to {len(lines)}"
    else:
        what, where = f"the file holds blank lines only ({len(lines)} of them)", f"{path}, line 1"
    return ImportProblem(what, where=where, try_="export the response again, as rows of frequency and level")


def _short(text: str, limit: int = 60) -> str:
    text = text.strip()
    return repr(text if len(text) <= limit else text[: limit - 3] + "...")
