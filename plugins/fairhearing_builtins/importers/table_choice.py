"""Which dialect a response table is written in: every one is tried, and two that differ are an error."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.api import ImportProblem, ReadOptions
from fairhearing_builtins.importers.table_dialect import Dialect, candidates, split_lines
from fairhearing_builtins.importers.table_header import (
    Columns,
    blank_header_fields,
    columns_from_header,
    default_columns,
    understand,
)
from fairhearing_builtins.importers.table_layout import Layout, looks_like_number
from fairhearing_builtins.importers.table_rows import Rows, first_fault, number, read_rows, usual_width

_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+")
_MARKS = re.compile(r'^[\s#*;%!"/]+|[\s"]+$')
_SAMPLE_ROWS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """A layout read in one dialect: its fields and, if they are sound, its columns and arrays."""

    dialect: Dialect
    fields: list[list[str]]
    columns: Columns | None = None
    rows: Rows | None = None


def choose(layout: Layout, path: str, options: ReadOptions) -> Attempt:
    """The one sound reading of a table, with its columns and arrays.

    Raises
    ------
    ImportProblem
        No dialect fits (the first fault under the one that fits best), or two readings differ.
    """
    dialects = candidates(options, path)
    sample = _sample(layout.rows)
    ranked = sorted(dialects, key=lambda dialect: _fit(sample, dialect), reverse=True)
    likely = [dialect for dialect in ranked if _may_fit(sample, dialect)]
    # single tabs and no blank: parted by blanks, the fields are the same
    tabs_only = not any(" " in line or "\t\t" in line or line[0] == "\t" or line[-1] == "\t" for line in layout.rows)
    sound: list[Attempt] = []
    for dialect in likely:
        if dialect.delimiter == " " and sound and sound[0].dialect.delimiter == "\t" and tabs_only:
            continue
        attempt = _attempt(layout, dialect, path, options)
        if attempt.rows is not None:
            sound.append(attempt)
    supported = [attempt for attempt in sound if attempt.dialect.supported]
    if not supported:
        raise _refused(sound[0], layout, path) if sound else _fault(layout, ranked[0], path, options)
    _compare(sound, supported[0], layout, path)
    chosen = supported[0]
    if options.decimal is None and chosen.dialect.decimal == ",":
        _refuse_decimal_or_thousands(chosen, layout, path)
    if options.delimiter is None and layout.header is None:
        _refuse_parted_thousands(chosen, layout, path)
    return chosen


def _sample(lines: Sequence[str]) -> list[str]:
    """Some lines, spread; neither the first, which may be a row at 0 Hz, nor the last, which may be cut."""
    inner = lines[1:-1] if len(lines) > 2 else lines
    step = max(1, len(inner) // _SAMPLE_ROWS)
    return list(inner[::step][:_SAMPLE_ROWS])


def _fit(sample: Sequence[str], dialect: Dialect) -> tuple[bool, float, float, bool]:
    """How well a dialect fits some lines, for the choice of the error to tell: the larger, the better."""
    rows = split_lines(sample, dialect)
    fields = [field for row in rows for field in row if field.strip()]
    parted = sum(len(row) >= 2 for row in rows) >= 0.5 * len(rows)
    like = sum(map(looks_like_number, fields)) / max(1, len(fields))
    strict = sum(number(field, dialect.decimal) is not None for field in fields) / max(1, len(fields))
    return dialect.supported and parted, like, strict, dialect.decimal == "."


def _may_fit(sample: Sequence[str], dialect: Dialect) -> bool:
    rows = split_lines(sample, dialect)
    if len(set(map(len, rows))) != 1:
        return False
    return all(sum(number(field, dialect.decimal) is not None for field in row) >= 2 for row in rows)


def _attempt(layout: Layout, dialect: Dialect, path: str, options: ReadOptions) -> Attempt:
    fields = _without_empty_end(split_lines(layout.rows, dialect))
    attempt = Attempt(dialect=dialect, fields=fields)
    try:
        columns = _columns(layout, attempt, path, options)
    except _TwoReadingsError:
        raise
    except ImportProblem:
        # a header that is wrong is told only if no other dialect makes sense of it
        return attempt
    return Attempt(dialect=dialect, fields=fields, columns=columns, rows=read_rows(fields, columns, dialect.decimal))


class _TwoReadingsError(ImportProblem):
    """A comment above sound rows names other columns than the default order does."""


class _NotThisDialectError(ImportProblem):
    """The header has another number of names than the rows have fields."""


def _without_empty_end(rows: list[list[str]]) -> list[list[str]]:
    """Rows without the last field where it is empty in all of them: a delimiter stands at the end of each line."""
    if len({len(row) for row in rows}) == 1 and len(rows[0]) > 2 and not any(row[-1].strip() for row in rows):
        return [row[:-1] for row in rows]
    return rows


def _header_fields(text: str, dialect: Dialect, width: int) -> list[str]:
    if dialect.delimiter == " ":
        fields = blank_header_fields(text, width)
    elif dialect.supported:
        fields = split_lines([text], dialect)[0]
    else:
        fields = split_lines([text], Dialect(delimiter=",", decimal="."))[0]
    while len(fields) > width and not fields[-1].strip():
        fields = fields[:-1]
    return fields


def _columns(layout: Layout, attempt: Attempt, path: str, options: ReadOptions) -> Columns:
    width = usual_width(attempt.fields)
    if layout.header is not None:
        where = f"{path}, line {layout.header.number}"
        fields = _header_fields(layout.header.text, attempt.dialect, width)
        if len(fields) != width:
            raise _NotThisDialectError(
                f"the header has {len(fields)} names ({_parted(fields)}) and the first row "
                f"has {len(attempt.fields[0])} fields ({_parted(attempt.fields[0])})",
                where=where,
                try_="give each column one name; where commas part the columns, decimals need a point; "
                "or set delimiter = and decimal = in session.toml",
            )
        return columns_from_header(fields, options.columns, where)
    if width < 2:
        raise _NotThisDialectError(
            f"the row has one field: {attempt.fields[0][0].strip()!r}",
            where=f"{path}, line {layout.numbers[0]}, column 2",
            try_="a response needs frequency and level in each row, parted by comma, semicolon, tab or blanks",
        )
    default = default_columns(width)
    if layout.above is None:
        if options.columns:
            raise ImportProblem(
                f"columns names {options.columns[0][1]!r}, but the file has no header",
                where=f"{path}, line {layout.numbers[0]}",
                try_="take columns = out of session.toml, or put a header above the rows",
            )
        return default
    return _columns_said_by_comment(layout, attempt, default, path, options)


def _columns_said_by_comment(
    layout: Layout, attempt: Attempt, default: Columns, path: str, options: ReadOptions
) -> Columns:
    """The default order, unless the comment right above the rows is a header that says something else."""
    assert layout.above is not None
    width = usual_width(attempt.fields)
    where = f"{path}, line {layout.above.number}"
    text = layout.above.text if layout.above.text.count('"') > 2 else _MARKS.sub("", layout.above.text)
    fields = _header_fields(text, attempt.dialect, width)
    if options.columns:
        return columns_from_header(fields, options.columns, where)
    roles = [understand(field).role for field in fields]
    # the third column may bear a name that we don't know: then it is no phase
    if len(fields) != width or (None in roles and roles[:2] != ["frequency", "level"]):
        return default
    if read_rows(attempt.fields, default, attempt.dialect.decimal) is None:
        return default
    said = columns_from_header(fields, (), where)
    if _same_places(said, default):
        return default
    row = attempt.fields[0]
    raise _TwoReadingsError(
        f"the table reads two ways: the comment above it names {', '.join(repr(field.strip()) for field in fields)}, "
        f"which makes the first row {_in_words(row, said)}; without a header it is {_in_words(row, default)}",
        where=where,
        try_="uncomment the header, or say what the columns are with columns = { frequency = ..., level = ... }",
    )


def _parted(fields: Sequence[str]) -> str:
    return " | ".join(field.strip() for field in fields)


def _same_places(one: Columns, other: Columns) -> bool:
    return (one.used, one.phase, one.real, one.kilohertz, one.radian) == (
        other.used, other.phase, other.real, other.kilohertz, other.radian,
    )  # fmt: skip


def _in_words(row: Sequence[str], columns: Columns) -> str:
    def field(place: int) -> str:
        return row[place].strip() if place < len(row) else "?"

    parts = [f"{field(columns.frequency)} {'kHz' if columns.kilohertz else 'Hz'}"]
    if columns.level is not None:
        parts.append(f"{field(columns.level)} dB")
    if columns.phase is not None:
        parts.append(f"{field(columns.phase)} {'rad' if columns.radian else 'degrees'}")
    if columns.real is not None and columns.imaginary is not None:
        parts.append(f"real {field(columns.real)}, imaginary {field(columns.imaginary)}")
    return ", ".join(parts)


def _first_row(rows: Rows) -> str:
    phase = "" if rows.phase_deg is None else f", {rows.phase_deg[0]:.10g} degrees"
    return f"{rows.frequency_hz[0]:.10g} Hz, {rows.level_db[0]:.10g} dB{phase}"


def _differ(one: Rows, other: Rows) -> bool:
    if not np.array_equal(one.frequency_hz, other.frequency_hz) or not np.array_equal(one.level_db, other.level_db):
        return True
    if one.phase_deg is None or other.phase_deg is None:
        return False
    return not np.array_equal(one.phase_deg, other.phase_deg)


def _compare(sound: Sequence[Attempt], chosen: Attempt, layout: Layout, path: str) -> None:
    assert chosen.rows is not None
    for other in sound:
        if other.rows is not None and other is not chosen and _differ(chosen.rows, other.rows):
            raise ImportProblem(
                f"the table reads two ways: {layout.rows[0].strip()!r} is {_first_row(chosen.rows)} "
                f"({chosen.dialect.text}) or {_first_row(other.rows)} ({other.dialect.text})",
                where=f"{path}, line {layout.numbers[0]}",
                try_="say which with delimiter = and decimal = in session.toml"
                if other.dialect.supported
                else "if decimals have points, set decimal = '.'; else export with another delimiter than the comma",
            )


def _refused(attempt: Attempt, layout: Layout, path: str) -> ImportProblem:
    assert attempt.rows is not None
    return ImportProblem(
        f"commas part the columns and the decimals: {layout.rows[0].strip()!r} seems to be {_first_row(attempt.rows)}",
        where=f"{path}, line {layout.numbers[0]}",
        try_="export with a semicolon or tab between the columns, or with decimal points",
    )


def _refuse_decimal_or_thousands(chosen: Attempt, layout: Layout, path: str) -> None:
    """Refuse a table whose every comma may be a thousands separator: 1,000 is 1 or 1000."""
    assert chosen.columns is not None
    assert chosen.rows is not None
    rows = chosen.fields[1:] if chosen.rows.zero_dropped else chosen.fields
    used = chosen.columns.used
    commas = [row[place] for row in rows for place in used if "," in row[place]]
    if not commas or any(_THOUSANDS.fullmatch(text.strip()) is None for text in commas):
        return
    joined = [[field.replace(",", "") for field in row] for row in rows]
    other = read_rows(joined, chosen.columns, ".")
    if other is None:
        return
    index = next(i for i, row in enumerate(rows) if any("," in row[place] for place in used))
    line = layout.numbers[index + chosen.rows.zero_dropped]
    raise _thousands_problem(chosen.rows, other, index, commas[0].strip(), f"{path}, line {line}")


def _refuse_parted_thousands(chosen: Attempt, layout: Layout, path: str) -> None:
    """Refuse 1,000.5,85.1 read as three fields: a second field such as 000.5 is the rest of a number."""
    assert chosen.columns is not None
    assert chosen.rows is not None
    rows = chosen.fields[1:] if chosen.rows.zero_dropped else chosen.fields
    if chosen.dialect.delimiter not in (",", " ") or len(rows[0]) < 3 or not any(row[1][:1] == "0" for row in rows):
        return
    starts, rests = re.compile(r"[1-9]\d{0,2}"), re.compile(r"\d{3}(?:[.,]\d+)?")
    if not all(starts.fullmatch(row[0].strip()) and rests.fullmatch(row[1].strip()) for row in rows):
        return
    joined = [[row[0].strip() + row[1].strip(), *row[2:]] for row in rows]
    other = read_rows(joined, default_columns(len(joined[0])), chosen.dialect.decimal)
    if other is not None:
        text = f"{rows[0][0].strip()}{chosen.dialect.delimiter}{rows[0][1].strip()}"
        raise _thousands_problem(chosen.rows, other, 0, text, f"{path}, line {layout.numbers[-len(rows)]}")


def _thousands_problem(one: Rows, other: Rows, index: int, text: str, where: str) -> ImportProblem:
    return ImportProblem(
        f"the table reads two ways: the row with {text!r} is {one.frequency_hz[index]:.10g} Hz, "
        f"{one.level_db[index]:.10g} dB, or, with thousands separators, {other.frequency_hz[index]:.10g} Hz, "
        f"{other.level_db[index]:.10g} dB",
        where=where,
        try_="say which with delimiter = and decimal = in session.toml; thousands separators are not read: "
        "export without them",
    )


def _fault(layout: Layout, dialect: Dialect, path: str, options: ReadOptions) -> ImportProblem:
    """What is wrong under the dialect that fits best."""
    fields = _without_empty_end(split_lines(layout.rows, dialect))
    attempt = Attempt(dialect=dialect, fields=fields)
    for line, row in zip(layout.numbers, fields, strict=True):
        if any(field.count('"') % 2 for field in row):
            return ImportProblem(
                f"a quote is opened and not closed: {row[0].strip()[:60]!r}",
                where=f"{path}, line {line}",
                try_="close the quote, or export the file again if it was cut",
            )
    try:
        columns = _columns(layout, attempt, path, options)
    except ImportProblem as problem:
        return problem
    fault = first_fault(
        fields, layout.numbers, columns, dialect.decimal, path, ends_with_newline=layout.ends_with_newline
    )
    if fault is not None:
        return fault
    return ImportProblem(
        f"the row {layout.rows[0].strip()!r} can't be read with {dialect.text}",
        where=f"{path}, line {layout.numbers[0]}",
        try_="set delimiter = and decimal = for the file in session.toml",
    )
