"""The whole way, or one part of it: what the command line and a notebook call."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from contextlib import AbstractContextManager, ExitStack, nullcontext
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

from fairhearing import __version__, analysing
from fairhearing.analysing import analyse_session, unread_lines
from fairhearing.contracts import ReportInputs, SessionContent
from fairhearing.errors import FairHearingError, Faults, InputProblem, ManifestProblem, PluginProblem, StoreProblem
from fairhearing.execution.limits import limits_from
from fairhearing.execution.worker import Worker
from fairhearing.files import check_writable
from fairhearing.importing import read_session as read_folder
from fairhearing.manifest import MANIFEST_NAME, find_session_folders
from fairhearing.progress import Progress
from fairhearing.recordings import summarise
from fairhearing.registry import PluginList, Plugins, load_plugins
from fairhearing.reporting import write_report
from fairhearing.result import AnalyserResult
from fairhearing.session import Session
from fairhearing.store import Store, open_store
from fairhearing.store.read import read_results, read_session, session_ids
from fairhearing.store.write import write_results, write_session

SOFTWARE = ("altair", "duckdb", "numpy", "pandas", "scipy", "soundfile", "vl-convert-python")
STORE_NAME = "store.duckdb"


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOutcome:
    """What to print and how to end: `lines` on standard output, `notes` on standard error."""

    exit_code: int = 0
    lines: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def run_sessions(
    paths: Sequence[Path], out: Path, store: Path | None, keep_going: bool, progress: Progress
) -> RunOutcome:
    """Import, analyse and report the sessions at `paths`.

    Raises
    ------
    Faults
        A session is at fault: nothing is imported (with `keep_going`: none of them is sound).
    InputProblem
        The store or the report folder cannot be used.
    """
    plugins = load_plugins()
    with ExitStack() as stack:
        worker = stack.enter_context(_worker())
        sound, problems = _read_all(paths, plugins, keep_going, progress)
        opened = None if store is None else stack.enter_context(open_store(store, create=True))
        check_writable(out)
        opened = opened or stack.enter_context(open_store(out / STORE_NAME, create=True))
        stack.enter_context(opened.transaction())  # a run that does not end with a report leaves the store as it was
        _import(opened, sound)
        ids = sorted({content.session.id for content in sound if content.session is not None})
        outcome = _analyse(opened, ids, plugins, worker, progress)
        return _report(opened, ids, plugins, out, progress, _partly(outcome, problems))


def import_sessions(paths: Sequence[Path], store: Path, keep_going: bool, progress: Progress) -> RunOutcome:
    """Import the sessions at `paths`; raises as `run_sessions`."""
    plugins = load_plugins()
    sound, problems = _read_all(paths, plugins, keep_going, progress)
    with open_store(store, create=True) as opened, opened.transaction():
        lines = _import(opened, sound)
    return _partly(RunOutcome(lines=tuple(lines), notes=_broken_lines(plugins)), problems)


def analyse_store(store: Path, progress: Progress) -> RunOutcome:
    """Analyse the newest revision of every session in the store."""
    plugins = load_plugins()
    with _worker() as worker, open_store(store, create=False) as opened, opened.transaction():
        return _analyse(opened, _known_ids(opened), plugins, worker, progress)


def report_store(store: Path, out: Path, progress: Progress) -> RunOutcome:
    """Report every session in the store; what is not analysed yet is analysed first."""
    plugins = load_plugins()
    with _worker() as worker, open_store(store, create=False) as opened, opened.transaction():
        ids = _known_ids(opened)
        check_writable(out)
        outcome = _analyse(opened, ids, plugins, worker, progress)
        return _report(opened, ids, plugins, out, progress, replace(outcome, lines=()))


def check_sessions(path: Path) -> tuple[SessionContent, ...]:
    """What lies at `path`, and all that is wrong with it; writes nothing."""
    plugins = load_plugins()
    return tuple(read_folder(folder, plugins.importers) for folder in find_session_folders(path))


def list_plugins() -> PluginList:
    """Every plug-in, and the broken ones with their reason."""
    return load_plugins().notes


def _read_all(
    paths: Sequence[Path], plugins: Plugins, keep_going: bool, progress: Progress
) -> tuple[list[SessionContent], list[FairHearingError]]:
    folders, problems = _find_folders(paths)
    contents = []
    for index, folder in enumerate(folders):
        progress.step("reading", index, len(folders))
        contents.append(read_folder(folder, plugins.importers))
    progress.step("reading", len(folders), len(folders))
    problems += [_in_folder(problem, content.folder) for content in contents for problem in content.problems]
    doubled = _doubled_ids(contents)
    problems += doubled.values()
    sound = [c for c in contents if c.session is not None and not c.problems and c.session.id not in doubled]
    if problems and (not keep_going or not sound):
        raise Faults(problems)
    return sound, problems


def _find_folders(paths: Sequence[Path]) -> tuple[list[Path], list[FairHearingError]]:
    """Every session folder once, and the paths at which there is none."""
    folders: dict[Path, Path] = {}
    problems: list[FairHearingError] = []
    for path in paths:
        try:
            for folder in find_session_folders(path):
                folders.setdefault(folder.resolve(), folder)
        except ManifestProblem as problem:
            problems.append(problem)
    return list(folders.values()), problems


def _in_folder(problem: FairHearingError, folder: Path) -> FairHearingError:
    """The problem with its session folder named, as it was typed, before the file."""
    if problem.where == str(folder):
        return problem
    where = f"{folder.as_posix()}/{problem.where}"
    return InputProblem(problem.what, where=where, try_=problem.try_)


def _doubled_ids(contents: Sequence[SessionContent]) -> dict[str, FairHearingError]:
    """A problem for every session id that more than one folder has."""
    folders: dict[str, list[Path]] = {}
    for content in contents:
        if content.session is not None:
            folders.setdefault(content.session.id, []).append(content.folder)
    return {
        session_id: ManifestProblem(
            f"{len(places)} of the sessions given have the id {session_id!r}",
            where=" and ".join(f"{place.as_posix()}/{MANIFEST_NAME}" for place in places),
            try_="give each session an id of its own, or give only one of the folders",
        )
        for session_id, places in folders.items()
        if len(places) > 1
    }


def _import(store: Store, contents: Sequence[SessionContent]) -> list[str]:
    lines = []
    for content in contents:
        revision = write_session(store, content)
        assert content.session is not None
        lines.append(
            f"{content.session.id}: revision {revision}, "
            f"{len(content.takes) + len(content.recordings)} measurements, "
            f"{sum(len(sheet.trials) for sheet in content.sheets)} trials"
        )
    return lines


def _known_ids(store: Store) -> list[str]:
    ids = list(session_ids(store))
    if not ids:
        raise StoreProblem(
            "the store holds no session", where=str(store.path), try_="import a session folder into it first"
        )
    return ids


def _worker() -> AbstractContextManager[Worker | None]:
    """Where analysers run: a process of their own that starts up meanwhile, or None for this one."""
    limits = limits_from()
    return nullcontext() if limits is None else Worker(limits, f"{analysing.__name__}:loaded_plugins")


def _analyse(
    store: Store, ids: Sequence[str], plugins: Plugins, worker: Worker | None, progress: Progress
) -> RunOutcome:
    lines: list[str] = []
    notes = list(_broken_lines(plugins))
    in_part = False
    for index, session_id in enumerate(ids):
        progress.step("analysing", index, len(ids))
        stored = read_session(store, session_id)
        summarised = summarise(store, stored, plugins.analysers, progress)
        stored = replace(stored, inputs=replace(stored.inputs, recordings=summarised.recordings))
        kept = read_results(store, session_id, stored.revision)
        results = analyse_session(stored, plugins.analysers, kept, summarised.lacking, worker, plugins.notes.analysers)
        new = {key: result for key, result in results.items() if kept.get(key) != result}
        write_results(store, {session_id: stored.revision}, new)
        for problem in summarised.problems:
            in_part = in_part or isinstance(problem, InputProblem)
            notes.append(_recording_note(problem, stored.inputs.session))
        notes += [f"{session_id}: {result.problem}" for result in results.values() if result.problem]
        lines += _answers(session_id, tuple(results.values()))
    progress.step("analysing", len(ids), len(ids))
    return RunOutcome(exit_code=3 if in_part else 0, lines=tuple(lines), notes=tuple(notes))


def _recording_note(problem: FairHearingError, session: Session) -> str:
    """What is told of a recording that could not be read, or of a summary that failed."""
    if isinstance(problem, PluginProblem):
        return f"{session.id}: {problem.line()}"
    return str(_in_folder(problem, session.folder))


def _answers(session_id: str, results: Sequence[AnalyserResult]) -> list[str]:
    findings = [finding for result in results for finding in result.result.findings]
    lines = [
        f"{session_id}: {finding.condition} against {finding.reference}: {finding.verdict}"
        for finding in findings
        if finding.quantity == "balance"
    ]
    return lines or [f"{session_id}: {len(findings)} findings"]


def _report(
    store: Store, ids: Sequence[str], plugins: Plugins, out: Path, progress: Progress, before: RunOutcome
) -> RunOutcome:
    stored = [read_session(store, session_id) for session_id in ids]
    results = [
        result
        for s in stored
        for result in read_results(store, s.inputs.session.id, s.revision).values()
        if result.analyser in {analyser.name for analyser in plugins.analysers}
    ]
    failed = tuple(f"{result.session}: {result.problem}" for result in results if result.problem)
    inputs = ReportInputs(
        sessions=tuple(s.inputs.session for s in stored),
        results=tuple(results),
        sources=tuple(note for s in stored for note in s.sources),
        unread=tuple(line for s in stored for line in unread_lines(s, plugins.analysers)),
        problems=_broken_lines(plugins) + failed,
        software=_software(),
    )
    progress.step("reporting", 0, 1)
    report = write_report(inputs, plugins.reporters, out, _reserved(store.path, out))
    progress.step("reporting", 1, 1)
    return RunOutcome(
        exit_code=before.exit_code,
        lines=(*before.lines, str(report.main)),
        notes=(*before.notes, *report.problems),
    )


def _reserved(store: Path, out: Path) -> list[str]:
    """The path of the store in the report folder, if it lies there: no reporter may write over it."""
    place, root = store.resolve(), out.resolve()
    return [place.relative_to(root).as_posix()] if place.is_relative_to(root) else []


def _partly(outcome: RunOutcome, problems: Sequence[FairHearingError]) -> RunOutcome:
    """The outcome, told as done in part if some sessions were left out."""
    if not problems:
        return outcome
    notes = (*outcome.notes, *(str(problem) for problem in problems))
    return RunOutcome(exit_code=3, lines=outcome.lines, notes=notes)


def _broken_lines(plugins: Plugins) -> tuple[str, ...]:
    return tuple(broken.line() for broken in plugins.notes.broken)


def _software() -> dict[str, str]:
    packages = {name: version(name) for name in SOFTWARE}
    return {"fairhearing": __version__, "python": platform.python_version(), **packages}
