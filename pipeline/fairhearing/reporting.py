"""From results to a report folder: each reporter renders, the core writes all of it or nothing."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from fairhearing.calling import call_plugin
from fairhearing.contracts import OutputFile, Reporter, ReportInputs
from fairhearing.errors import PluginProblem
from fairhearing.files import RECORD_NAME, is_inside, write_files


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Where the report stands, and the reporters that failed, a line each.

    `main`: the file to open; the folder itself where no reporter made one.
    """

    main: Path
    problems: tuple[str, ...]


def write_report(inputs: ReportInputs, reporters: Sequence[Reporter], out: Path, reserved: Collection[str]) -> Report:
    """All files of all reporters, written whole into `out`; a reporter that fails costs its own files.

    `reserved`: paths in `out` that are no reporter's to write, such as that of the store.
    """
    files: dict[str, OutputFile] = {}
    problems: list[str] = []
    # The page comes last, so that it can say which other reporter failed.
    for reporter in sorted(reporters, key=lambda r: (r.name == "page", r.name)):
        shown = replace(inputs, problems=inputs.problems + tuple(problems))
        taken = {RECORD_NAME, *reserved, *files}
        try:
            rendered = call_plugin(
                reporter.name, reporter.version, "report", partial(_rendered, reporter, shown, taken)
            )
        except PluginProblem as problem:
            problems.append(problem.line())
            continue
        files.update({file.path: file for file in rendered})
    write_files(out, {path: file.data for path, file in sorted(files.items())})
    main = next((file.path for file in files.values() if file.main), None)
    return Report(main=out if main is None else out / main, problems=tuple(problems))


def _rendered(reporter: Reporter, inputs: ReportInputs, taken: Collection[str]) -> list[OutputFile]:
    """The files of one reporter; raises for what cannot be written."""
    files: list[OutputFile] = []
    seen = set(taken)
    for file in reporter.render(inputs):
        if not isinstance(file, OutputFile) or not isinstance(file.data, bytes):
            raise TypeError(f"it returned {type(file).__name__}, not an OutputFile with bytes")
        if not is_inside(file.path):
            raise ValueError(f"it would write {file.path!r}, which is no path inside of the report folder")
        if file.path in seen:
            raise ValueError(f"it would write {file.path!r}, which is written already")
        seen.add(file.path)
        files.append(file)
    return files
