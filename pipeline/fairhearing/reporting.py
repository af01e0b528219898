"""From results to a report folder: each reporter renders, the core writes all of it or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fairhearing.calling import call_plugin
from fairhearing.contracts import OutputFile, Reporter, ReportInputs
from fairhearing.errors import PluginProblem
from fairhearing.files import write_files


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Where the report stands, and the reporters that failed, a line each."""

    main: Path
    problems: tuple[str, ...]


def write_report(inputs: ReportInputs, reporters: Sequence[Reporter], out: Path) -> Report:
    """All files of all reporters, written whole into `out`; a reporter that fails costs its own files."""
    files: dict[str, OutputFile] = {}
    problems: list[str] = []
    # The page comes last, so that it can say which other reporter failed.
    for reporter in sorted(reporters, key=lambda r: (r.name == "page", r.name)):
        shown = replace(inputs, problems=inputs.problems + tuple(problems))
        try:
            rendered = call_plugin(
                reporter.name, reporter.version, "report", lambda r=reporter, s=shown: list(r.render(s))
            )
        except PluginProblem as problem:
            problems.append(f"{problem.what}; where: {problem.where}; try: {problem.try_}")
            continue
        files.update({file.path: file for file in rendered})
    write_files(out, {path: file.data for path, file in sorted(files.items())})
    main = next((file.path for file in files.values() if file.main), "report.html")
    return Report(main=out / main, problems=tuple(problems))
