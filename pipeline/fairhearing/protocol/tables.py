"""Reads a sheet that came back: a CSV as any spreadsheet saves it, its commitment, and its rows with their lines."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fairhearing.errors import ImportProblem, InputProblem, nearest
from fairhearing.protocol.sheets import COMMITMENT_MARK

_DELIMITERS = ",;\t"
_MOST_BYTES = 16_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """A row by column, its cells without blanks around them, and the line that it stands on."""

    cells: Mapping[str, str]
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSheet:
    """A sheet: its path in the plan's folder, the hash of its bytes, the commitment that it prints, its rows."""

    path: str
    sha256: str
    commitment: str | None
    rows: tuple[SheetRow, ...]

    def where(self, row: SheetRow) -> str:
        """The place of a row, for a fault."""
        return f"{self.path}, line {row.line}"


def read_sheet(folder: Path, path: str, wanted: Sequence[str]) -> ReadSheet:
    """The sheet at `path`, with a comma, semicolon or tab between cells, in UTF-8 or Latin-1.

    Raises
    ------
    InputProblem
        It is missing, cannot be read, or lacks one of the columns `wanted`.
    """
    try:
        data = (folder / path).read_bytes()
    except FileNotFoundError as error:
        raise _problem(
            "the sheet is missing", path, "put it back; an empty one says that nothing was answered"
        ) from error
    except OSError as error:
        raise _problem(f"the sheet cannot be read: {error.strerror}", path, "check who may read it") from error
    if len(data) > _MOST_BYTES or b"\0" in data:
        raise _problem("the sheet is no CSV", path, "save it as CSV, text, UTF-8") from None
    text = _text(data)
    commitment, rows = _rows(text, path)
    if not rows:
        raise _problem("the sheet has no header", path, "put back the first lines as they were written")
    head = [cell.strip().casefold() for cell in rows[0][1]]
    for name in wanted:
        if head.count(name) != 1:
            what = (
                f"the sheet has no column {name!r}" if name not in head else f"the sheet has the column {name!r} twice"
            )
            raise _problem(what, f"{path}, line {rows[0][0]}", nearest(name, head))
    found = []
    for line, cells in rows[1:]:
        if len(cells) > len(head) and any(cell.strip() for cell in cells[len(head) :]):
            raise _problem(
                f"a row has {len(cells)} cells, the header {len(head)}",
                f"{path}, line {line}",
                "quote a cell that holds the delimiter",
            )
        padded = [*cells, *[""] * (len(head) - len(cells))]
        values = {name: cell.strip() for name, cell in zip(head, padded, strict=False)}
        if any(values.values()):
            found.append(SheetRow(cells=values, line=line))
    return ReadSheet(path=path, sha256=hashlib.sha256(data).hexdigest(), commitment=commitment, rows=tuple(found))


def _text(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _rows(text: str, path: str) -> tuple[str | None, list[tuple[int, list[str]]]]:
    """The commitment of the first line, and the rows below it that hold anything, with their lines."""
    lines = text.splitlines(keepends=True)
    first = lines[0].strip().strip('"').rstrip(_DELIMITERS).strip('"') if lines else ""
    commitment, start = None, 0
    if first.startswith(COMMITMENT_MARK):
        commitment, start = "".join(first.removeprefix(COMMITMENT_MARK).split()), 1
    head = next((line for line in lines[start:] if line.strip()), "")
    delimiter = max(_DELIMITERS, key=head.count)
    reader = csv.reader(io.StringIO("".join(lines[start:]), newline=""), delimiter=delimiter, strict=True)
    rows = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((reader.line_num + start, cells))
    except csv.Error as error:
        raise _problem(
            f"the sheet is no CSV: {error}", f"{path}, line {reader.line_num + start}", "close each quote"
        ) from error
    return commitment, rows


def _problem(what: str, where: str, try_: str) -> InputProblem:
    return ImportProblem(what, where=where, try_=try_)
