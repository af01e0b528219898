"""The cells of a score sheet as text, from CSV, TSV, XLSX or ODS."""

from __future__ import annotations

import csv
import io
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.api import ImportProblem, ReadOptions, SourceFile
from fairhearing_builtins.importers.text_decoding import NotTextError, decode_text

ZIP_START = b"PK\x03\x04"
_DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Rows that hold anything, with the line of each; every cell trimmed, None where empty. `unit`: "line" or "row"."""

    rows: list[list[str | None]]
    lines: list[int]
    unit: str
    caveats: tuple[str, ...] = ()


def read_cells(file: SourceFile, known_names: Sequence[str]) -> Cells:
    """All cells of a sheet.

    Parameters
    ----------
    file : SourceFile
    known_names : sequence of str
        Names that the header may hold, in lower case: they tell the delimiter.

    Returns
    -------
    Cells

    Raises
    ------
    ImportProblem
        The file is empty, binary, no spreadsheet, or badly quoted.
    """
    if file.data.startswith(ZIP_START):
        return _spreadsheet(file)
    try:
        text = decode_text(file.data)
    except NotTextError as error:
        raise ImportProblem(
            str(error), where=f"{file.path}, line 1", try_="save the sheet as CSV, XLSX or ODS and copy it again"
        ) from None
    return _delimited(text, file.path, file.item.options, known_names)


def _trimmed(cell: str) -> str | None:
    return cell.strip() or None


def _delimited(text: str, path: str, options: ReadOptions, known_names: Sequence[str]) -> Cells:
    delimiter = options.delimiter or _delimiter(text, known_names)
    if len(delimiter) != 1 or delimiter in '"\n':
        raise ImportProblem(f"delimiter is {delimiter!r}", where=path, try_="one of ',', ';' and '\\t'")
    rows: list[list[str | None]] = []
    lines: list[int] = []
    start = 1
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
    try:
        for row in reader:
            cells = [_trimmed(cell) for cell in row]
            if any(cell is not None for cell in cells):
                rows.append(cells)
                lines.append(start)
            start = reader.line_num + 1
    except csv.Error as error:
        raise ImportProblem(
            f"the quotes don't fit: {error}",
            where=f"{path}, line {start}",
            try_='close the quote; a quote inside a quoted cell is written twice: ""',
        ) from None
    return Cells(rows=rows, lines=lines, unit="line")


def _delimiter(text: str, known_names: Sequence[str]) -> str:
    """The delimiter that makes the most known names, then the most names, out of the first line that holds anything."""
    header = next((line for line in text.split("\n") if line.strip()), "")

    def fit(delimiter: str) -> tuple[int, int]:
        names = [name.strip().strip('"').strip().casefold() for name in header.split(delimiter)]
        return sum(name in known_names for name in names), len(names)

    return max(_DELIMITERS, key=fit)


def _spreadsheet(file: SourceFile) -> Cells:
    problem = _zip_problem(file.data)
    if problem is not None:
        raise ImportProblem(
            problem, where=f"{file.path}, row 1", try_="save the sheet as XLSX or ODS and copy it again"
        )
    import pandas as pd
    from python_calamine import CalamineError

    try:
        sheets = pd.read_excel(
            io.BytesIO(file.data), sheet_name=None, engine="calamine", header=None, dtype=str, na_filter=False
        )
    except (CalamineError, ValueError, OSError) as error:
        raise ImportProblem(
            f"the spreadsheet can't be read: {error}",
            where=f"{file.path}, row 1",
            try_="open it and save it anew as XLSX or ODS without a password, or as CSV",
        ) from None
    filled = {str(name): frame for name, frame in sheets.items() if (frame != "").to_numpy().any()}
    if not filled:
        return Cells(rows=[], lines=[], unit="row")
    first, *others = filled
    rows: list[list[str | None]] = []
    lines: list[int] = []
    for line, values in enumerate(filled[first].to_numpy().tolist(), start=1):
        cells = [_trimmed(str(value)) for value in values]
        if any(cell is not None for cell in cells):
            rows.append(cells)
            lines.append(line)
    unread = ", ".join(repr(name) for name in others)
    caveats = (f"only its first sheet {first!r} was read, not {unread}",) if others else ()
    return Cells(rows=rows, lines=lines, unit="row", caveats=caveats)


def _zip_problem(data: bytes) -> str | None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            damaged = archive.testzip()
            names = archive.namelist()
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, NotImplementedError, RuntimeError, OSError) as error:
        return f"the spreadsheet is damaged or cut: {error}"
    if damaged is not None:
        return f"the spreadsheet is damaged: its part {damaged!r} does not fit its checksum"
    if not any(name.startswith("xl/") or name == "content.xml" for name in names):
        return f"a ZIP archive that is no XLSX or ODS spreadsheet: it holds {', '.join(names[:3]) or 'nothing'}"
    return None
