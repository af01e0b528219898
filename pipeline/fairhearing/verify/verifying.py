"""Session folders run anew beside their report: everything that differs."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fairhearing.errors import Faults, InputProblem
from fairhearing.manifest import find_session_folders, load_session
from fairhearing.progress import Progress
from fairhearing.run import STORE_NAME, run_sessions
from fairhearing.session import Session
from fairhearing.verify.difference import Difference
from fairhearing.verify.report_files import compare_files, written
from fairhearing.verify.seals import check_plan
from fairhearing.verify.sources import compare_sources, read_sources
from fairhearing.verify.stated_findings import compare_findings, read_findings

_DIFFERS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was checked, a line each, and all that differs. `notes`: what could not be checked, and why."""

    checked: tuple[str, ...]
    differences: tuple[Difference, ...]
    notes: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """0 where all is as stated, else 3."""
        return _DIFFERS if self.differences else 0


def verify_sessions(paths: Sequence[Path], report: Path | None, store: Path | None, progress: Progress) -> Verification:
    """Every hash, the seal and every finding of a report, made anew from the session folders.

    Parameters
    ----------
    paths : sequence of Path
        Session folders, or folders of them.
    report : Path or None
        The folder that a run wrote; None: only the seals are looked at.
    store : Path or None
        The store of that run; None: the one in the report's folder, if there is one.
    progress : Progress

    Returns
    -------
    Verification

    Raises
    ------
    InputProblem
        A session cannot be read, there is no report, or there is nothing to verify: no plan, and no report named.
    """
    folders = [folder for path in paths for folder in find_session_folders(path)]
    sessions = [_load(folder) for folder in folders]
    seals = [check_plan(session) for session in sessions]
    whole = Verification(
        checked=tuple(line for one in seals for line in one.checked),
        differences=tuple(difference for one in seals for difference in one.differences),
        notes=tuple(line for one in seals for line in one.notes),
    )
    if report is not None:
        return _with_report(whole, paths, sessions, report, store, progress)
    if not (whole.checked or whole.differences):
        raise InputProblem(
            "there is nothing to verify: no session has a sealed plan, and no report is named",
            where="the command line of 'fairhearing verify'",
            try_="name the folder that 'fairhearing run' wrote: --report DIR",
        )
    note = "no report is named: findings and measured files were not compared; name it with --report"
    return replace(whole, notes=(*whole.notes, note))


def _with_report(
    whole: Verification,
    paths: Sequence[Path],
    sessions: Sequence[Session],
    report: Path,
    store: Path | None,
    progress: Progress,
) -> Verification:
    """The verification with what the session folders give now against what the report states."""
    stated = read_findings(report)
    checked, differences, notes = list(whole.checked), list(whole.differences), list(whole.notes)
    with tempfile.TemporaryDirectory(prefix="fairhearing-verify-") as place:
        anew = Path(place) / "report"
        try:
            run_sessions(paths, anew, Path(place) / "anew.duckdb", False, progress)
        except InputProblem as problem:
            if not whole.differences:
                raise
            notes.append(f"findings and measured files: no run takes what differs from its seal ({problem.what})")
            return Verification(checked=tuple(checked), differences=tuple(differences), notes=tuple(notes))
        ids = {session.id for session in sessions}
        found = read_findings(anew)
        differing = compare_findings(stated, found, ids)
        differences += differing
        checked.append(f"{len(found)} findings computed anew")
        differences += _sources(store or report / STORE_NAME, store is None, Path(place), checked, notes)
        others = {str(fields.get("session")) for fields in stated.values()} - ids
        if others:
            notes.append(
                f"the report is of other sessions too ({', '.join(sorted(others))}): its page, tables and pictures "
                "were not compared; name all of its sessions"
            )
        elif not differing:
            # Where findings differ, so do the page and the tables; once is enough.
            differences += compare_files(report, anew)
            checked.append(f"{len(written(anew))} files of the report written anew")
    return Verification(checked=tuple(checked), differences=tuple(differences), notes=tuple(notes))


def _load(folder: Path) -> Session:
    loaded = load_session(folder)
    if loaded.session is None:
        raise Faults(loaded.problems)
    return loaded.session


def _sources(store: Path, may_lack: bool, place: Path, checked: list[str], notes: list[str]) -> list[Difference]:
    """Differences between the files as the run had them and as they are."""
    if may_lack and not store.exists():
        notes.append(
            f"there is no {store}: whether a file was changed shows in the findings only; name it with --store"
        )
        return []
    stated, found = read_sources(store, place / "stated.duckdb"), read_sources(place / "anew.duckdb", place / "copy")
    for session in sorted(found):
        if session in stated:
            checked.append(f"{session}: {len(found[session])} files, each with its sha256")
        else:
            notes.append(f"{store} does not hold the session {session}: its files were not compared")
    return compare_sources(stated, found)
