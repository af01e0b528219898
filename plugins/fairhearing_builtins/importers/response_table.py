"""The importer of responses: frequency, level and phase as delimited text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.api import (
    Importer,
    ImportProblem,
    Reading,
    ReadOptions,
    Recognition,
    ResponseCurve,
    Session,
    SourceFile,
    hookimpl,
)
from fairhearing_builtins.importers.table_choice import Attempt, choose
from fairhearing_builtins.importers.table_layout import Layout, lay_out
from fairhearing_builtins.importers.table_rows import MIN_ROWS, Rows
from fairhearing_builtins.importers.table_siblings import Pattern, pattern_of, read_plain
from fairhearing_builtins.importers.text_decoding import NotTextError, decode_text, other_language
from fairhearing_builtins.importers.truncation import Ending, cut_number, decimals_are_proof, judge, longer_siblings
from fairhearing_builtins.importers.universal_file_sets import begins_like_universal_file

# What a file is shows in its beginning; what is wrong further on is told when it is read.
_HEAD_BYTES = 1 << 12
_SAMPLES = Path(__file__).parent / "samples"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    reading: Reading
    ending: Ending | None = None
    pattern: Pattern | None = None


class ResponseTable:
    """Reads a response, or a noise spectrum, from delimited text in any of the dialects of the session format."""

    name = "response-table"
    version = "1"
    kinds = frozenset({"response", "noise"})
    samples = (_SAMPLES / "high_pass.csv", _SAMPLES / "high_pass_comma.txt")

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to any text; a text whose rows are at fault is claimed too, so that the fault is told with its line."""
        kind = getattr(file.item, "kind", "scores")
        if kind not in self.kinds:
            return Recognition(claims=False, why=f"reads response and noise, not {kind}")
        if begins_like_universal_file(file.data):
            return Recognition(claims=False, why="no table but a universal file (it begins with a line -1)")
        try:
            language = other_language(decode_text(file.data[:_HEAD_BYTES], whole=False))
        except NotTextError as error:
            return Recognition(claims=False, why=str(error))
        if language is not None:
            return Recognition(claims=False, why=f"no table but {language}")
        return Recognition(claims=True, why="delimited text")

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A curve or a problem for each file; those of one entry are compared to find one that is cut."""
        results = _read_all(files)
        endings = [result.ending for result in results if result.ending is not None]
        longer = longer_siblings(endings)
        whole: dict[tuple[int, bytes], Ending] = {}
        for ending in endings:
            if ending.ends_with_newline:
                whole.setdefault((ending.entry, ending.grid), ending)
        for result in results:
            if result.ending is None:
                yield result.reading
                continue
            twin = whole.get((result.ending.entry, result.ending.grid))
            yield _judged(result.reading, judge(result.ending, longer.get(result.ending.path), twin))


def _judged(reading: Reading, verdict: ImportProblem | str | None) -> Reading:
    if isinstance(verdict, ImportProblem):
        return Reading(path=reading.path, problem=verdict)
    return reading if verdict is None else replace(reading, caveats=(*reading.caveats, verdict))


def _read_all(files: Sequence[SourceFile]) -> list[_Read]:
    """Each file, by the pattern of one before it with the same options if it follows that."""
    patterns: dict[ReadOptions, Pattern] = {}
    grids: dict[bytes, Ending] = {}
    results = []
    for file in files:
        options = file.item.options
        result = _read_alike(file, patterns[options], grids) if options in patterns else None
        if result is None:
            result = _read_one(file)
            if result.pattern is not None:
                patterns[options] = result.pattern
        results.append(result)
    return results


def _read_alike(file: SourceFile, pattern: Pattern, grids: dict[bytes, Ending]) -> _Read | None:
    """What a file that follows the pattern holds. `grids`: for each grid the first such file, whose array all share."""
    table = read_plain(file.data, pattern)
    if table is None:
        return None
    curve = _curve(table.rows)
    grid = curve.frequency_hz.tobytes()
    if grid in grids:
        grid, curve = grids[grid].grid, replace(curve, frequency_hz=grids[grid].frequency_hz)
    ending = Ending(
        path=file.path,
        entry=file.item.entry,
        frequency_hz=curve.frequency_hz,
        grid=grid,
        last_line=table.last_line,
        last_text=table.last_text,
        ends_with_newline=True,
        proven=True,
    )
    grids.setdefault(grid, ending)
    return _Read(reading=Reading(path=file.path, content=curve), ending=ending)


def _read_one(file: SourceFile) -> _Read:
    try:
        return _read_text(file)
    except NotTextError as error:
        problem = ImportProblem(
            str(error),
            where=f"{file.path}, line 1",
            try_="export the response as text: rows of frequency and level in UTF-8, Latin-1 or UTF-16",
        )
    except ImportProblem as found:
        problem = found
    return _Read(reading=Reading(path=file.path, problem=problem))


def _read_text(file: SourceFile) -> _Read:
    layout = lay_out(decode_text(file.data), file.path)
    attempt = choose(layout, file.path, file.item.options)
    assert attempt.rows is not None
    rows = attempt.rows
    if len(rows.frequency_hz) < MIN_ROWS:
        raise ImportProblem(
            f"the table has {len(rows.frequency_hz)} rows above 0 Hz; a response needs at least {MIN_ROWS}",
            where=f"{file.path}, line {layout.numbers[-1]}",
            try_="export the response with more frequencies",
        )
    column = [row[-1] for row in attempt.fields]
    if rows.zero_dropped:
        column = column[1:]
    if not layout.ends_with_newline:
        cut = cut_number(column, attempt.dialect.decimal, layout.numbers[-1], file.path)
        if cut is not None:
            raise cut
    curve = _curve(rows)
    caveats = (f"the row at 0 Hz (line {layout.numbers[0]}) was dropped",) if rows.zero_dropped else ()
    reading = Reading(path=file.path, content=curve, caveats=caveats)
    return _Read(
        reading=reading,
        ending=_ending(file, layout, attempt, curve, column),
        pattern=None if rows.zero_dropped else pattern_of(file.data, layout, attempt),
    )


def _ending(file: SourceFile, layout: Layout, attempt: Attempt, curve: ResponseCurve, column: Sequence[str]) -> Ending:
    return Ending(
        path=file.path,
        entry=file.item.entry,
        frequency_hz=curve.frequency_hz,
        grid=curve.frequency_hz.tobytes(),
        last_line=layout.numbers[-1],
        last_text=column[-1].strip(),
        ends_with_newline=layout.ends_with_newline,
        proven=layout.ends_with_newline or decimals_are_proof(column, attempt.dialect.decimal),
    )


def _curve(rows: Rows) -> ResponseCurve:
    return ResponseCurve(
        frequency_hz=_read_only(rows.frequency_hz),
        level_db=_read_only(rows.level_db),
        phase_deg=None if rows.phase_deg is None else _read_only(rows.phase_deg),
    )


def _read_only(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    values = np.ascontiguousarray(values, dtype=np.float64)
    values.setflags(write=False)
    return values


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [ResponseTable()]
