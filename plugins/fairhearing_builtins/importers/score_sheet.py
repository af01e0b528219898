"""The importer of score sheets: the trials of blind listening as CSV, TSV, XLSX or ODS."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fairhearing.api import (
    Importer,
    ImportProblem,
    Reading,
    Recognition,
    ScoreFile,
    ScoreTable,
    Session,
    SourceFile,
    hookimpl,
    nearest,
)
from fairhearing_builtins.importers.score_cells import ZIP_START, Cells, read_cells
from fairhearing_builtins.importers.score_rules import (
    OPTIONAL_COLUMNS,
    SCALES,
    Known,
    RuleError,
    checked_row,
    method_columns,
)
from fairhearing_builtins.importers.text_decoding import NotTextError, decode_text, other_language

_SAMPLES = Path(__file__).parent / "samples"
_SPREADSHEET_ENDINGS = (".xlsx", ".xlsm", ".ods")
_SPREADSHEET_PARTS = (b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet", b"[Content_Types].xml", b"xl/")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """The name of each column of the sheet, ours where we know it; None where the header is empty."""

    names: tuple[str | None, ...]
    own: frozenset[str]  # those that the method asks for


class ScoreSheet:
    """Reads the trials of one of the methods, and refuses what the method doesn't allow, with its line."""

    name = "score-sheet"
    version = "1"
    kinds = frozenset({"scores"})
    samples = (_SAMPLES / "abx.csv", _SAMPLES / "paired-preference.xlsx")

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to text, XLSX and ODS; what stands in the cells is judged by `read`, which tells the line."""
        if not isinstance(file.item, ScoreFile):
            return Recognition(claims=False, why=f"reads scores, not {file.item.kind}")
        if file.data.startswith(ZIP_START):
            if file.path.lower().endswith(_SPREADSHEET_ENDINGS) or any(p in file.data for p in _SPREADSHEET_PARTS):
                return Recognition(claims=True, why="an XLSX or ODS spreadsheet")
            return Recognition(claims=False, why="a ZIP archive that is no XLSX or ODS spreadsheet")
        try:
            language = other_language(decode_text(file.data, whole=False))
        except NotTextError as error:
            return Recognition(claims=False, why=str(error))
        if language is not None:
            return Recognition(claims=False, why=f"no table but {language}")
        return Recognition(claims=True, why="delimited text")

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """The rows of each file, or its first problem; a trial must be new for its listener in the whole entry."""
        seen: dict[tuple[int, str | None, str | None], str] = {}
        for file in files:
            try:
                yield _read_sheet(file, session, seen)
            except ImportProblem as problem:
                yield Reading(path=file.path, problem=problem)


def _read_sheet(file: SourceFile, session: Session, seen: dict[tuple[int, str | None, str | None], str]) -> Reading:
    item = file.item
    assert isinstance(item, ScoreFile)
    if item.method == "grading" and item.scale not in SCALES:
        raise ImportProblem(
            "grading needs a scale" if item.scale is None else f"unknown scale {item.scale!r}",
            where=f"session.toml, line {item.line}",
            try_=f"scale = one of {', '.join(SCALES)}",
        )
    wanted = method_columns(item.method, item.scale)
    theirs = [name.strip().casefold() for _, name in item.options.columns]
    cells = read_cells(file, [*wanted, *theirs])
    header = _header(cells, item, file.path, wanted)
    known = Known(
        conditions=tuple(condition.id for condition in session.conditions),
        seats=tuple(seat.id for seat in session.seats),
        scale=item.scale,
        decimal=item.options.decimal,
    )
    given = {"listener": item.listener, "seat": item.seat, "programme": item.programme}
    rows: list[dict[str, str | None]] = []
    for cells_of_row, line in zip(cells.rows[1:], cells.lines[1:], strict=True):
        where = f"{file.path}, {cells.unit} {line}"
        row = _row(cells_of_row, header, given, where)
        try:
            rows.append(row | checked_row({name: row[name] for name in row if name in header.own}, item.method, known))
        except RuleError as error:
            raise ImportProblem(error.what, where=_place(where, error.column, header), try_=error.try_) from None
        _require_new_trial(rows[-1], item.entry, where, seen)
    columns = {name: tuple(row[name] for row in rows) for name in rows[0]}
    table = ScoreTable(columns=columns, lines=tuple(cells.lines[1:]))
    return Reading(path=file.path, content=table, caveats=cells.caveats)


def _place(where: str, column: str, header: _Header) -> str:
    number = header.names.index(column) + 1 if column in header.names else None
    return f"{where}, column {number} ({column})" if number else f"{where}, {column} (from the file's name)"


def _header(cells: Cells, item: ScoreFile, path: str, wanted: Sequence[str]) -> _Header:
    if not cells.rows:
        raise ImportProblem(
            "the sheet is empty", where=f"{path}, {cells.unit} 1", try_="it needs a header and a row for each trial"
        )
    where = f"{path}, {cells.unit} {cells.lines[0]}"
    texts = cells.rows[0]
    while texts and texts[-1] is None:
        texts = texts[:-1]
    names = [_own_name(text, wanted) for text in texts]
    for ours, theirs in item.options.columns:
        place = _mapped_place(ours, theirs, texts, wanted, where)
        names[place] = ours
    given = {"listener": item.listener, "seat": item.seat, "programme": item.programme}
    for name in wanted:
        if name not in names and name not in OPTIONAL_COLUMNS and given.get(name) is None:
            shown = [text for text in texts if text is not None]
            raise ImportProblem(
                f"the header has no column {name!r}: {', '.join(map(repr, shown))}",
                where=where,
                try_=f"say which it is with columns = {{ {name} = ... }} in session.toml; {nearest(name, shown)}",
            )
    _require_single(names, texts, where)
    if len(cells.rows) == 1:
        raise ImportProblem("there is a header and no trial below it", where=where, try_="a row for each trial")
    return _Header(names=tuple(names), own=frozenset(wanted))


def _own_name(text: str | None, wanted: Sequence[str]) -> str | None:
    return text.casefold() if text is not None and text.casefold() in wanted else text


def _mapped_place(ours: str, theirs: str, texts: Sequence[str | None], wanted: Sequence[str], where: str) -> int:
    if ours not in wanted:
        raise ImportProblem(
            f"columns names {ours!r}, which is no column of this method", where=where, try_=nearest(ours, wanted)
        )
    found = [i for i, text in enumerate(texts) if text is not None and text.casefold() == theirs.strip().casefold()]
    if len(found) != 1:
        count = "no" if not found else str(len(found))
        raise ImportProblem(
            f"columns says that {ours} is {theirs!r}, but {count} column of the header has that name",
            where=where,
            try_=nearest(theirs, [text for text in texts if text is not None]),
        )
    return found[0]


def _require_single(names: Sequence[str | None], texts: Sequence[str | None], where: str) -> None:
    for i, name in enumerate(names):
        earlier = [j for j in range(i) if name is not None and (names[j] or "").casefold() == name.casefold()]
        if earlier:
            raise ImportProblem(
                f"two columns are {name!r}: column {earlier[0] + 1} ({texts[earlier[0]]}) and {i + 1} ({texts[i]})",
                where=f"{where}, column {i + 1}",
                try_="rename one of them",
            )


def _row(
    cells: Sequence[str | None], header: _Header, given: dict[str, str | None], where: str
) -> dict[str, str | None]:
    width, n_cells = len(header.names), len(cells)
    while n_cells > width and cells[n_cells - 1] is None:
        n_cells -= 1
    if n_cells != width:
        shown = ", ".join("" if cell is None else cell for cell in cells)
        raise ImportProblem(
            f"the row has {n_cells} cells where the header has {width}: {shown}",
            where=f"{where}, column {min(n_cells, width) + 1}",
            try_="quote a cell that holds the delimiter, or fill in what is missing",
        )
    row: dict[str, str | None] = {}
    for i, (name, cell) in enumerate(zip(header.names, cells, strict=False)):
        if name is not None:
            row[name] = cell
        elif cell is not None:
            raise ImportProblem(
                f"{cell!r} stands in a column without a name",
                where=f"{where}, column {i + 1}",
                try_="name the column in the header",
            )
    for name, value in given.items():
        if value is not None:
            row[name] = _agreed(name, row.get(name), value, where)
    return row


def _agreed(name: str, cell: str | None, from_file_name: str, where: str) -> str:
    if cell is not None and cell != from_file_name:
        raise ImportProblem(
            f"the {name} is {cell!r}, but {from_file_name!r} by the file's name",
            where=where,
            try_=f"correct one of them, or take {{{name}}} out of the pattern in session.toml",
        )
    return from_file_name


def _require_new_trial(
    row: dict[str, str | None], entry: int, where: str, seen: dict[tuple[int, str | None, str | None], str]
) -> None:
    key = (entry, row["listener"], row["trial"])
    if key in seen:
        raise ImportProblem(
            f"listener {row['listener']!r} has trial {row['trial']!r} twice: here and in {seen[key]}",
            where=where,
            try_="number the trials of a listener through all files of the entry",
        )
    seen[key] = where


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [ScoreSheet()]
