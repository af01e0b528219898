"""The quick way through the files of one exporter: what was found out about one of them holds for those like it.

A file takes this way only if it begins with the very same bytes, header included, and every row is plain: as many
numbers as the header has names, and nothing else. Whatever is unusual in the least goes the careful way, which gives
the same curve where both can be gone.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pydantic_core

from fairhearing_builtins.importers.table_choice import Attempt
from fairhearing_builtins.importers.table_header import Columns
from fairhearing_builtins.importers.table_layout import Layout
from fairhearing_builtins.importers.table_rows import MIN_ROWS, Rows

FloatArray = npt.NDArray[np.float64]
_OF_NUMBERS = b"0123456789+-.eE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """How the files of one exporter are written. `head`: all bytes above the rows."""

    head: bytes
    delimiter: bytes
    columns: Columns
    n_head_lines: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainTable:
    """The rows of a file that follows a pattern, and what its ending says of it."""

    rows: Rows
    last_line: int
    last_text: str


def pattern_of(data: bytes, layout: Layout, attempt: Attempt) -> Pattern | None:
    """What a file that was read the careful way says about others, None if it says nothing for certain.

    With a header that names every column, one delimiter other than a blank and a decimal point, plain rows can be read
    in one way only.
    """
    columns, dialect = attempt.columns, attempt.dialect
    if layout.header is None or columns is None or dialect.decimal != "." or dialect.delimiter not in (",", ";", "\t"):
        return None
    unusual = columns.real is not None or columns.kilohertz or columns.radian or columns.level is None
    if unusual or not all(name.strip() for name in columns.names):
        return None
    lines = data.split(b"\n", layout.header.number)
    head = data[: len(data) - len(lines[-1])]
    names = lines[-2].count(dialect.delimiter.encode("ascii")) + 1
    if not head.isascii() or b"\r" in head.replace(b"\r\n", b"") or names != len(columns.names):
        return None
    return Pattern(
        head=head,
        delimiter=dialect.delimiter.encode("ascii"),
        columns=columns,
        n_head_lines=layout.header.number,
    )


def read_plain(data: bytes, pattern: Pattern) -> PlainTable | None:
    """The rows of a file that follows the pattern; None if it does not, or if anything in it is unusual."""
    body = _body(data, pattern)
    if body is None:
        return None
    values = _numbers(body, pattern)
    return None if values is None else _table(body, values, pattern)


def _body(data: bytes, pattern: Pattern) -> bytes | None:
    """What stands below the head, with line feeds only; None if it is no rows as wide as the head says."""
    if not data.startswith(pattern.head):
        return None
    body = data[len(pattern.head) :]
    if b"\r" in body:
        body = body.replace(b"\r\n", b"\n")
    # Without what numbers are written with, just the delimiters and the line ends of whole rows may remain.
    remaining = body.translate(None, _OF_NUMBERS)
    width = len(pattern.columns.names)
    n_rows = len(remaining) // width
    row = pattern.delimiter * (width - 1) + b"\n"
    return body if n_rows >= MIN_ROWS and body.endswith(b"\n") and remaining == row * n_rows else None


def _table(body: bytes, values: FloatArray, pattern: Pattern) -> PlainTable | None:
    """The columns of `values`, of shape (width, rows), if all is finite and the frequencies rise."""
    columns = pattern.columns
    frequency = values[columns.frequency]
    if not np.isfinite(values.sum()) or not frequency[0] > 0 or np.any(frequency[1:] <= frequency[:-1]):
        return None
    assert columns.level is not None
    rows = Rows(
        frequency_hz=frequency,
        level_db=values[columns.level],
        phase_deg=None if columns.phase is None else values[columns.phase],
        zero_dropped=False,
    )
    last = body[body.rfind(pattern.delimiter) + 1 : -1].decode("ascii")
    return PlainTable(rows=rows, last_line=pattern.n_head_lines + values.shape[1], last_text=last)


def _numbers(body: bytes, pattern: Pattern) -> FloatArray | None:
    """The body as (width, rows), None unless every field is a number that JSON knows."""
    flat = b"[" + body[:-1].replace(b"\n", b",") + b"]"
    if pattern.delimiter != b",":
        flat = flat.replace(pattern.delimiter, b",")
    try:
        # A JSON number is read by one rule only, to the nearest float: what is none is left to the careful way.
        numbers = pydantic_core.from_json(flat, allow_inf_nan=False)
        values = np.frombuffer(struct.pack(f"{len(numbers)}d", *numbers))
    except (ValueError, OverflowError, struct.error):
        return None
    if not values.all() and (b"-0," in flat or b"-0]" in flat):  # an integer here, which has lost its sign
        return None
    return np.ascontiguousarray(values.reshape(-1, len(pattern.columns.names)).T)
