"""What a session's plan sealed, computed anew: key, criteria, plan, the sheets' commitments, what was opened."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from fairhearing.errors import InputProblem
from fairhearing.protocol.drawing import draw_trials
from fairhearing.protocol.holding import is_sealed, key_is_apart, place_of_fault, plan_folder, seal_fault
from fairhearing.protocol.looking import check_looks
from fairhearing.protocol.opening import check_opened
from fairhearing.protocol.orders import GENERATOR
from fairhearing.protocol.reading import design_of, trials_of
from fairhearing.protocol.sealing import LOOKS_NAME, SEALED_KEY_NAME, grouped, read_key, read_object
from fairhearing.protocol.sheets import LISTENERS_FOLDER, SWITCHING_NAME
from fairhearing.protocol.tables import read_sheet
from fairhearing.session import OPENED_NAME, PLAN_NAME, Session
from fairhearing.verify.difference import Difference

PART = "seal"
_AS_SEALED = "what was sealed"
_FILE = re.compile(r"(\S.*?\.(?:csv|json)) ")  # with which a line of what was changed begins


@dataclass(frozen=True, slots=True, kw_only=True)
class SealsChecked:
    """What was checked of the seals, a line each; what differs; what could not be checked, and why."""

    checked: tuple[str, ...] = ()
    differences: tuple[Difference, ...] = ()
    notes: tuple[str, ...] = ()


def check_plan(session: Session) -> SealsChecked:
    """Every hash of the session's plan computed anew; nothing where it has none.

    Before the plan is opened: seal, and the commitment that each sheet prints. After: seal, the sheets that came back,
    and the opened files made again from them.
    """
    folder = plan_folder(session)
    if folder is None or session.listening.plan is None:
        return SealsChecked()
    fault = seal_fault(session, folder)
    if fault is not None:
        what = f"{session.id}: {place_of_fault(fault, session.folder, folder)}"
        return SealsChecked(differences=(Difference(part=PART, what=what, stated=_AS_SEALED, found=fault.what),))
    name, commitment = session.listening.plan_folder, session.listening.plan.commitment
    if key_is_apart(session, folder):
        criteria = f"{session.id}: the criteria are those written in {name}/seal.json"
        apart = f"{session.id}: {name}/{SEALED_KEY_NAME} is kept elsewhere: without it the seal cannot be computed"
        parts = [SealsChecked(checked=(criteria,), notes=(apart,)), _sheets(session, folder, commitment)]
    else:
        holds = f"{session.id}: the seal holds: key, criteria and plan are those of {grouped(commitment)}"
        parts = [SealsChecked(checked=(holds,)), _order(session, folder)]
        parts.append(_sheets(session, folder, commitment) if is_sealed(session) else _opened(session, folder))
    return SealsChecked(
        checked=tuple(line for part in parts for line in part.checked),
        differences=tuple(one for part in parts for one in part.differences),
        notes=tuple(line for part in parts for line in part.notes),
    )


def _order(session: Session, folder: Path) -> SealsChecked:
    """The order drawn again from the seed: whether it was drawn at all, and not chosen."""
    key = read_key(folder).key
    if key.get("generator") != GENERATOR:
        return SealsChecked(notes=(f"{session.id}: the order is not of {GENERATOR}: it cannot be drawn again",))
    trials, seed = trials_of(key), str(key.get("seed"))
    try:
        again = draw_trials(design_of(read_object(folder / PLAN_NAME)), seed)
    except ValueError:
        again = ()
    if again == trials:
        return SealsChecked(checked=(f"{session.id}: the order of {len(trials)} trials, drawn again from its seed",))
    what = f"{session.id}: {session.listening.plan_folder}/{SEALED_KEY_NAME}"
    found = "another order: it was sealed, and not drawn from its seed"
    return SealsChecked(differences=(Difference(part=PART, what=what, stated="what the seed gives", found=found),))


def _opened(session: Session, folder: Path) -> SealsChecked:
    """What was opened against what key and sheets give."""
    name = session.listening.plan_folder
    changed = tuple(
        Difference(
            part=PART,
            what=f"{session.id}: {name}{f'/{file[1]}' if (file := _FILE.match(line)) else ''}",
            stated="what was sealed and opened",
            found=line,
        )
        for line in (*check_opened(session, folder), *check_looks(session, folder))
    )
    if changed:
        return SealsChecked(differences=changed)
    looks = (f"{session.id}: the looks that were taken, counted again",) if (folder / LOOKS_NAME).exists() else ()
    counts = [len(hashes) for key in ("sheets_sha256", "opened_sha256") if (hashes := _hashes(folder, key))]
    line = f"{session.id}: {sum(counts)} sheets, each with its sha256; the opened ones made again from key and answers"
    return SealsChecked(checked=(line, *looks))


def _hashes(folder: Path, key: str) -> dict[str, object]:
    value = read_object(folder / OPENED_NAME).get(key)
    return value if isinstance(value, dict) else {}


def _sheets(session: Session, folder: Path, commitment: str) -> SealsChecked:
    """The commitment in the first line of each sheet that lies there."""
    paths = [SWITCHING_NAME, *(f"{LISTENERS_FOLDER}/{one.name}" for one in sorted(folder.glob("listeners/*.csv")))]
    differences = []
    for path in paths:
        try:
            printed = read_sheet(folder, path, ()).commitment
        except InputProblem as problem:
            found = problem.what
        else:
            found = "no commitment" if printed is None else f"the commitment {grouped(printed)}"
            if printed == commitment:
                continue
        what = f"{session.id}: {session.listening.plan_folder}/{path}"
        differences.append(
            Difference(part=PART, what=what, stated=f"the commitment {grouped(commitment)}", found=found)
        )
    line = f"{session.id}: the commitment that {len(paths)} sheets print"
    return SealsChecked(checked=(line,), differences=tuple(differences))
