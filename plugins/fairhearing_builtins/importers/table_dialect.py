"""How a text table may be written: delimiter and decimal separator, and its lines taken apart by them."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.api import ImportProblem, ReadOptions

_BLANKS = re.compile(r"[ \t]+")
_COMMA_AND_BLANK = re.compile(r",[ \t]+")
_DELIMITER_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", " ": "blanks", ", ": "comma and blank"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """A delimiter and a decimal separator. A blank stands for a run of blanks and tabs.

    `supported` is False for the two that part fields *and* decimals by commas: they are tried only to see whether a
    table could also be read so.
    """

    delimiter: str
    decimal: str

    @property
    def supported(self) -> bool:
        """Whether a table may be written so."""
        return not (self.decimal == "," and self.delimiter in (",", ", "))

    @property
    def text(self) -> str:
        """The dialect in words."""
        decimal = "point" if self.decimal == "." else "comma"
        return f"delimiter {_DELIMITER_NAMES.get(self.delimiter, repr(self.delimiter))}, decimal {decimal}"


_ALL = tuple(
    Dialect(delimiter=delimiter, decimal=decimal)
    for delimiter in ("\t", ";", ",", " ", ", ")
    for decimal in (".", ",")
    if (delimiter, decimal) != (", ", ".")
)


def candidates(options: ReadOptions, where: str) -> tuple[Dialect, ...]:
    """The dialects to try, the likelier first; what session.toml says overrides.

    Raises
    ------
    ImportProblem
        The options name no delimiter or decimal separator, or one and the same for both.

    Examples
    --------
    >>> [dialect.text for dialect in candidates(ReadOptions(delimiter=";", decimal=","), "a.csv")]
    ['delimiter semicolon, decimal comma']
    """
    delimiter, decimal = options.delimiter, options.decimal
    if decimal is not None and decimal not in (".", ","):
        raise ImportProblem(f"decimal is {decimal!r}", where=where, try_="decimal = '.' or decimal = ','")
    if delimiter is not None and (len(delimiter) != 1 or delimiter.isalnum() or delimiter in '."+-\n'):
        raise ImportProblem(
            f"delimiter is {delimiter!r}, which can't part numbers", where=where, try_="one of ',', ';', '\\t' and ' '"
        )
    if delimiter is not None and delimiter == decimal:
        raise ImportProblem(
            f"delimiter and decimal are both {decimal!r}",
            where=where,
            try_="export with another delimiter, such as a semicolon",
        )
    found = _ALL
    if delimiter is not None:
        decimals = (".",) if delimiter == "," else (".", ",")
        found = tuple(Dialect(delimiter=delimiter, decimal=mark) for mark in decimals)
    return tuple(dialect for dialect in found if decimal is None or dialect.decimal == decimal)


def split_lines(lines: Sequence[str], dialect: Dialect) -> list[list[str]]:
    """The fields of each line; a line with a quote that is not closed comes back in one piece.

    >>> split_lines(["20,5 85,1"], Dialect(delimiter=" ", decimal=","))
    [['20,5', '85,1']]
    """
    delimiter, joined = dialect.delimiter, "".join(lines)
    if delimiter == " ":
        # str.split also parts at no-break spaces, which may stand between thousands
        if joined.isascii():
            rows = [line.split() for line in lines]
        else:
            rows = [_BLANKS.split(line.strip(" \t")) for line in lines]
        return [[field.strip('"') for field in row] for row in rows] if '"' in joined else rows
    if delimiter == ", ":
        return [_COMMA_AND_BLANK.split(line.strip(" \t")) for line in lines]
    if '"' in joined:
        rows = [_split_quoted(line, delimiter) for line in lines]
    else:
        rows = [line.split(delimiter) for line in lines]
    return [_join_decimals(row) for row in rows] if not dialect.supported else rows


def _split_quoted(line: str, delimiter: str) -> list[str]:
    if line.count('"') % 2:
        return [line]
    return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [line])


def _join_decimals(parts: list[str]) -> list[str]:
    """Fields of a line that has commas between fields and in numbers: pairs, or a whole number and a pair."""
    if not all(map(str.strip, parts)):
        return [",".join(parts)]
    if len(parts) == 3:
        return [parts[0], f"{parts[1]},{parts[2]}"]
    if len(parts) >= 4 and len(parts) % 2 == 0:
        return [f"{parts[i]},{parts[i + 1]}" for i in range(0, len(parts), 2)]
    return [",".join(parts)]
