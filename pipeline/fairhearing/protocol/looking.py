"""A planned look at a sealed plan: whether the boundary is reached, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fairhearing.errors import InputProblem
from fairhearing.files import write_files
from fairhearing.protocol.answers import read_returned
from fairhearing.protocol.opening import (
    ends,
    missing_answers,
    place_of,
    raise_all,
    require_sealed,
    scored_before_look,
    unbroken,
)
from fairhearing.protocol.sealing import LOOKS_NAME, read_object, readable
from fairhearing.session import Look, Session

LOOKS_FORMAT = 1
LOOKS_RECORD_NAME = ".fairhearing-looks.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What a look tells: that it ended the listening, or that it goes on. How many were right stays sealed."""

    number: int
    n_looks: int
    look: Look
    ended: bool


def look(session: Session, folder: Path, number: int) -> Looked:
    """Take a planned look, once, and record whether it ended the listening.

    Counted are the first scored trials of each listener, as many of each as the look was planned for; a trial that is
    excluded counts as wrong.

    Parameters
    ----------
    session : Session
    folder : Path
        The plan's folder.
    number : int
        From 1.

    Returns
    -------
    Looked

    Raises
    ------
    InputProblem
        No such look was planned, or it was taken before, or an earlier one ended the listening; the seal is broken; a
        sheet is at fault; or answers are missing. Nothing has been written then.
    """
    require_sealed(folder)
    sealed = unbroken(session, folder)
    looks = sealed.design.looks
    if not 1 <= number < len(looks):
        planned = f"{len(looks)} looks are planned, and the last is unsealing" if looks else "no looks are planned"
        raise _problem(f"look {number} is none that was planned", folder, f"{planned}; nobody looks at any other time")
    taken = _looks(folder, _record(folder))
    if len(taken) >= number:
        raise _problem(f"look {number} was taken before", folder / LOOKS_NAME, "go on as it said")
    if any(one.get("ended") is True for one in taken):
        raise _problem("an earlier look ended the listening", folder / LOOKS_NAME, "fairhearing unseal opens it")
    if len(taken) < number - 1:
        raise _problem(f"look {len(taken) + 1} comes first", folder / LOOKS_NAME, f"write --look {len(taken) + 1}")
    returned = read_returned(folder, sealed.design, sealed.trials, sealed.commitment)
    counted = scored_before_look(sealed, number)
    records = [one for one in returned.records if place_of(one) in counted]
    missing = missing_answers(records, returned.misread)
    raise_all([*returned.problems, *returned.breaches.values(), *missing])
    planned_look = looks[number - 1]
    ended = ends(planned_look, sealed, records)
    entry = {"look": number, "n_trials": planned_look.n_trials, "ended": ended, "sheets_sha256": returned.hashes}
    value = {"format": LOOKS_FORMAT, "commitment": sealed.commitment, "looks": [*taken, entry]}
    write_files(folder, {LOOKS_NAME: readable(value)}, record_name=LOOKS_RECORD_NAME)
    return Looked(number=number, n_looks=len(looks), look=planned_look, ended=ended)


def check_looks(session: Session, folder: Path) -> tuple[str, ...]:
    """What looks.json says that key and answers do not: a line each, none where all is so or no look was taken.

    The trials that each look counted are counted again; a trial that was excluded only after the look counts as wrong.

    Parameters
    ----------
    session : Session
    folder : Path
        The folder of a plan that has been unsealed.
    """
    if not (folder / LOOKS_NAME).exists():
        return ()
    try:
        sealed, record = unbroken(session, folder), _record(folder)
        taken = _looks(folder, record)
    except InputProblem as problem:
        return (problem.what,)
    records = read_returned(folder, sealed.design, sealed.trials, sealed.commitment).records
    told = []
    if record.get("commitment") != sealed.commitment:
        told.append(f"{LOOKS_NAME} has another commitment than the seal")
    if len(taken) >= max(1, len(sealed.design.looks)):
        told.append(
            f"{LOOKS_NAME} has {len(taken)} looks, {len(sealed.design.looks)} are planned, the last is unsealing"
        )
    for number, (one, planned) in enumerate(zip(taken, sealed.design.looks, strict=False), 1):
        counted = scored_before_look(sealed, number)
        ended = ends(planned, sealed, [record for record in records if place_of(record) in counted])
        if (one.get("look"), one.get("n_trials"), one.get("ended")) != (number, planned.n_trials, ended):
            outcome = "ended the listening" if ended else "did not end the listening"
            told.append(f"{LOOKS_NAME} is not what key and answers give: look {number} {outcome}")
    return tuple(told)


def _record(folder: Path) -> dict[str, object]:
    """What looks.json holds; no looks before the first was taken."""
    if not (folder / LOOKS_NAME).exists():
        return {"looks": []}
    try:
        return read_object(folder / LOOKS_NAME)
    except ValueError as error:
        raise _problem(f"{LOOKS_NAME} {error}", folder / LOOKS_NAME, "put back what the last look wrote") from error


def _looks(folder: Path, record: Mapping[str, object]) -> list[dict[str, object]]:
    """The looks that were taken, in order."""
    looks = record.get("looks")
    if not isinstance(looks, list) or not all(isinstance(one, dict) for one in looks):
        raise _problem(f"{LOOKS_NAME} lists no looks", folder / LOOKS_NAME, "put back what the last look wrote")
    return looks


def _problem(what: str, where: Path, try_: str) -> InputProblem:
    return InputProblem(what, where=str(where), try_=try_)
