"""Draws and seals a design, and writes its folder whole or not at all; never over a plan that is there."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fairhearing.errors import OutputProblem
from fairhearing.files import write_files
from fairhearing.protocol.design import Design, KeyTrial, plan_object, trial_object
from fairhearing.protocol.drawing import draw_trials
from fairhearing.protocol.orders import GENERATOR, new_seed
from fairhearing.protocol.pages import listener_page, operator_page
from fairhearing.protocol.sealing import (
    SEALED_KEY_NAME,
    SealedKey,
    criteria_object,
    new_salt,
    pack_key,
    readable,
    seal_object,
)
from fairhearing.protocol.sheets import LISTENERS_FOLDER, SWITCHING_NAME, listener_sheet, sheet_name, switching_sheet
from fairhearing.session import PLAN_FOLDER, PLAN_NAME, SEAL_NAME, Session

KEY_FORMAT = 1
PLAN_RECORD_NAME = ".fairhearing-plan.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenPlan:
    """Where a plan was written, and the commitment to be kept elsewhere."""

    folder: Path
    commitment: str
    paths: tuple[str, ...]


def key_object(seed: str, trials: tuple[KeyTrial, ...]) -> dict[str, object]:
    """The key: the seed, the generator that makes the trials from it, and the trials."""
    return {
        "format": KEY_FORMAT,
        "generator": GENERATOR,
        "seed": seed,
        "trials": [trial_object(trial) for trial in trials],
    }


def write_plan(session: Session, design: Design, *, folder_name: str = PLAN_FOLDER) -> WrittenPlan:
    """Draw the order of a design from a new seed, seal it with the session's criteria, and write all its files.

    Parameters
    ----------
    session : Session
    design : Design
    folder_name : str
        Below the session folder.

    Returns
    -------
    WrittenPlan

    Raises
    ------
    OutputProblem
        A plan is there already, or the folder cannot be written; nothing has changed then.
    """
    folder = session.folder / folder_name
    require_no_plan(folder)
    seed, salt = new_seed(), new_salt()
    trials = draw_trials(design, seed)
    key, plan = key_object(seed, trials), plan_object(design)
    seal = seal_object(key, criteria_object(session.criteria, session.folder), plan, salt)
    commitment = str(seal["commitment"])
    files = {
        PLAN_NAME: readable(plan),
        SEAL_NAME: readable(seal),
        SEALED_KEY_NAME: pack_key(SealedKey(key=key, salt=salt)),
        SWITCHING_NAME: switching_sheet(design, trials, commitment),
        SWITCHING_NAME.replace(".csv", ".html"): operator_page(
            design, trials, commitment, session.id, {one.id: one.label for one in session.conditions}
        ),
    }
    for listener in design.listeners:
        own = [trial for trial in trials if trial.listener == listener]
        files[sheet_name(listener)] = listener_sheet(design, own, commitment)
        files[f"{LISTENERS_FOLDER}/{listener}.html"] = listener_page(design, own, commitment, session.id)
    write_files(folder, files, record_name=PLAN_RECORD_NAME)
    return WrittenPlan(folder=folder, commitment=commitment, paths=tuple(sorted(files)))


def require_no_plan(folder: Path) -> None:
    """Raise where anything lies in the folder: a plan is never written over.

    Raises
    ------
    OutputProblem
    """
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    is_plan = (folder / PLAN_NAME).exists() or (folder / SEAL_NAME).exists()
    what = "holds a plan already, and a plan is never written over" if is_plan else "is there already, and not empty"
    raise OutputProblem(
        f"{folder.name} {what}",
        where=str(folder),
        try_="keep it, and plan another listening as a session of its own; or move it away by hand if nobody listened",
    )
