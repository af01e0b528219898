"""Reads [listening]: how the listening was run, the plan that was sealed for it, and the sheets of an opened one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from fairhearing.errors import nearest
from fairhearing.manifest.entries import KnownIds
from fairhearing.manifest.listening_plan import PlanFault, load_plan
from fairhearing.manifest.listing import Listing
from fairhearing.manifest.patterns import path_faults
from fairhearing.manifest.reader import NOT_NEGATIVE, TableReader
from fairhearing.session import PLAN_FOLDER, PLAN_NAME, Listening, ListeningPlan, Role, ScoreFile, Switching

LISTENING_KEYS = frozenset(Listening.__slots__) - {"plan_folder"}
_SWITCHING: tuple[Switching, ...] = get_args(Switching)
_ROLES: tuple[Role, ...] = get_args(Role)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadListening:
    """What [listening] says, the sheets that its opened plan brings, its files, and what `check` should warn of."""

    listening: Listening
    scores: tuple[ScoreFile, ...] = ()
    files: frozenset[str] = frozenset()
    warnings: tuple[str, ...] = ()


def read_listening(
    folder: Path, listing: Listing, reader: TableReader, known: KnownIds, *, first_entry: int
) -> ReadListening:
    """What [listening] says, and what the folder of its plan holds; faults go to the log of `reader`.

    Parameters
    ----------
    folder : Path
        The session folder.
    listing : Listing
        What lies in it.
    reader : TableReader
        [listening].
    known : KnownIds
    first_entry : int
        The number of the first sheet that an opened plan brings: the [[scores]] entries are counted before.
    """
    reader.known_keys(LISTENING_KEYS)
    plan_folder = _plan_folder(reader)
    plan = None if plan_folder is None else _plan(folder, plan_folder, reader, known)
    listening = Listening(
        switching=reader.choice("switching", _SWITCHING, "relay") if "switching" in reader.table else None,
        gap_s=reader.optional_number("gap_s", NOT_NEGATIVE),
        gap_equal=reader.flag("gap_equal"),
        operator_blind=reader.flag("operator_blind"),
        operator_screened=reader.flag("operator_screened"),
        switch_check=reader.text("switch_check"),
        switch_check_passed=reader.flag("switch_check_passed"),
        guesses=reader.text("guesses"),
        plan_folder=plan_folder,
        plan=plan,
    )
    if plan_folder is None:
        return _without_plan(listening, listing)
    files = frozenset(path for path in listing.files if path.startswith(plan_folder + "/"))
    if plan is None:
        return ReadListening(listening=listening, files=files)
    if plan.sealed:
        warning = f"{plan_folder} holds a plan that is still sealed: none of its answers is read before it is unsealed"
        return ReadListening(listening=listening, files=files, warnings=(warning,))
    scores = _opened_sheets(plan, plan_folder, listing, reader.line("plan"), first_entry)
    return ReadListening(listening=listening, scores=scores, files=files)


def _without_plan(listening: Listening, listing: Listing) -> ReadListening:
    """A plan that lies there and is not named gives one warning, not one for each of its files."""
    if f"{PLAN_FOLDER}/{PLAN_NAME}" not in listing.files:
        return ReadListening(listening=listening)
    files = frozenset(path for path in listing.files if path.startswith(PLAN_FOLDER + "/"))
    warning = f'{PLAN_FOLDER} holds a plan that session.toml does not name: write plan = "{PLAN_FOLDER}" in [listening]'
    return ReadListening(listening=listening, files=files, warnings=(warning,))


def _plan_folder(reader: TableReader) -> str | None:
    text = reader.text("plan")
    if text is None:
        return None
    faults = path_faults(text)
    for fault in faults:
        reader.log.add(reader.line("plan"), f"plan in {reader.header}: {fault.what}", fault.try_)
    parts = [part for part in text.split("/") if part not in (".", "")]
    if faults or not parts:
        return None
    return "/".join(parts)


def _plan(folder: Path, plan_folder: str, reader: TableReader, known: KnownIds) -> ListeningPlan | None:
    """The plan that lies in the folder; None after a fault."""
    place = folder / plan_folder
    if not place.is_dir():
        folders = sorted(child.name for child in folder.iterdir() if child.is_dir())
        hint = nearest(plan_folder, folders) if folders else "fairhearing plan writes one"
        reader.fault("plan", "is no folder of the session", hint)
        return None
    try:
        return load_plan(place, conditions=known.conditions, seats=known.seats)
    except PlanFault as fault:
        hint = "put back the files that fairhearing plan wrote; a plan is not edited"
        reader.log.add(reader.line("plan"), f"{plan_folder}/{fault}", hint)
        return None


def _opened_sheets(
    plan: ListeningPlan, plan_folder: str, listing: Listing, line: int, first_entry: int
) -> tuple[ScoreFile, ...]:
    """The sheets of an opened plan, one for each role that has trials."""
    paths = {role: f"{plan_folder}/opened/{role}.csv" for role in _ROLES}
    there = [role for role in _ROLES if paths[role] in listing.files]
    return tuple(
        ScoreFile(
            path=paths[role],
            line=line,
            entry=first_entry + index,
            method=plan.method,
            reference=plan.reference,
            treatment=plan.condition,
            order="independent",
            scale=plan.scale,
            role=role,
        )
        for index, role in enumerate(there)
    )
