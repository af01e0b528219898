"""Rows of a response table as arrays, and the first fault of rows that are none."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem
from fairhearing_builtins.importers.table_header import Columns

FloatArray = npt.NDArray[np.float64]
MIN_ROWS = 4

_ALLOWED = {".": re.compile(r"[0-9eE+.\- \t\n]*"), ",": re.compile(r"[0-9eE+,\- \t\n]*")}
_COMMA_WITHOUT_DIGIT = re.compile(r",(?![0-9])")
_NUMBER = {
    ".": re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"),
    ",": re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]+)?|,[0-9]+)(?:[eE][+-]?[0-9]+)?"),
}
_HALF_NUMBER = re.compile(r"[+-]?[0-9]*[.,]?[0-9]*(?:[eE][+-]?)?")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:[ '’\u00a0\u2009\u202f]\d{3})+(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Valid rows: frequency (hertz, > 0, rising), level (dB), phase (degree) or None."""

    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray | None
    zero_dropped: bool


def number(text: str, decimal: str) -> float | None:
    """The value of a field, None if it is no number in this notation; NaN and infinity are none.

    >>> number("85,5", ","), number("1_000", "."), number("nan", ".")
    (85.5, None, None)
    """
    text = text.strip()
    if _NUMBER[decimal].fullmatch(text) is None:
        return None
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else None


def usual_width(rows: Sequence[Sequence[str]]) -> int:
    """How many fields most rows have; of two equally frequent numbers the one that comes first."""
    return Counter(map(len, rows)).most_common(1)[0][0]


def read_rows(rows: Sequence[Sequence[str]], columns: Columns, decimal: str) -> Rows | None:
    """All rows as arrays, or None if any of them is at fault; `first_fault` then says which.

    Level and phase of real and imaginary parts are 20 lg |z| and the angle of z.
    """
    if len(set(map(len, rows))) != 1 or len(rows[0]) <= max(columns.used):
        return None
    texts = {place: [row[place] for row in rows] for place in columns.used}
    zero = len(rows) > 1 and number(texts[columns.frequency][0], decimal) == 0.0
    if zero:
        texts = {place: column[1:] for place, column in texts.items()}
    values = {place: _numbers(column, decimal) for place, column in texts.items() if place != columns.frequency}
    frequency = _frequency(texts[columns.frequency], columns, decimal)
    if frequency is None or not frequency[0] > 0 or np.any(np.diff(frequency) <= 0):
        return None
    level, phase = _level_and_phase(values, columns)
    if level is None or (columns.phase is not None and phase is None):
        return None
    return Rows(frequency_hz=frequency, level_db=level, phase_deg=phase, zero_dropped=zero)


def _numbers(texts: Sequence[str], decimal: str) -> FloatArray | None:
    joined = "\n".join(texts)
    if _ALLOWED[decimal].fullmatch(joined) is None:
        return None
    if decimal == ",":
        if _COMMA_WITHOUT_DIGIT.search(joined):
            return None
        texts = joined.replace(",", ".").split("\n")
    try:
        values = np.array([float(text) for text in texts], dtype=np.float64)
    except ValueError:
        return None
    return values if np.all(np.isfinite(values)) else None


def _frequency(texts: Sequence[str], columns: Columns, decimal: str) -> FloatArray | None:
    values = _numbers(texts, decimal)
    if values is None or not columns.kilohertz:
        return values
    # moved by decimals, not multiplied: 0.0701 kHz is the 70.1 Hz of another file to the last bit
    scaled = (Decimal(text.strip().replace(",", ".")).scaleb(3) for text in texts)
    hertz = np.array([float(value) for value in scaled], dtype=np.float64)
    return hertz if np.all(np.isfinite(hertz)) else None


def _level_and_phase(
    values: dict[int, FloatArray | None], columns: Columns
) -> tuple[FloatArray | None, FloatArray | None]:
    if columns.real is not None and columns.imaginary is not None:
        real, imaginary = values[columns.real], values[columns.imaginary]
        if real is None or imaginary is None:
            return None, None
        magnitude = np.hypot(real, imaginary)
        if not np.all(magnitude > 0) or not np.all(np.isfinite(magnitude)):
            return None, None
        return 20.0 * np.log10(magnitude), np.degrees(np.arctan2(imaginary, real))
    level = None if columns.level is None else values[columns.level]
    phase = None if columns.phase is None else values[columns.phase]
    if phase is not None and columns.radian:
        phase = np.degrees(phase)
    return level, phase


def first_fault(
    rows: Sequence[Sequence[str]],
    numbers: Sequence[int],
    columns: Columns,
    decimal: str,
    path: str,
    *,
    ends_with_newline: bool,
) -> ImportProblem | None:
    """What is wrong with the first faulty row, with its line and column; None if all rows are sound.

    Half a number at the very end of a file without a last line end means that the file is cut.
    """
    width = usual_width(rows)
    before: float | None = None
    for i, (row, line) in enumerate(zip(rows, numbers, strict=True)):
        where = f"{path}, line {line}"
        if len(row) != width or (i == len(rows) - 1 and _ends_empty(row, columns)):
            return _width_problem(row, width, where, last=i == len(rows) - 1)
        frequency = number(row[columns.frequency], decimal)
        if i == 0 and frequency == 0.0 and len(rows) > 1:
            continue
        for place in columns.used:
            if number(row[place], decimal) is None:
                last = i == len(rows) - 1 and place == len(row) - 1
                if last and not ends_with_newline and _HALF_NUMBER.fullmatch(row[place].strip()):
                    return _half_number_problem(row[place], columns.name(place), where)
                return _field_problem(row[place], columns.name(place), decimal, where)
        assert frequency is not None
        problem = _frequency_problem(frequency, before, row[columns.frequency].strip(), columns, where)
        if problem is None and columns.real is not None and columns.imaginary is not None:
            problem = _size_problem(row, columns.real, columns.imaginary, decimal, where)
        if problem is not None:
            return problem
        before = frequency
    return None


def _ends_empty(row: Sequence[str], columns: Columns) -> bool:
    return bool(row) and not row[-1].strip() and len(row) - 1 in columns.used


def _width_problem(row: Sequence[str], width: int, where: str, *, last: bool) -> ImportProblem:
    n_fields = len(row) - (not row[-1].strip()) if len(row) == width else len(row)
    shown = " | ".join(field.strip() for field in row)
    what = f"the row has {n_fields} fields where the others have {width}: {shown}"
    if n_fields < width and last:
        return ImportProblem(
            f"the file is cut: its last row has {n_fields} of {width} fields: {shown}",
            where=f"{where}, column {n_fields + 1}",
            try_="copy or export the file again",
        )
    if n_fields < width:
        return ImportProblem(what, where=f"{where}, column {n_fields + 1}", try_="fill in the row or export it again")
    return ImportProblem(
        what,
        where=f"{where}, column {width + 1}",
        try_="export without thousands separators, and with another delimiter if decimals are written with a comma",
    )


def _field_problem(text: str, column: str, decimal: str, where: str) -> ImportProblem:
    text = text.strip()
    where = f"{where}, {column}"
    if not text:
        return ImportProblem(
            "a number is missing: the field is empty", where=where, try_="fill it in or leave the row out"
        )
    what = f"{text!r} is not a number"
    if _NOT_FINITE.fullmatch(text) or _NUMBER[decimal].fullmatch(text):
        return ImportProblem(
            f"{text!r} is not a finite number", where=where, try_="leave out the rows that were not measured"
        )
    if ("," in text and "." in text) or _GROUPED.fullmatch(text) or text.count(",") > 1 or text.count(".") > 1:
        return ImportProblem(
            f"{text!r} has more than one separator: thousands separators are not read",
            where=where,
            try_="export without thousands separators, such as 1000.5",
        )
    other = "." if decimal == "," else ","
    if number(text, other) is not None:
        return ImportProblem(
            f"{text!r} has a decimal {'comma' if other == ',' else 'point'} where the table has "
            f"{'points' if other == ',' else 'commas'}",
            where=where,
            try_=f"write all numbers alike, or set decimal = '{other}' for the file in session.toml",
        )
    return ImportProblem(what, where=where, try_="put a number there, or leave the row out")


def _half_number_problem(text: str, column: str, where: str) -> ImportProblem:
    return ImportProblem(
        f"the file is cut: its last number is {text.strip()!r}",
        where=f"{where}, {column}",
        try_="copy or export the file again",
    )


def _frequency_problem(
    frequency: float, before: float | None, text: str, columns: Columns, where: str
) -> ImportProblem | None:
    unit = "kHz" if columns.kilohertz else "Hz"
    where = f"{where}, {columns.name(columns.frequency)}"
    if frequency < 0 or (frequency == 0 and before is None):
        return ImportProblem(
            f"the frequency {text} {unit} is not above 0 Hz", where=where, try_="export rising frequencies above 0 Hz"
        )
    if before is None or frequency > before:
        return None
    if frequency == before:
        return ImportProblem(
            f"the frequency {text} {unit} stands twice",
            where=where,
            try_="leave one of the rows out; several responses go into several files",
        )
    return ImportProblem(
        f"the frequency {text} {unit} follows {before:g} {unit}: frequencies must rise",
        where=where,
        try_="sort the rows by frequency; if the columns stand in another order, say so with columns = { ... }",
    )


def _size_problem(row: Sequence[str], real: int, imaginary: int, decimal: str, where: str) -> ImportProblem | None:
    parts = complex(number(row[real], decimal) or 0.0, number(row[imaginary], decimal) or 0.0)
    if parts != 0:
        return None
    return ImportProblem(
        f"real and imaginary part are both 0 ({row[real].strip()} and {row[imaginary].strip()}): no level in dB",
        where=f"{where}, column {real + 1} and {imaginary + 1}",
        try_="leave out the rows that were not measured",
    )
