"""Opens a sealed plan: the seal is checked, answers and key are joined, and every planned trial is accounted for."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fairhearing.errors import Faults, ImportProblem, InputProblem
from fairhearing.files import write_files
from fairhearing.protocol.answers import Place, Record, Returned, read_returned
from fairhearing.protocol.design import Design, KeyTrial
from fairhearing.protocol.holding import PUT_BACK, place_of_fault
from fairhearing.protocol.joined import Count, counts_of, opened_object, opened_sheets
from fairhearing.protocol.methods import is_right
from fairhearing.protocol.reading import design_of, trials_of
from fairhearing.protocol.sealing import LOOKS_NAME, check_seal, read_key, read_object
from fairhearing.session import OPENED_NAME, PLAN_NAME, SEAL_NAME, Look, Session

OPENED_RECORD_NAME = ".fairhearing-opened.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """A plan whose seal holds: its design, its order, its commitment."""

    design: Design
    trials: tuple[KeyTrial, ...]
    commitment: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """What was opened: where, the commitment, the counts, and what is not as planned, a line each."""

    folder: Path
    commitment: str
    counts: tuple[Count, ...]
    reason: str | None
    remarks: tuple[str, ...]
    paths: tuple[str, ...]


def unseal(session: Session, folder: Path, reason: str | None = None) -> Opened:
    """Open a plan once: all of its answers joined with what was played, written beside the sealed files.

    Parameters
    ----------
    session : Session
    folder : Path
        The plan's folder.
    reason : str, optional
        Why it is opened although answers are missing, or although something went wrong while listening.

    Returns
    -------
    Opened

    Raises
    ------
    InputProblem
        It was opened before; key, criteria or plan do not match the seal; a sheet is at fault; or answers are missing
        and no reason is given. Nothing has been written then.
    """
    require_sealed(folder)
    sealed = unbroken(session, folder)
    returned = read_returned(folder, sealed.design, sealed.trials, sealed.commitment)
    ended = ended_at(folder)
    if reason is None and ended is not None and 1 <= ended <= len(sealed.design.looks):
        reason = f"look {ended} of {len(sealed.design.looks)} ended it, as planned"
        needed = scored_before_look(sealed, ended)
        counted = [one for one in returned.records if place_of(one) in needed]
        missing = missing_answers(counted, returned.misread)
        problems = [*returned.problems, *returned.breaches.values(), *missing]
        if not problems and not ends(sealed.design.looks[ended - 1], sealed, counted):
            problems = [_no_end(ended)]
    elif reason is None:
        missing = missing_answers(returned.records, returned.misread)
        problems = [*returned.problems, *returned.breaches.values(), *missing]
    else:
        problems = returned.problems
    raise_all(problems)
    opened, files = _joined(folder, sealed, returned, reason)
    write_files(folder, files, record_name=OPENED_RECORD_NAME)
    return opened


def check_opened(session: Session, folder: Path) -> tuple[str, ...]:
    """What of an opened plan is not what its key and its sheets give: a line each, none where all is.

    The seal is checked, the sheets are compared with the hashes that were taken when it was opened, and the opened
    sheets are made anew.

    Parameters
    ----------
    session : Session
    folder : Path
        The folder of a plan that has been unsealed.
    """
    try:
        sealed, stated = unbroken(session, folder), read_object(folder / OPENED_NAME)
    except InputProblem as problem:
        return (problem.what,)
    except ValueError as error:
        return (f"{OPENED_NAME} {error}",)
    returned = read_returned(folder, sealed.design, sealed.trials, sealed.commitment)
    hashes = stated.get("sheets_sha256")
    before: Mapping[str, object] = hashes if isinstance(hashes, dict) else {}
    faults = [
        f"{path} was changed after the plan was unsealed"
        for path in sorted({*before, *returned.hashes})
        if before.get(path) != returned.hashes.get(path)
    ]
    if faults or returned.problems:
        return tuple(faults) or tuple(f"{problem.what} ({problem.where})" for problem in returned.problems)
    reason = stated.get("reason")
    _, files = _joined(folder, sealed, returned, reason if isinstance(reason, str) else None)
    return tuple(
        f"{path} is not what the sealed key and the sheets give"
        for path, data in sorted(files.items())
        if not (folder / path).is_file() or (folder / path).read_bytes() != data
    )


def require_sealed(folder: Path) -> None:
    """Raise where a plan was opened before.

    Raises
    ------
    InputProblem
    """
    if (folder / OPENED_NAME).exists():
        raise InputProblem(
            "the plan was unsealed before",
            where=str(folder / OPENED_NAME),
            try_="fairhearing run reads what was opened; listen to a new plan for more",
        )


def unbroken(session: Session, folder: Path) -> Sealed:
    """The plan in a folder, if its seal holds.

    Raises
    ------
    InputProblem
        It does not, and which of key, criteria and plan was changed.
    """
    fault = check_seal(folder, session.criteria, session.folder)
    if fault is not None:
        raise InputProblem(
            fault.what, where=f"{session.folder}/{place_of_fault(fault, session.folder, folder)}", try_=PUT_BACK
        )
    return Sealed(
        design=design_of(read_object(folder / PLAN_NAME)),
        trials=trials_of(read_key(folder).key),
        commitment=str(read_object(folder / SEAL_NAME)["commitment"]),
    )


def ended_at(folder: Path) -> int | None:
    """The planned look, from 1, that ended the listening; None where none has."""
    if not (folder / LOOKS_NAME).exists():
        return None
    looks = read_object(folder / LOOKS_NAME).get("looks")
    for one in looks if isinstance(looks, list) else []:
        if isinstance(one, dict) and one.get("ended") is True and isinstance(one.get("look"), int):
            return int(one["look"])
    return None


def ends(look: Look, sealed: Sealed, records: Sequence[Record]) -> bool:
    """Whether as many of these trials are right as end the listening at a look; excluded and unanswered are wrong."""
    method = sealed.design.method
    n_right = sum(
        bool(one.answer) and not one.excluded and is_right(method, one.trial.cells, one.answer) for one in records
    )
    return look.n_right_needed is not None and n_right >= look.n_right_needed


def _no_end(number: int) -> InputProblem:
    return ImportProblem(
        f"{LOOKS_NAME} says that look {number} ended the listening, and key and answers do not",
        where=LOOKS_NAME,
        try_="put back what the look wrote and go on; or give the reason for opening now: --reason TEXT",
    )


def scored_before_look(sealed: Sealed, number: int) -> set[Place]:
    """The scored trials that a look, from 1, counts: the first of each listener, as many of each."""
    each = sealed.design.looks[number - 1].n_trials // len(sealed.design.listeners)
    places: set[Place] = set()
    for listener in sealed.design.listeners:
        own = [one for one in sealed.trials if one.listener == listener and one.part == "scored"]
        places |= {(one.listener, one.trial) for one in own[:each]}
    return places


def place_of(record: Record) -> Place:
    """Listener and trial of a record."""
    return (record.trial.listener, record.trial.trial)


def raise_all(problems: Sequence[InputProblem]) -> None:
    """Raise the problems, if there are any.

    Raises
    ------
    InputProblem
    """
    if problems:
        raise problems[0] if len(problems) == 1 else Faults(problems)


def _joined(folder: Path, sealed: Sealed, returned: Returned, reason: str | None) -> tuple[Opened, dict[str, bytes]]:
    """What is opened, and its files."""
    records = [_with_breach(record, returned) for record in returned.records]
    counts = counts_of(sealed.design, records)
    remarks = (
        *(f"{one.what} ({one.where})" for one in returned.breaches.values()),
        *(one.what for one in missing_answers(records)),
    )
    sheets = opened_sheets(sealed.design, records)
    written = opened_object(sealed.commitment, counts, reason, remarks, returned.hashes, records, sheets)
    files = {**sheets, OPENED_NAME: written}
    opened = Opened(
        folder=folder,
        commitment=sealed.commitment,
        counts=counts,
        reason=reason,
        remarks=remarks,
        paths=tuple(sorted(files)),
    )
    return opened, files


def missing_answers(records: Sequence[Record], misread: Collection[Place] = ()) -> list[InputProblem]:
    """A problem for each listener with trials that have no answer, and no reason on the sheet why they have none."""
    lacking: dict[str, list[str]] = {}
    for record in records:
        trial = record.trial
        answered = record.answer or record.excluded or (trial.listener, trial.trial) in misread
        if trial.part != "practice" and not answered:
            lacking.setdefault(trial.listener, []).append(trial.trial)
    return [
        InputProblem(
            f"listener {listener} has no answer to {len(names)} of the planned trials: {_listed(names)}",
            where=f"listeners/{listener}.csv",
            try_="wait until all have answered; or give the reason for opening now: --reason TEXT, which is recorded",
        )
        for listener, names in lacking.items()
    ]


def _listed(names: Sequence[str], most: int = 8) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _with_breach(record: Record, returned: Returned) -> Record:
    """The record with what went wrong as the reason that excludes it, beside any reason of the sheet."""
    breach = returned.breaches.get((record.trial.listener, record.trial.trial))
    if breach is None:
        return record
    return replace(record, excluded="; ".join(filter(None, (record.excluded, breach.what))))
