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
_LINE_END = ord("\n")
# Blanks, and what JSON texts and truth values are written with.
_UNUSUAL = (b" ", b"\r", b'"', b"t", b"f")


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
    if not data.startswith(pattern.head):
        return None
    body, delimiter = data[len(pattern.head) :], pattern.delimiter
    if b"\r" in body:
        body = body.replace(b"\r\n", b"\n")
    if not body.endswith(b"\n") or any(mark in body for mark in _UNUSUAL) or (b"\t" in body and b"\t" not in delimiter):
        return None
    table = _numbers(body, delimiter, len(pattern.columns.names))
    if table is None or len(table) < MIN_ROWS:
        return None
    columns = pattern.columns
    frequency = np.ascontiguousarray(table[:, columns.frequency])
    if not frequency[0] > 0 or np.any(frequency[1:] <= frequency[:-1]):
        return None
    assert columns.level is not None
    rows = Rows(
        frequency_hz=frequency,
        level_db=np.ascontiguousarray(table[:, columns.level]),
        phase_deg=None if columns.phase is None else np.ascontiguousarray(table[:, columns.phase]),
        zero_dropped=False,
    )
    last = body[body.rfind(delimiter) + 1 : -1].decode("ascii")
    return PlainTable(rows=rows, last_line=pattern.n_head_lines + len(table), last_text=last)


def _numbers(body: bytes, delimiter: bytes, width: int) -> FloatArray | None:
    """The body as (rows, width), None unless each line holds just `width` finite numbers."""
    characters = np.frombuffer(body, dtype=np.uint8)
    ends = np.flatnonzero(characters == _LINE_END)
    inner = np.flatnonzero(characters == delimiter[0])
    if len(inner) != len(ends) * (width - 1):
        return None
    by_line = inner.reshape(-1, width - 1)
    if np.any(by_line[:, -1] > ends) or np.any(by_line[1:, 0] < ends[:-1]):
        return None
    flat = body[:-1].replace(b"\n", b",")
    if delimiter != b",":
        if b"," in body:
            return None
        flat = flat.replace(delimiter, b",")
    try:
        # A JSON number is read by one rule only, to the nearest float: what is none is left to the careful way.
        numbers = pydantic_core.from_json(b"[" + flat + b"]", allow_inf_nan=False)
        packed = struct.pack(f"{len(ends) * width}d", *numbers)
    except (ValueError, OverflowError, struct.error):
        return None
    values = np.frombuffer(packed)
    return values.reshape(-1, width) if np.isfinite(values.sum()) else None
